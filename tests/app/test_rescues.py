"""Rescues in the app: listed, read, opened, kept under a name, loaded again."""

from __future__ import annotations

from typing import Any

from hostlink.app.screens.dialogues import AskText
from hostlink.app.screens.rescues import RescuesScreen
from hostlink.archive import Content, Origin


def _rescue(stage: Any, *lines: str) -> None:
    text = "".join(f"{line}\n" for line in lines)
    content = Content(text.encode(), text, text, "practice", "latin-1", len(text))
    stage.archive.rescue(content, Origin("rescue", "the class board"))


async def _open(pilot: Any, app: Any, wait: Any, find_action: Any) -> None:
    await find_action(pilot, app, "rescues")
    await pilot.press("enter")
    await wait(pilot, lambda: isinstance(app.screen, RescuesScreen))
    await pilot.pause()


def test_a_rescue_is_read_kept_under_a_name_and_opened(
    stage: Any, wait: Any, find_action: Any, shown: Any, type_text: Any
) -> None:
    """The newest stands first with its listing; K makes a revision of it, Enter opens it."""
    _rescue(stage, "10 PRINT 1")
    _rescue(stage, "10 PRINT 2", "20 END")

    async def story(pilot: Any, app: Any) -> None:
        await _open(pilot, app, wait, find_action)
        assert "2 rescues" in shown(app)
        assert "20 END" in shown(app)
        assert "the class board" in shown(app)
        await pilot.press("k")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await type_text(pilot, "HAIL\n")
        await wait(pilot, lambda: "rescue@2 is kept as HAIL@1." in app.said)
        await pilot.press("down", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text.strip() == "10 PRINT 1"

    stage.play(story, port="", size=(120, 40))
    kept = stage.archive.content(stage.archive.revision("HAIL@1"))
    assert kept.text == "10 PRINT 2\n20 END\n"


def test_a_rescue_is_loaded_again(
    stage: Any, wait: Any, find_action: Any, do: Any, held: Any
) -> None:
    """Ctrl+L puts it back into the board, proven, as what it is."""
    _rescue(stage, "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await _open(pilot, app, wait, find_action)
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("rescue@1 is on the board, proven" in s for s in app.said))
        assert (await do(pilot, app, held))[0] == {10: b"PRINT 1"}

    stage.play(story)


def test_an_archive_without_rescues_says_what_makes_one(
    stage: Any, wait: Any, find_action: Any, shown: Any
) -> None:
    """Nothing happens on any of its keys."""

    async def story(pilot: Any, app: Any) -> None:
        await _open(pilot, app, wait, find_action)
        await pilot.press("k", "enter", "b")
        assert "There is no rescue yet" in shown(app)
        assert isinstance(app.screen, RescuesScreen)

    stage.play(story, port="")
