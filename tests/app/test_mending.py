"""A paste of several lines is mended first, every repair shown; it is never sent raw."""

from __future__ import annotations

from typing import Any

from textual import events

from hostlink.app.screens.mending import MendScreen
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


def test_one_pasted_line_goes_in_where_the_cursor_is(stage: Any) -> None:
    """A single line needs no mending screen."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste("10 END"))
        await pilot.pause()
        assert app.desk.editor.text == "10 END"

    stage.play(story, port="")


def test_a_paste_does_not_replace_unkept_text_unasked(stage: Any, wait: Any) -> None:
    """Text that is nowhere else stays until the question is answered."""
    from hostlink.app.screens.dialogues import Ask

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press(*"10", "space", *"END")
        app.desk.editor.post_message(events.Paste("10 PRINT 1\n20 END\n"))
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("escape")
        assert app.desk.editor.text == "10 END"

    stage.play(story, port="")
