"""Drafts: what is typed survives the window, and two windows do not disturb each other."""

from __future__ import annotations

import json
import os
import signal
import threading
from pathlib import Path
from typing import Any

import pytest

from hostlink.app.drafts import Draft, Drafts
from hostlink.app.screens.dialogues import Ask
from hostlink.app.start import _raise_failure
from hostlink.errors import HostlinkError, RefusedError
from hostlink.writing import write_whole


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "drafts"


def test_a_draft_of_a_closed_window_is_offered_by_the_next(folder: Path) -> None:
    """With all that it takes to go on where one left off."""
    draft = Draft("10 PRINT 1\n", "TIDE", "TIDE@2", 0, 8, "2031-09-03T18:30:00+00:00")
    first = Drafts(folder)
    first.keep(draft)
    first.close()
    (left,) = Drafts(folder).left()
    assert left.draft == draft


def test_the_draft_of_an_open_window_is_offered_to_nobody(folder: Path) -> None:
    """Its owner is still there; so the two never write the same file."""
    first, second = Drafts(folder), Drafts(folder)
    first.keep(Draft("10 REM FIRST\n"))
    second.keep(Draft("10 REM SECOND\n"))
    assert first.left() == second.left() == Drafts(folder).left() == []
    first.close()
    assert [left.draft.text for left in second.left()] == ["10 REM FIRST\n"]
    second.close()


def test_a_draft_taken_over_belongs_to_the_window_that_took_it(folder: Path) -> None:
    """It is neither lost nor offered twice."""
    first = Drafts(folder)
    first.keep(Draft("10 REM LEFT\n"))
    first.close()
    second = Drafts(folder)
    second.take_over(second.left()[0])
    assert Drafts(folder).left() == []
    second.close()
    assert [left.draft.text for left in Drafts(folder).left()] == ["10 REM LEFT\n"]


def test_a_dropped_draft_is_gone(folder: Path) -> None:
    """Its text is kept in the archive, or was given up."""
    drafts = Drafts(folder)
    drafts.keep(Draft("10 REM\n"))
    drafts.want(None)
    drafts.settle()
    drafts.close()
    assert list(folder.iterdir()) == []


def test_a_slow_writing_does_not_bring_back_a_dropped_draft(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk follows what is wanted last, though the writing of it was begun before."""
    begun, may_end = threading.Event(), threading.Event()

    def slowly(path: Path, data: bytes) -> None:
        begun.set()
        may_end.wait()
        write_whole(path, data)

    monkeypatch.setattr("hostlink.app.drafts.write_whole", slowly)
    drafts = Drafts(folder)
    drafts.want(Draft("10 REM\n"))
    writing = threading.Thread(target=drafts.settle)
    writing.start()
    begun.wait()
    drafts.want(None)
    dropping = threading.Thread(target=drafts.settle)
    dropping.start()
    may_end.set()
    writing.join()
    dropping.join()
    drafts.close()
    assert list(folder.iterdir()) == []


def test_a_writing_that_comes_after_the_end_takes_no_lock(folder: Path) -> None:
    """Otherwise the draft would be offered to nobody as long as the process lives."""
    drafts = Drafts(folder)
    drafts.keep(Draft("10 REM\n"))
    drafts.close()
    drafts.settle()
    assert len(Drafts(folder).left()) == 1


@pytest.mark.parametrize(
    "content",
    ["", "[]", "{", '{"text": 5}', '{"text": "10", "row": -1}', '{"text": "10", "more": 1}', "\0"],
)
def test_a_file_that_holds_no_draft_is_left_alone(folder: Path, content: str) -> None:
    """It is neither offered nor deleted."""
    folder.mkdir()
    (folder / "x.json").write_text(content)
    assert Drafts(folder).left() == []
    assert (folder / "x.json").read_text() == content


def test_a_draft_that_cannot_be_written_says_so_and_loses_nothing(folder: Path) -> None:
    """A file stands where the folder should be."""
    folder.write_text("in the way")
    with pytest.raises(RefusedError, match="cannot be written") as caught:
        Drafts(folder).keep(Draft("10 REM\n"))
    assert "still in the editor" in str(caught.value)


def test_what_was_typed_is_offered_and_opened_where_one_left_off(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """The app is left with text that is in no archive; the next start brings it back."""

    async def typing(pilot: Any, _: Any) -> None:
        await type_text(pilot, "10 PRINT 1\n20 GOTO 10")
        await pilot.press("left", "left")

    async def opening(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "2 lines" in app.screen.question
        await pilot.press("tab", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == "10 PRINT 1\n20 GOTO 10"
        assert app.desk.editor.cursor_location == (1, len("20 GOTO "))
        assert app.desk.sheet_pane.unkept

    stage.play(typing, port="")
    stage.play(opening, port="")


def test_a_changed_revision_comes_back_as_a_change_of_it(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """So that it is kept under the same program, with its parent."""
    stage.keep("TIDE", "10 REM TIDE")

    async def changing(pilot: Any, _: Any) -> None:
        await pilot.press("end")
        await type_text(pilot, "S")

    async def opening(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("tab", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: "TIDE@2" in " ".join(app.said))

    stage.play(changing, port="", opens="TIDE")
    stage.play(opening, port="")
    assert [each.parent for each in stage.archive.history("TIDE")] == ["", "TIDE@1"]


def test_text_that_was_kept_leaves_no_draft(stage: Any, wait: Any, type_text: Any) -> None:
    """Nothing is offered that is safe already."""
    stage.keep("TIDE", "10 REM TIDE")

    async def keeping(pilot: Any, app: Any) -> None:
        await type_text(pilot, "5 REM\n")
        await wait(pilot, lambda: list((stage.folder / "drafts").glob("*.json")))
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: "TIDE@2" in " ".join(app.said))
        assert list((stage.folder / "drafts").glob("*.json")) == []

    stage.play(keeping, port="", opens="TIDE")


def test_an_empty_text_leaves_no_draft(stage: Any, wait: Any, type_text: Any) -> None:
    """Nothing of it could be opened again, whatever program it was made from."""
    stage.keep("TIDE", "10 REM TIDE")
    drafts = stage.folder / "drafts"

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10")
        await wait(pilot, lambda: list(drafts.glob("*.json")))
        app.desk.editor.load_text("\n")
        await wait(pilot, lambda: not list(drafts.glob("*.json")), 9)

    stage.play(story, port="", opens="TIDE")
    assert not list(drafts.glob("*.json"))


def test_a_draft_that_is_deleted_is_not_offered_again(stage: Any, wait: Any) -> None:
    """The person said so."""
    left = Drafts(stage.folder / "drafts")
    left.keep(Draft("10 REM\n", "GONE"))
    left.close()

    async def deleting(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("tab", "tab", "enter")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(deleting, port="")
    assert Drafts(stage.folder / "drafts").left() == []


def test_a_draft_that_cannot_be_written_is_said_once(stage: Any, wait: Any, type_text: Any) -> None:
    """Typing goes on."""
    (stage.folder / "drafts").write_text("in the way")

    async def typing(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 REM\n")
        await wait(pilot, lambda: app.desk.drafts.fault)
        await type_text(pilot, "20 END\n")
        app.desk.drafts.write()
        assert app.screen is app.desk
        assert app.desk.editor.text == "10 REM\n20 END\n"
        assert len([said for said in app.said if "draft" in said]) == 1
        await pilot.press("ctrl+q")  # nothing keeps the text, and the question says so
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "cannot be written" in app.screen.question
        assert "stays as a draft" not in app.screen.question
        await pilot.press("escape")

    stage.play(typing, port="")


def test_keys_do_not_wait_for_a_slow_disk(
    stage: Any, wait: Any, type_text: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The draft is written beside the app's own thread."""
    begun, may_end = threading.Event(), threading.Event()

    def slowly(path: Path, data: bytes) -> None:
        begun.set()
        assert may_end.wait(60)
        write_whole(path, data)

    monkeypatch.setattr("hostlink.app.drafts.write_whole", slowly)

    async def typing(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 REM")
        await wait(pilot, begun.is_set)
        await type_text(pilot, " ON")
        assert app.desk.editor.text == "10 REM ON"
        may_end.set()

    stage.play(typing, port="")
    (left,) = Drafts(stage.folder / "drafts").left()
    assert left.draft.text == "10 REM ON"


def test_text_typed_before_a_draft_is_opened_is_not_replaced_unasked(stage: Any, wait: Any) -> None:
    """It is in no archive either."""
    left = Drafts(stage.folder / "drafts")
    left.keep(Draft("10 REM LEFT\n", "LEFT"))
    left.close()

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        app.desk.editor.load_text("10 REM TYPED\n")
        await pilot.press("tab", "enter")
        await wait(pilot, lambda: "is not in the archive" in getattr(app.screen, "question", ""))
        await pilot.press("enter")  # the safe answer
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == "10 REM TYPED\n"

    stage.play(story, port="")
    assert len(Drafts(stage.folder / "drafts").left()) == 2


def test_all_drafts_are_offered_one_after_the_other(stage: Any, wait: Any) -> None:
    """Not now, and the next one comes."""
    for name in ("ONE", "TWO"):
        left = Drafts(stage.folder / "drafts")
        left.keep(Draft("10 REM\n", name, at=f"2031-09-0{len(name)}T18:30:00+00:00"))
        left.close()

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        first = app.screen
        assert "1 more draft" in first.why
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is not first and isinstance(app.screen, Ask))
        assert {first.question[:3], app.screen.question[:3]} == {"ONE", "TWO"}
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")


def test_a_draft_that_was_put_off_is_offered_when_asked_for(
    stage: Any, wait: Any, find_action: Any
) -> None:
    """The question says so; without a draft a sentence says that there is none."""
    left = Drafts(stage.folder / "drafts")
    left.keep(Draft("10 REM\n", "ONE", at="2031-09-03T18:30:00+00:00"))
    left.close()

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "the next start of hostlink offers it again" in app.screen.why
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        await find_action(pilot, app, "draft")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("tab", "tab", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        await find_action(pilot, app, "draft")
        await pilot.press("enter")
        await wait(pilot, lambda: (app.said or [""])[-1].startswith("No closed window has left"))

    stage.play(story, port="")


def test_a_killed_app_loses_at_most_what_was_typed_last(
    terminal: Any, tmp_path: Path, start_app: Any
) -> None:
    """kill -9 in a real terminal: the next start has the text."""
    start_app()
    terminal.until(lambda text: "cost  so far" in text and "F1 help" in text)
    terminal.type("10 PRINT 1")
    folder = tmp_path / "drafts"
    terminal.until(
        lambda _: any(
            json.loads(path.read_text())["text"] == "10 PRINT 1" for path in folder.glob("*.json")
        )
    )
    os.kill(int((tmp_path / "pid").read_text()), signal.SIGKILL)
    terminal.until(lambda text: "ended with status" in text)
    terminal.run("new-session", "-d", "-s", "holds-the-server")
    terminal.run("kill-session", "-t", "desk")
    start_app()
    terminal.until(lambda text: "archive: 1 line" in text and "Keys pressed now" not in text)
    terminal.press("Tab")
    terminal.press("Enter")
    terminal.until(lambda text: "10 PRINT 1" in text and "Open it again" not in text)


def test_a_draft_waits_to_be_opened_where_somebody_types(
    stage: Any, wait: Any, shown: Any, type_text: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter and all other keys go on into the listing; a row says what waits, and by which key."""
    left = Drafts(stage.folder / "drafts")
    left.keep(Draft("10 REM LEFT\n20 END\n"))
    left.close()

    monkeypatch.setattr("hostlink.app.desk.draft_keeper._AFTER_START_S", 3600.0)

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 PRINT 1\n")
        app.desk.drafts._offer_at_start()
        await wait(pilot, lambda: "F6 opens it." in shown(app))
        assert "2 lines, the first: 10 REM LEFT." in " ".join(shown(app).split())
        await type_text(pilot, "20 END\n")
        assert app.desk.editor.text == "10 PRINT 1\n20 END\n"
        await pilot.press("f6")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "F6 opens it" not in shown(app)

    stage.play(story, port="")


def test_the_message_after_an_error_of_the_app_names_the_draft(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """Only where one is kept; it is offered by the next start as any other."""
    kept: list[str] = []

    async def failing(pilot: Any, app: Any) -> None:
        app.call_later(lambda: 1 / 0)
        await wait(pilot, lambda: app.return_code)
        with pytest.raises(HostlinkError, match="An error ended the app") as caught:
            _raise_failure(app)
        kept.append(caught.value.kept)

    async def typing(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 PRINT 1")
        app.desk.drafts.write()
        await failing(pilot, app)

    for story in (failing, typing):
        with pytest.raises(ZeroDivisionError):
            stage.play(story, port="")
    assert "draft" not in kept[0]
    assert "is kept as a draft, without the last second of typing" in kept[1]


def test_what_is_typed_is_never_due_later_than_a_second(
    stage: Any, wait: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A killed window loses the last 2 s at most: the wait, and the writing on a slow disk."""
    due: list[float] = []

    async def story(pilot: Any, app: Any) -> None:
        keeper = app.desk.drafts
        await pilot.press("1")
        await wait(pilot, lambda: keeper._timer is None)
        keeper.write()
        real = app.desk.set_timer
        monkeypatch.setattr(app.desk, "set_timer", lambda s, *a: due.append(s) or real(s, *a))
        await pilot.press("0")
        await wait(pilot, lambda: due)

    stage.play(story)
    assert 0 < max(due) <= 1
