"""The message in the last line of the desk: it goes when what it says is no longer so."""

from __future__ import annotations

from typing import Any

import pytest
from textual import events
from textual.widgets import Static

from hostlink.app.screens.dialogues import ErrorDialogue


def told(app: Any) -> str:
    """What stands in the last line of the desk."""
    return str(app.desk.query_one("#told", Static).content)


def test_what_was_said_of_the_text_goes_when_the_text_changes(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """A paste is taken back, a kept text is changed, another listing is opened."""
    stage.keep("GOOD", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste("10 PRINT 1\n20 END\n"))
        await wait(pilot, lambda: "Ctrl+Z undoes that" in told(app))
        await pilot.press("left")
        assert "Ctrl+Z undoes that" in told(app)
        await pilot.press("ctrl+z")
        await wait(pilot, lambda: not app.desk.editor.text)
        await wait(pilot, lambda: "Ctrl+Z" not in told(app))
        app.desk.sheet_pane.open_word("GOOD")
        await type_text(pilot, "5\n")
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: "Kept as GOOD revision 2." in told(app))
        app.desk.sheet_pane.open_word("shipped:TIDE")
        await wait(pilot, lambda: "Kept as" not in told(app))

    stage.play(story, port="")


def test_the_result_of_a_job_goes_when_the_next_begins(stage: Any, wait: Any) -> None:
    """What the text is changed to meanwhile does not take it away."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "proven" in told(app))
        await pilot.press("end", "1")
        await pilot.pause()
        assert "proven" in told(app)
        app.tell("Ran before.")
        await pilot.press("ctrl+g")
        await wait(pilot, lambda: "Ran before." not in told(app))

    stage.play(story, opens="shipped:TIDE")


def test_a_paste_that_is_left_out_is_told(stage: Any, wait: Any) -> None:
    """The safe answer to a whole listing pasted over another says that nothing was pasted."""
    stage.keep("GOOD", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.post_message(events.Paste("10 PRINT 2\n20 END\n"))
        await wait(pilot, lambda: len(app.screen_stack) == 2)
        await pilot.press("enter")
        await wait(pilot, lambda: "Nothing was pasted" in told(app))

    stage.play(story, port="", opens="GOOD")


@pytest.mark.one_in(3)
@pytest.mark.parametrize("size", [(80, 24), (60, 15), (40, 12)])
def test_a_message_is_never_cut_off(
    size: tuple[int, int], stage: Any, wait: Any, shown: Any
) -> None:
    """A long one takes two rows or three; with none, the key of the help stands there."""

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: shown(app).rstrip().endswith("F1 help"))
        app.desk.sheet_pane.take_text(
            "10 END\n", "28 lines took their places by number, 12 replaced"
        )
        await wait(pilot, lambda: shown(app).rstrip().endswith(("Nothing is kept yet.", "F1 help")))
        words = " ".join(shown(app).split())
        assert "28 lines took their places by number, 12 replaced; Ctrl+Z undoes that." in words

    stage.play(story, port="", size=size)


def test_an_error_in_a_box_is_not_told_in_the_last_line_too(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Neither while the box is open nor afterwards."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("f9")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "What to do after closing this: " in shown(app)
        assert "No board" not in told(app)
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "No board is attached" not in told(app)

    stage.play(story, port="", opens="shipped:TIDE")


def test_news_of_a_job_goes_once_the_board_holds_another_known_program(
    stage: Any, wait: Any, shown: Any, hold: Any, do: Any
) -> None:
    """What was rescued is told until then, though the board is read again."""
    stage.keep("GOOD", "10 PRINT 1")
    stage.keep("OTHER", "10 PRINT 22")

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold({5: b"PRINT 99"}))
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "! Rescued what the board held" in shown(app))
        app.desk.readings.look_again(quietly=True)
        await wait(pilot, lambda: app.boards.current.busy is None)
        assert "! Rescued what the board held" in shown(app)
        await do(pilot, app, hold({10: b"PRINT 22"}))
        app.desk.readings.look_again(quietly=True)
        await wait(pilot, lambda: "holds OTHER revision 1" in shown(app))
        await wait(pilot, lambda: "! Rescued" not in shown(app))

    stage.play(story, opens="GOOD")


def test_news_of_a_job_goes_when_a_line_is_typed_to_the_board(
    stage: Any, wait: Any, shown: Any, hold: Any, do: Any
) -> None:
    """A line typed in the console is the next job, and so is a run."""
    stage.keep("GOOD", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold({5: b"PRINT 99"}))
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "! Rescued what the board held" in shown(app))
        await pilot.press("f9")
        await wait(pilot, lambda: "! Rescued" not in shown(app))

    stage.play(story, opens="GOOD")
