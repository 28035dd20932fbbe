"""A paste of several lines is mended first, every repair shown; it is never sent raw."""

from __future__ import annotations

from typing import Any

import pytest
from textual import events
from textual.widgets.text_area import Selection

from hostlink.app.screens.dialogues import Ask
from hostlink.app.screens.mending import MendScreen
from hostlink.app.widgets.rows import Rows
from hostlink.listing import mend
from hostlink.shipped import library_folder

DAMAGED = sorted((library_folder() / "damaged").iterdir())


def test_a_pasted_page_opens_mended_and_ready_to_load(stage: Any, wait: Any) -> None:
    """What lies in the editor after Enter is what mending gives; nothing went to the board."""
    text = DAMAGED[0].read_text(encoding="utf-8")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste(text))
        await wait(pilot, lambda: isinstance(app.screen, MendScreen))
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == mend(text, app.boards.profile.rules).text
        assert not app.desk.sheet_pane.checked.errors
        assert not app.boards.current.rows

    stage.play(story)


def test_a_repair_is_undone_and_made_again_by_the_space_key(stage: Any, wait: Any) -> None:
    """Undoing the repair at the cursor gives the text without it; redoing gives all of them."""
    text = "10 PRINT \u201cHI\u201d\n20 GOTO 10\n"

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste(text))
        await wait(pilot, lambda: isinstance(app.screen, MendScreen))
        await pilot.press("space")
        assert app.screen.mended == text
        await pilot.press("space")
        assert app.screen.mended == '10 PRINT "HI"\n20 GOTO 10\n'
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == ""

    stage.play(story)


async def paste(pilot: Any, app: Any, wait: Any, text: str) -> None:
    """Paste as a terminal does, which sends CR for line ends, and take what is mended."""
    app.desk.editor.post_message(events.Paste(text.replace("\n", "\r")))
    await pilot.pause()
    await pilot.pause()
    if isinstance(app.screen, MendScreen):
        await pilot.press("enter")
        await wait(pilot, lambda: not isinstance(app.screen, MendScreen))


def test_one_pasted_line_goes_in_where_the_cursor_is(stage: Any) -> None:
    """A single line needs no mending screen."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste("10 END"))
        await pilot.pause()
        assert app.desk.editor.text == "10 END"

    stage.play(story, port="")


@pytest.mark.parametrize(
    "text",
    ["10 PRINT 1\r20 END\n", "10 PRINT 1\r\n20 END\r", "1 A=1\r2 END\r", "1 A=1\r\r2 END\r\r"],
)
def test_line_ends_are_no_repair(stage: Any, wait: Any, text: str) -> None:
    """Terminals send CR for them, tmux two for CR LF, and nobody sees them in the editor."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste(text))
        await wait(pilot, lambda: app.desk.editor.text.count("\n") == 2)
        assert app.screen is app.desk
        assert "\r" not in app.desk.editor.text

    stage.play(story, port="")


def test_pasted_lines_take_their_places_by_number_and_one_undo_takes_them_back(
    stage: Any, wait: Any
) -> None:
    """Some replace a line, some come between; no question, and nothing else is changed."""

    async def story(pilot: Any, app: Any) -> None:
        before = "10 REM A\n20 PRINT 1\n30 PRINT 2\n40 END\n"
        app.desk.editor.load_text(before)
        await pilot.press("ctrl+end", "x")
        await paste(pilot, app, wait, "35 PRINT \u201cHI\u201d\n20 PRINT 3\n15 LET A=1\n")
        wanted = '10 REM A\n15 LET A=1\n20 PRINT 3\n30 PRINT 2\n35 PRINT "HI"\n40 END\nx\n'
        await wait(pilot, lambda: app.desk.editor.text == wanted)
        assert app.said[-1].startswith("3 lines took their places by number, 1 replaced, 2 added;")
        assert app.desk.editor.cursor_location == (1, 0)
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == f"{before}x"

    stage.play(story, port="")


def test_lines_that_a_paste_removes_are_told(stage: Any, wait: Any) -> None:
    """What was selected goes; an undone cut leaves nothing selected."""

    async def story(pilot: Any, app: Any) -> None:
        before = "10 REM A\n20 REM B\n30 REM C\n40 REM D\n"
        app.desk.editor.load_text(before)
        app.desk.editor.selection = Selection((1, 0), (3, 0))
        await paste(pilot, app, wait, "15 REM X\n20 REM Y\n")
        await wait(pilot, lambda: "15 REM X" in app.desk.editor.text)
        assert app.desk.editor.text == "10 REM A\n15 REM X\n20 REM Y\n40 REM D\n"
        assert (
            "2 lines took their places by number, 1 replaced, 1 added, 1 selected line removed;"
            in app.said[-1]
        )
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == before
        app.desk.editor.selection = Selection((1, 0), (3, 0))
        await pilot.press("ctrl+x", "ctrl+z")
        assert app.desk.editor.text == before
        assert app.desk.editor.selection.is_empty

    stage.play(story, port="")


def test_lines_that_are_cut_and_pasted_are_moved(stage: Any) -> None:
    """They come where the cursor is and not by number; Ctrl+Z takes back one step at a time."""

    async def story(pilot: Any, app: Any) -> None:
        before = "10 REM A\n20 REM B\n30 REM C\n40 REM D\n"
        app.desk.editor.load_text(before)
        app.desk.editor.selection = Selection((0, 0), (2, 0))
        await pilot.press("ctrl+x", "down", "ctrl+v")
        moved = "30 REM C\n10 REM A\n20 REM B\n40 REM D\n"
        assert app.desk.editor.text == moved
        app.post_message(events.Paste("10 REM A\r20 REM B\r"))  # by the terminal's own clipboard
        await pilot.pause()
        assert (
            app.desk.editor.text == "30 REM C\n10 REM A\n20 REM B\n10 REM A\n20 REM B\n40 REM D\n"
        )
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == moved
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == "30 REM C\n40 REM D\n"
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == before

    stage.play(story, port="")


def test_a_line_that_is_cut_comes_back_as_a_line(stage: Any) -> None:
    """Wherever in another line the cursor is; the last line, which has no end, too."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text("10 REM A\n20 REM B\n30 REM C")
        await pilot.press("ctrl+x", "down", "right", "right", "ctrl+v")
        assert app.desk.editor.text == "20 REM B\n10 REM A\n30 REM C"
        await pilot.press("ctrl+end", "ctrl+x", "ctrl+home", "right", "ctrl+v")
        assert app.desk.editor.text.split("\n")[:3] == ["30 REM C", "20 REM B", "10 REM A"]

    stage.play(story, port="")


@pytest.mark.parametrize(
    ("answer", "text"),
    [
        (0, "10 REM OLD\n20 REM OLD\n"),
        (1, "10 REM NEW\n20 REM OLD\n30 END\n"),
        (2, "10 REM NEW\n30 END\n"),
    ],
)
def test_a_whole_listing_replaces_another_only_after_a_question(
    stage: Any, wait: Any, answer: int, text: str
) -> None:
    """Leaving it is the safe answer; putting in and replacing are undone by one Ctrl+Z."""
    before = "10 REM OLD\n20 REM OLD\n"

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(before)
        await paste(pilot, app, wait, "10 REM NEW\n30 END\n")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.desk.editor.text == before
        await pilot.press(*["down"] * answer, "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == text
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == before

    stage.play(story, port="")


def test_a_program_is_not_mixed_unasked_with_a_longer_one(
    stage: Any, wait: Any, shown: Any
) -> None:
    """30 lines pasted over 40 with the same numbers; by number is one answer, with its counts."""
    here = "".join(f"{number} REM OLD\n" for number in range(10, 410, 10))
    new = "".join(f"{number} PRINT {number}\n" for number in range(15, 315, 10))

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(here)
        await paste(pilot, app, wait, new.replace("15 ", "20 ", 1))
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "The paste of 30 lines may be a listing other than" in shown(app)
        assert "1 of them would replace a line with the same number." in shown(app)
        assert app.desk.editor.text == here
        await pilot.press("down", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.said[-1].startswith(
            "30 lines took their places by number, 1 replaced, 29 added; Ctrl+Z undoes that."
        )
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == here

    stage.play(story, port="")


def test_a_pasted_listing_can_become_a_new_one(stage: Any, wait: Any) -> None:
    """Text that is nowhere else is asked about before it goes."""
    stage.keep("LAMP", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await paste(pilot, app, wait, "10 REM NEW\n30 END\n")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("up", "enter")
        await wait(pilot, lambda: app.desk.editor.text == "10 REM NEW\n30 END\n")
        assert not app.desk.sheet_pane.sheet.name
        assert app.desk.sheet_pane.unkept

    stage.play(story, port="", opens="LAMP")


def test_rows_without_numbers_go_in_where_the_cursor_is(stage: Any, wait: Any) -> None:
    """There is no other place for them."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text("10 REM A\n20 END\n")
        await pilot.press("down")
        await paste(pilot, app, wait, "LET A=1\nLET B=2\n")
        await wait(pilot, lambda: "LET B=2" in app.desk.editor.text)
        assert app.desk.editor.text == "10 REM A\nLET A=1\nLET B=2\n20 END\n"

    stage.play(story, port="")


def test_repairs_are_grouped_by_kind_with_the_row_that_comes_of_each(stage: Any, wait: Any) -> None:
    """Many of a kind are one row, undone at once by Space; unfolded, each is undone alone."""
    text = "".join(f"{n} PRINT \u201cHI\u201d\n" for n in range(10, 60, 10)) + "60 LET A=1\u20132\n"

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste(text))
        await wait(pilot, lambda: isinstance(app.screen, MendScreen))
        rows = app.screen.query_one(Rows)
        cells = [entry.cells for entry in rows.entries]
        assert cells[0] == ("yes", "", "Typographic quotes became plain ones. (5 rows)")
        assert cells[1:] == [("yes", "6", "Dashes became minus signs.  60 LET A=1-2")]
        await pilot.press("space")
        assert app.screen.mended == text.replace("\u2013", "-")
        await pilot.press("space", "right", "down", "space")
        assert rows.entries[1].cells == ("no", "1", '  10 PRINT "HI"')
        assert rows.entries[0].cells[0] == "some"
        assert app.screen.mended.count("\u201c") == 1
        await pilot.press("left")
        assert rows.key == "typographic-quote"
        assert len(rows.entries) == 2

    stage.play(story, port="")


def test_mending_the_listing_is_undone_by_one_ctrl_z(stage: Any, wait: Any) -> None:
    """What was in the editor before the mending is there again."""

    async def story(pilot: Any, app: Any) -> None:
        damaged = "10 PRINT \u201cHI\u201d\n20 END\n"
        app.desk.editor.load_text(damaged)
        await pilot.press("escape", "m")
        await wait(pilot, lambda: isinstance(app.screen, MendScreen))
        await pilot.press("enter")
        await wait(pilot, lambda: app.desk.editor.text == '10 PRINT "HI"\n20 END\n')
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == damaged

    stage.play(story, port="")


def test_what_cannot_be_mended_is_left_to_the_user(stage: Any, wait: Any) -> None:
    """The finding of a control character advises mending, which must not call it nothing."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text('10 PRINT "\a"\n20 END\n')
        await pilot.press("escape", "m")
        await wait(pilot, lambda: any("Change row 1 by hand" in said for said in app.said))
        assert "U+0007" in " ".join(app.said)

    stage.play(story, port="")
