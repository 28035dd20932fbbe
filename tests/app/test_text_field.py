"""Text areas: changes that make a text much shorter, and which rows are drawn again."""

from __future__ import annotations

import random
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


KEYS = (
    *("a", "7", "space", "left_parenthesis", "right_parenthesis", "quotation_mark"),
    *("enter", "backspace", "delete", "f7", "f3"),
    *("up", "down", "left", "right", "home", "end", "pageup", "pagedown"),
    *("shift+up", "shift+down", "shift+left", "shift+right", "ctrl+home", "ctrl+end"),
    *("ctrl+x", "ctrl+v", "ctrl+z", "ctrl+y"),
)


BRACKETS = "".join(f"{number} PRINT (\n{number + 1} A=3)\n" for number in range(10, 210, 5))


def drawn(app: Any) -> list[str]:
    """What stands on the screen, with its colours."""
    strips = app.screen._compositor.render_strips()
    return [repr([(one.text, one.style) for one in strip]) for strip in strips]


def test_no_change_leaves_a_row_on_the_screen_as_it_was(stage: Any, monkeypatch: Any) -> None:
    """After random keys and replaced rows, the screen is as with every widget drawn again."""
    choose = random.Random(18)
    monkeypatch.setattr("hostlink.app.desk.reviewing.LARGE", 0)  # no review draws all the rows

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        editor.load_text(BRACKETS)
        editor.fault = ("30 PRINT (", "?DIVISION BY ZERO IN 30")
        for step in range(60):
            if step % 4:
                keys = choose.choice([choose.choices(KEYS, k=2), ["end", "left"], ["ctrl+z"]])
                await pilot.press(*keys)
            else:
                row = min(editor.scroll_offset.y + choose.randrange(9), editor.document.end[0])
                end = len(editor.document.get_line(row))
                editor.replace("5 PRINT (7)"[: choose.randrange(12)], (row, 0), (row, end))
                keys = [f"row {row}"]
            await pilot.pause()
            seen = drawn(app)
            for widget in app.screen.walk_children():
                widget._styles_cache.clear()
                widget.refresh()
            editor._line_cache.clear()
            assert seen == drawn(app), (step, keys)

    stage.play(story, port="")


def test_a_key_draws_its_row_and_no_other(stage: Any, monkeypatch: Any) -> None:
    """Over a slow line, and in a long listing, each row more would be felt."""

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        editor.load_text(LISTING)
        monkeypatch.setattr("hostlink.app.desk.reviewing.LARGE", 0)  # reviewed after a pause
        await pilot.press("down", "down", "end")
        drawn(app)
        rows: list[int] = []
        draw = editor.render_line
        monkeypatch.setattr(editor, "render_line", lambda y: rows.append(y) or draw(y))
        await pilot.press("1")
        drawn(app)
        assert rows == [2]
        await pilot.press("down")
        drawn(app)
        assert sorted(rows) == [2, 2, 3]

    stage.play(story, port="")


def test_a_marked_bracket_can_be_read_in_the_colours_of_the_terminal(stage: Any) -> None:
    """Its sign and the place under it differ in colour; the mark is a line below it."""

    async def story(pilot: Any, app: Any) -> None:
        app.use_theme("dark-16")
        app.desk.editor.load_text("10 PRINT (2)\n")
        await pilot.press("end", "left")
        strips = app.screen._compositor.render_strips()
        marked = [one for strip in strips for one in strip if one.text == "("]
        assert [(one.style.underline, one.style.bgcolor != one.style.color) for one in marked] == [
            (True, True)
        ]

    stage.play(story, port="")
