"""What opens by itself: nobody who types answers it, or loses a key to it."""

from __future__ import annotations

import threading
from typing import Any

import pytest

from hostlink.app.screens.dialogues import Ask, ErrorDialogue
from hostlink.errors import LinkError, LinkReason


def _fail(*_: Any) -> None:
    raise LinkError("The board is silent.", reason=LinkReason.SILENT)


def test_an_error_waits_where_somebody_typed_since_the_job_was_begun(
    stage: Any, wait: Any, shown: Any, type_text: Any
) -> None:
    """Each key goes into the listing; the key in the row opens the error."""

    typed = threading.Event()

    def fail_then(*_: Any) -> None:
        typed.wait(60)
        _fail()

    async def story(pilot: Any, app: Any) -> None:
        app.watch_job(app.boards.current.do("Working", fail_then), done=lambda _: "never")
        await type_text(pilot, "10 END\n")
        typed.set()
        await wait(pilot, lambda: "? The board is silent. F6 opens it." in shown(app))
        await type_text(pilot, "20 END\n")
        assert app.desk.editor.text == "10 END\n20 END\n"
        await pilot.press("f6")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "F6" not in shown(app)

    stage.play(story)


def test_a_box_that_opens_by_itself_takes_no_key_for_a_moment_and_says_so(
    stage: Any, wait: Any, shown: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An Enter that was on its way does not answer; after a pause it does."""
    monkeypatch.setattr("hostlink.app.desk.questions.EARLY_S", 3_600.0)

    async def story(pilot: Any, app: Any) -> None:
        app.watch_job(app.boards.current.do("Working", _fail), done=lambda _: "never")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        for key in ("enter", "escape", "space"):
            await pilot.press(key)
            assert isinstance(app.screen, ErrorDialogue)
        await wait(pilot, lambda: "Keys pressed now do nothing" in shown(app))
        app.screen._take_keys()
        await wait(pilot, lambda: "Keys pressed now" not in shown(app))
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story)


def test_a_box_that_was_asked_for_takes_keys_at_once(
    stage: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opened by a key, it cannot be mistaken for what had the focus before."""
    monkeypatch.setattr("hostlink.app.desk.questions.EARLY_S", 3_600.0)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "e")
        await pilot.pause()
        assert isinstance(app.screen, Ask)
        await pilot.press("enter")
        await pilot.pause()
        assert app.screen is app.desk

    stage.play(story)


def test_a_typist_in_a_real_terminal_answers_nothing(terminal: Any, start_app: Any) -> None:
    """A load fails while lines are typed, each ended by Enter: all of them are in the listing."""
    board = {"HOSTLINK_PORT": "practice://slow?baud=1200&unplug_after_bytes=400"}
    start_app(HOSTLINK_BAUD="1200", **board)
    terminal.until(lambda text: "holds no program" in text)
    terminal.press("Escape", "a")
    terminal.until(lambda text: "▸ Archive" in text)
    terminal.press("Enter")
    terminal.until(lambda text: "▸ the shipped TIDE" in text)
    terminal.press("C-l")
    terminal.until(lambda text: " sent" in text)
    typed = [f"{number} REM" for number in range(1, 9)]
    for row in typed:
        terminal.type(row)
        terminal.press("Enter")
    text = terminal.until(lambda text: "F6 opens it" in text)
    assert "▸ TIDE" in text or "▸ the shipped TIDE" in text
    terminal.type("9 REM")
    text = terminal.until(lambda text: "9 REM" in text)
    assert all(row in text for row in typed)
    terminal.press("F6")
    terminal.until(lambda text: "unplugged" in text and "Close" in text)
    terminal.press("Enter")
    terminal.until(lambda text: "9 REM" in text and "Close" not in text)
