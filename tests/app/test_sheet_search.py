"""Searching in the listing, and going to a line, from the line of words and by keys."""

from __future__ import annotations

from typing import Any

import pytest

from hostlink.app.screens.dialogues import AskText

TEXT = '10 PRINT "HI"\n20 GOSUB 100\n30 print 2\n100 PRINT 3: PRINT 4\n'


async def ask(pilot: Any, app: Any, wait: Any, letter: str, answer: str) -> None:
    await pilot.press("escape", letter)
    await wait(pilot, lambda: isinstance(app.screen, AskText))
    await pilot.press(*answer, "enter")
    await wait(pilot, lambda: app.screen is app.desk)


def test_a_text_is_found_and_found_again_in_both_directions(stage: Any, wait: Any) -> None:
    """Each place in its turn, in any case of letters, marked; around the end and back."""

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        editor.load_text(TEXT)
        await ask(pilot, app, wait, "h", "print")
        places = [editor.selection.start]
        for _ in range(4):
            await pilot.press("f3")
            places.append(editor.selection.start)
        assert places == [(0, 3), (2, 3), (3, 4), (3, 13), (0, 3)]
        assert app.said[-1] == "print: match 1 of 4, from the top again."
        assert (editor.selected_text, editor.found) == ("", ((0, 3), 5))
        await pilot.press("f4")
        assert editor.selection.start == (3, 13)
        assert app.said[-1] == "print: match 4 of 4, from the end again."
        await pilot.press("escape", "h")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await pilot.press("enter")  # the text of before is there: a way without a function key
        await wait(pilot, lambda: editor.selection.start == (0, 3))
        assert editor.text == TEXT
        assert "match 1 of 4" in str(app.desk.query_one("#told").content)
        await pilot.press("left")
        assert "place" not in str(app.desk.query_one("#told").content)

    stage.play(story, port="")


def test_typing_after_a_search_overwrites_nothing(stage: Any, wait: Any) -> None:
    """What was found is marked and not selected; the mark goes with the first change."""

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        editor.load_text(TEXT)
        await ask(pilot, app, wait, "h", "gosub")
        (marked,) = [each for each in editor.get_line(1).spans if "reverse" in str(each.style)]
        assert (marked.start, marked.end) == (3, 8)
        await pilot.press("R", "E", "M", "space")
        assert editor.text == TEXT.replace("GOSUB", "REM GOSUB")
        assert not [each for each in editor.get_line(1).spans if "reverse" in str(each.style)]

    stage.play(story, port="")


@pytest.mark.one_in(4)
@pytest.mark.parametrize("text", ["NOWHERE", "[/b]", "(", "\\"])
def test_what_is_nowhere_is_told_and_the_cursor_stays(stage: Any, wait: Any, text: str) -> None:
    """Signs are looked for as they are."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(TEXT)
        app.desk.editor.move_cursor((1, 2))
        app.desk.sheet_search.text = text
        await pilot.press("f3")
        await wait(pilot, lambda: app.said[-1:] == [f"{text} is not in the listing."])
        assert app.desk.editor.cursor_location == (1, 2)

    stage.play(story, port="")


@pytest.mark.one_in(2)
@pytest.mark.parametrize(
    ("number", "row", "said"),
    [
        ("30", 2, ""),
        ("31", 3, "There is no line 31; this is line 100."),
        ("999", 3, "There is no line 999; this is line 100."),
        ("abc", 0, "No line has the number abc; the cursor stays."),
        ("1234567", 0, "No line has the number 1234567; the cursor stays."),
    ],
)
def test_a_line_number_is_gone_to(stage: Any, wait: Any, number: str, row: int, said: str) -> None:
    """Or the first one after it, or the last one; which one it is, is told."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(TEXT)
        await ask(pilot, app, wait, "g", number)
        assert app.desk.editor.cursor_location == (row, 0)
        assert app.focused is app.desk.editor
        assert (app.said or [""])[-1] == said

    stage.play(story, port="")


def test_ctrl_with_home_and_end_go_to_the_ends_of_the_listing(stage: Any) -> None:
    """With Shift they select up to there."""

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        editor.load_text(TEXT)
        await pilot.press("ctrl+end")
        assert editor.cursor_location == (4, 0)
        await pilot.press("ctrl+home")
        assert editor.cursor_location == (0, 0)
        await pilot.press("ctrl+shift+end")
        assert editor.selected_text == TEXT
        await pilot.press("f7", "delete", "ctrl+z")
        assert editor.text == TEXT

    stage.play(story, port="")
