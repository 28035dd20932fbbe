"""The desk: the whole job on the practice board, by keys alone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from hostlink.app.screens.dialogues import Ask, AskText, ErrorDialogue
from hostlink.app.widgets.editor import LedgerColumn
from hostlink.app.widgets.rows import Rows
from hostlink.board.profile.file import find_profile
from hostlink.listing import Listing, measure


def test_a_newcomer_loads_runs_and_saves_with_five_keys(
    stage: Any, wait: Any, shown: Any, is_settled: Any
) -> None:
    """The shipped TIDE goes in proven, runs in the console, and comes out as its revision 1."""

    async def story(pilot: Any, app: Any) -> None:
        assert "holds no program, 0 of 999 bytes" in shown(app)
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        assert "holds TIDE revision 1, 609 of 999 bytes" in shown(app)
        await pilot.press("f9")
        await wait(pilot, lambda: "TIDES AT THE FERRY STEPS" in shown(app))
        await wait(pilot, lambda: is_settled(app))
        await pilot.press("ctrl+g")
        await wait(pilot, lambda: any("captures" in said for said in app.said))

    stage.play(story, opens="shipped:TIDE")
    (revision,) = stage.archive.history("TIDE")
    assert revision.size_bytes == 609


def test_a_program_that_was_just_kept_is_at_the_cursor_of_the_list(stage: Any, wait: Any) -> None:
    """Else it is out of sight above the shipped ones, where the cursor was."""

    async def story(pilot: Any, app: Any) -> None:
        rows = app.desk.query_one("#programs")
        rows.cursor = 12
        await pilot.press(*"10", "space", *"END", "ctrl+s")
        await pilot.press(*"lamp", "enter")
        await wait(pilot, lambda: rows.key == "LAMP")

    stage.play(story, port="")


def test_the_ledger_beside_the_text_is_the_measured_one(stage: Any) -> None:
    """Each row's cost and total are those that measure gives, while a line is typed too."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press(*"20", "space", *"END", "enter", *"5", "space", *"RUN")
        editor, ledger = app.desk.editor, app.desk.query_one(LedgerColumn)
        assert editor.text == "20 END\n5 RUN"
        measured = measure(Listing.from_text(editor.text), find_profile("practice").rules)
        for row in measured.rows:
            beside = ledger.text_at(row.line.at - 1)
            assert beside.lstrip("! ").split() == [str(row.cost), str(row.so_far)]
        assert "!" in ledger.text_at(1)  # 5 stands after 20
        assert app.desk.sheet_pane.unkept

    stage.play(story)


def test_a_finding_is_told_in_words_at_its_line(stage: Any, shown: Any) -> None:
    """A jump to nowhere is named beside its line and explained below."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press(*"10", "space", *"GOTO", "space", *"77")
        await pilot.pause()
        text = shown(app)
        assert "« missing jump target" in text
        assert "there is no line 77" in text

    stage.play(story, size=(120, 40))


def test_a_listing_too_large_says_by_how_much(stage: Any, shown: Any) -> None:
    """What does not fit is told in bytes over, and loading asks first with the safe answer."""
    lines = [f"{number} REM {'X' * 60}" for number in range(10, 180, 10)]

    async def story(pilot: Any, app: Any) -> None:
        assert "bytes over" in shown(app)
        await pilot.press("ctrl+l")
        await pilot.pause()
        assert isinstance(app.screen, Ask)
        assert app.focused.id == "answer-look"
        await pilot.press("enter")
        await pilot.pause()
        assert app.screen is app.desk

    stage.keep("LONG", *lines)
    stage.play(story, opens="LONG")


def test_keeping_asks_for_a_name_once_and_never_keeps_twice(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """A new listing gets its name at the first keep; the same text is no second revision."""

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 PRINT 1")
        await pilot.press("ctrl+s")
        await pilot.pause()
        assert isinstance(app.screen, AskText)
        await type_text(pilot, "lamp\n")
        await wait(pilot, lambda: "Kept as LAMP@1. Next: load it (Ctrl+L)." in app.said)
        # Else it would stand out of sight, above the shipped ones.
        await wait(pilot, lambda: app.desk.shelf.query_one(Rows).key == "LAMP")
        assert not app.desk.sheet_pane.unkept
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: any("Nothing new" in said for said in app.said))
        await type_text(pilot, "0")
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: "Kept as LAMP@2. Next: load it (Ctrl+L)." in app.said)

    stage.play(story)
    assert [one.size_bytes for one in stage.archive.history("LAMP")] == [10, 11]
    assert stage.archive.history("LAMP")[1].parent == "LAMP@1"


def test_a_name_that_a_program_has_is_taken_only_after_a_question(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """Else a new listing would be the next revision of a program that it has nothing of."""
    stage.keep("LAMP", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 PRINT 22")
        await pilot.press("ctrl+s")
        for answer in (("down", "down", "enter"), ("down", "enter")):  # another name, the same one
            await wait(pilot, lambda: isinstance(app.screen, AskText))
            await type_text(pilot, "lamp\n")
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert "already has a program LAMP" in app.screen.question
            assert len(app.archive.history("LAMP")) == 1
            await pilot.press(*answer)
        await wait(pilot, lambda: "Kept as LAMP@2. Next: load it (Ctrl+L)." in app.said)

    stage.play(story)


def test_a_name_without_a_letter_or_a_digit_is_asked_for_again(
    stage: Any, wait: Any, shown: Any, type_text: Any
) -> None:
    """The hint says what a name is made of, so signs alone are none; the reason stands there."""

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 PRINT 1")
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await type_text(pilot, "???\n")
        await wait(pilot, lambda: "??? has no letter and no digit." in shown(app))
        assert not app.archive.programs()
        await type_text(pilot, "lamp\n")
        await wait(pilot, lambda: "Kept as LAMP@1. Next: load it (Ctrl+L)." in app.said)

    stage.play(story)


def test_a_revision_made_from_an_older_one_says_what_it_lacks(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """As when another window kept one meanwhile: both stay, and nobody is left to find out."""
    stage.keep("LAMP", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "5 REM\n")
        stage.keep("LAMP", "10 PRINT 2")
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: any("Kept as LAMP@3. It was made" in said for said in app.said))
        assert "made from revision 1: later changes are not in it" in " ".join(app.said)
        await type_text(pilot, "6 REM\n")
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: "Kept as LAMP@4. Next: load it (Ctrl+L)." in app.said)

    stage.play(story, opens="LAMP")


@pytest.mark.parametrize("typed", ["", "5 REM MINE\n"])
def test_what_is_known_of_a_shipped_program_is_kept_with_it(
    stage: Any, wait: Any, shown: Any, type_text: Any, typed: str
) -> None:
    """Title, author and notes, of a changed one too; its tags as long as it is as it was."""

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, typed)
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: "Kept as TIDE revision 1" in shown(app))
        program = app.archive.program("TIDE")
        assert program.title == "Tide clock"
        assert "licence: " in program.note
        assert bool(program.tags) is not bool(typed)

    stage.play(story, opens="shipped:TIDE")


@pytest.mark.parametrize("answer", ["leave", "drop", "keep"])
def test_unkept_text_is_never_let_go_unasked(stage: Any, type_text: Any, answer: str) -> None:
    """New listing, while text is unkept, asks; staying has the focus."""

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "5 REM ")
        await pilot.press("escape", "n")
        await pilot.pause()
        assert isinstance(app.screen, Ask)
        assert app.focused.id == "answer-leave"
        await pilot.click(f"#answer-{answer}")
        await pilot.pause()
        assert app.desk.editor.text.startswith("5 REM") is (answer == "leave")

    stage.keep("LAMP", "10 END")
    stage.play(story, opens="LAMP")
    assert len(stage.archive.history("LAMP")) == (2 if answer == "keep" else 1)


def test_leaving_with_unkept_text_asks_and_staying_is_safe(stage: Any, type_text: Any) -> None:
    """Escape at the question stays in the app."""

    async def story(pilot: Any, app: Any) -> None:
        await type_text(pilot, "10 END")
        await pilot.press("ctrl+q")
        await pilot.pause()
        assert isinstance(app.screen, Ask)
        await pilot.press("escape")
        await pilot.pause()
        assert app.is_running
        assert app.screen is app.desk

    stage.play(story, port="")


def test_the_archive_is_searched_while_typing_and_opened_by_enter(
    stage: Any, type_text: Any, wait: Any
) -> None:
    """A word of a listing finds its program, also with a slip; Enter puts it into the editor."""
    stage.keep("LAMP", "10 PRINT 1")
    stage.keep("GATE", '10 PRINT "HARBOUR"')

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "a")
        await type_text(pilot, "harb")
        rows = app.desk.query_one("#programs", Rows)
        await wait(pilot, lambda: rows.key == "GATE@1")
        assert rows.entries[0].cells[-2] == '10 PRINT "»HARB«OUR"'
        await type_text(pilot, "uor")
        await wait(pilot, lambda: rows.entries[0].cells[-2] == '10 PRINT "»HARBOUR«"')
        assert "1 nearly found" in str(app.desk.query_one("#shelf-head").content)
        await pilot.press("enter")
        await wait(pilot, lambda: "HARBOUR" in app.desk.editor.text)
        await pilot.press("escape", "a", "escape", "escape")
        assert app.desk.query_one("#find").value == ""
        await pilot.press("escape", "a")
        await type_text(pilot, "nowhere to be found")
        await wait(pilot, lambda: not rows.entries)
        await pilot.press("tab")
        assert app.focused is not rows

    stage.play(story, port="")


def test_a_file_is_opened_by_its_name_and_a_missing_one_is_told(
    stage: Any, type_text: Any, tmp_path: Path
) -> None:
    """A listing file comes into the editor; a name that is nothing says so."""
    (tmp_path / "pier.bas").write_text("10 END\n")

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+o")
        await type_text(pilot, "pier.bas\n")
        await pilot.pause()
        assert app.desk.editor.text == "10 END\n"
        assert app.desk.sheet_pane.sheet.name == "PIER"
        await pilot.press("ctrl+o")
        await type_text(pilot, "nothing\n")
        await pilot.pause()
        assert isinstance(app.screen, ErrorDialogue)
        assert "nothing" in app.screen.error.what

    stage.play(story, port="")


def test_without_a_board_loading_says_what_to_do(stage: Any, shown: Any) -> None:
    """No board: the sentence says so, and loading names the key that shows the boards."""

    async def story(pilot: Any, app: Any) -> None:
        assert "No board is attached" in shown(app)
        await pilot.press("ctrl+l")
        await pilot.pause()
        assert isinstance(app.screen, ErrorDialogue)
        assert "Escape, then D" in app.screen.error.advice

    stage.play(story, port="", opens="shipped:TIDE")


def test_what_the_board_held_is_rescued_and_that_is_announced(
    stage: Any, wait: Any, shown: Any, type_text: Any, is_settled: Any
) -> None:
    """A program typed at the board and then overwritten is kept; that stays until Escape."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "10 PRINT 99\n")
        await wait(pilot, lambda: is_settled(app))
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "Rescued what the board held as rescue@1" in shown(app))
        await wait(pilot, lambda: "is on the board, proven" in shown(app))
        assert "Rescued what the board held as rescue@1" in shown(app)
        await pilot.press("escape", "escape")
        await wait(pilot, lambda: "Rescued" not in shown(app))

    stage.play(story, opens="shipped:TIDE")
    (rescue,) = stage.archive.rescues()
    assert "10 PRINT 99" in stage.archive.content(rescue).text


def test_opening_a_port_that_restarts_its_board_asks_first(stage: Any, wait: Any) -> None:
    """The safe answer has the focus, and with it the port stays closed."""

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.focused.id == "answer-leave"
        await pilot.press("enter")
        await pilot.pause()
        assert not app.boards.by_port

    stage.play(story, port=str(stage.folder / "no-such-device"), profile="tiny")


def test_a_passing_remark_hides_no_hint_and_ends_with_its_screen(
    stage: Any, wait: Any, shown: Any
) -> None:
    """It stands at the top, away from the keys at the foot, and is gone on the next screen."""

    async def story(pilot: Any, app: Any) -> None:
        app._disable_notifications = False  # run_test has none unless asked
        app.desk.screens.settings()
        await wait(pilot, lambda: app.screen is not app.desk)
        before = shown(app).splitlines()
        app.notify("A remark that nobody needs.", markup=False)
        await wait(pilot, lambda: "A remark that nobody needs." in shown(app))
        rows = shown(app).splitlines()
        assert rows[-3:] == before[-3:]
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "A remark" not in shown(app)

    stage.play(story, port="")
