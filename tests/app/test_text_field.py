"""Changes that make a text much shorter while the cursor stands far down in it."""

from __future__ import annotations

from typing import Any

import pytest
from textual import events

from hostlink.app.screens.checking import CheckScreen

ROWS = 40  # more than the screen shows, so that a scroll bar goes away with them
LISTING = "".join(f"{number} PRINT {number}\n" for number in range(10, 10 * ROWS + 1, 10))


def test_undoing_a_long_paste_leaves_the_cursor_in_what_is_left(stage: Any, wait: Any) -> None:
    """Wherever the cursor was moved since; a second undo and each redo work as well."""

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        await pilot.press("a")
        await pilot.press("backspace")
        editor.post_message(events.Paste(LISTING.replace("\n", "\r")))
        await wait(pilot, lambda: editor.text == LISTING)
        await pilot.press("ctrl+end", "ctrl+z")
        assert (editor.text, editor.cursor_location) == ("", (0, 0))
        await pilot.press("ctrl+y", "ctrl+end", "ctrl+z")
        assert (editor.text, editor.cursor_location) == ("", (0, 0))

    stage.play(story, port="")


@pytest.mark.parametrize("sign", ["\f", "\v", "\x1c", "\x85", "\u2028"])
def test_only_line_ends_make_rows(stage: Any, sign: str) -> None:
    """As in a listing: a form feed in a paste, or in an opened text, stays a character."""

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        editor.post_message(events.Paste(f'10 PRINT "A{sign}B"'))
        await pilot.pause()
        assert editor.document.lines == [f'10 PRINT "A{sign}B"']
        editor.load_text(f"10 REM A{sign}\r\n20 END\r\n")
        assert editor.document.lines == [f"10 REM A{sign}", "20 END", ""]

    stage.play(story, port="")


def test_redoing_a_deletion_leaves_the_cursor_in_what_is_left(stage: Any) -> None:
    """All of the listing is cut, comes back, and is cut again from its end."""

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        editor.load_text(LISTING)
        await pilot.press("f7", "ctrl+x", "ctrl+v", "ctrl+z", "ctrl+z")
        assert editor.text == LISTING
        await pilot.press("ctrl+end", "ctrl+y")
        assert (editor.text, editor.cursor_location) == ("", (0, 0))

    stage.play(story, port="")


def test_undoing_pasted_check_codes_leaves_the_cursor_in_what_is_left(
    stage: Any, wait: Any
) -> None:
    """The field for codes is a text area as well."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LISTING)
        app.desk.workshop.check_codes()
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        field = app.screen.query_one("#codes")
        codes = "".join(f"{number} 44\n" for number in range(10, 10 * ROWS + 1, 10))
        app.post_message(events.Paste(codes))
        await wait(pilot, lambda: field.text == codes)
        await pilot.press("ctrl+z")
        assert (field.text, field.cursor_location) == ("", (0, 0))

    stage.play(story, port="")
