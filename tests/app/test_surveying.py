"""Surveys from the boards: asked first, told in words, kept as a profile, seen later."""

from __future__ import annotations

from typing import Any

import pytest

from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.dialogues import Ask, AskText
from hostlink.app.screens.jobview import JobView
from hostlink.app.screens.palette import actions
from hostlink.app.screens.surveying import SurveyScreen
from hostlink.app.widgets.rows import Rows
from hostlink.board.profile.file import find_profile

LAB = "practice://lab?time=virtual&baud=19200&receive_buffer=17&line_ms=23&line_done=after-prompt"


async def _boards(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("escape", "d")
    await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))


async def _survey(pilot: Any, app: Any, wait: Any, answer: str) -> dict[str, tuple[str, ...]]:
    """Survey the board at the cursor; the rows that are shown by their value's name."""
    await pilot.press("s")
    await wait(pilot, lambda: isinstance(app.screen, Ask))
    assert app.focused.id == "answer-leave"
    await pilot.click(f"#answer-{answer}")
    await wait(pilot, lambda: isinstance(app.screen, SurveyScreen | JobView))
    if isinstance(app.screen, JobView):
        await wait(pilot, lambda: isinstance(app.screen, SurveyScreen) or app.screen.job.ended)
        if isinstance(app.screen, JobView):
            await pilot.press("enter")  # there was something to be read
    await wait(pilot, lambda: isinstance(app.screen, SurveyScreen))
    await pilot.pause()
    return {entry.key: entry.cells for entry in app.screen.query_one(Rows).entries}


def test_a_survey_without_storing_leaves_times_unknown_and_says_why(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The values measured are shown with their evidence; the boards screen has them afterwards."""

    async def story(pilot: Any, app: Any) -> None:
        await _boards(pilot, app, wait)
        found = await _survey(pilot, app, wait, "talk")
        assert found["talk.baud"][1:3] == ("57600", "measured")
        assert found["talk.line_ms"][2] == "not found"
        assert "Your board talks at 57600 baud" in " ".join(shown(app).split())
        assert "talk.baud" not in shown(app)
        await pilot.press("e")
        await wait(pilot, lambda: "talk.baud" in shown(app))
        assert "readable answer, twice" in shown(app)
        await pilot.press("e")
        await wait(pilot, lambda: "talk.baud" not in shown(app))
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await wait(pilot, lambda: "Your board talks at 57600 baud" in " ".join(shown(app).split()))
        await pilot.press("v")
        await wait(pilot, lambda: isinstance(app.screen, SurveyScreen))
        assert "Your board talks at 57600 baud" in " ".join(shown(app).split())
        assert "keep" not in {one.action for one in actions(app.screen)}
        again = {entry.key: entry.cells for entry in app.screen.query_one(Rows).entries}
        assert again == found

    stage.play(story, size=(120, 40))


def test_a_survey_that_stores_puts_the_program_back_and_is_kept_as_a_profile(
    stage: Any, wait: Any, type_text: Any, is_settled: Any, shown: Any, hold: Any
) -> None:
    """An unknown board at 19,200 baud: measured, kept as "red", talked to by it at once."""

    async def story(pilot: Any, app: Any) -> None:
        app.boards.current.do("", hold({10: b"PRINT 9"}), shown=False)
        await wait(pilot, lambda: is_settled(app))
        await _boards(pilot, app, wait)
        found = await _survey(pilot, app, wait, "storing")
        assert found["talk.receive_buffer"][1] == "17"
        assert float(found["talk.line_ms"][1]) == pytest.approx(23, rel=0.2)
        assert len(stage.archive.rescues()) == 1
        await pilot.press("k")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await type_text(pilot, "practice\n")
        await wait(pilot, lambda: "comes with hostlink" in shown(app))
        await pilot.press("escape", "k")
        await type_text(pilot, "Red\n")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen) and is_settled(app))
        assert app.boards.current.choice.profile.name == "red"
        assert stage.archive.boards()[0].profile == "red"
        await pilot.press("escape")
        await wait(pilot, lambda: "holds rescue 1" in shown(app))

    stage.play(story, port=LAB, baud=19200)
    assert find_profile("red").talk.receive_buffer == 17


def test_a_profile_of_ones_own_is_replaced_only_when_asked(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """The safe answer leaves it as it was."""
    mine = stage.folder / "profiles" / "red.toml"
    mine.parent.mkdir()
    mine.write_text('[board]\nname = "red"\n')

    async def story(pilot: Any, app: Any) -> None:
        await _boards(pilot, app, wait)
        await _survey(pilot, app, wait, "talk")
        await pilot.press("k")
        await type_text(pilot, "red\n")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, SurveyScreen))
        assert "57600" not in mine.read_text()
        await pilot.press("k")
        await type_text(pilot, "red\n")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-replace")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        assert "baud = 57600" in mine.read_text()
        (note,) = app._notifications
        assert note.message.endswith(f"now has profile red, kept as {mine}.")

    stage.play(story)


def test_a_board_that_is_not_attached_is_not_surveyed(stage: Any, wait: Any) -> None:
    """Nothing is opened without being asked for; nothing was measured, so nothing is shown."""

    async def story(pilot: Any, app: Any) -> None:
        await _boards(pilot, app, wait)
        await pilot.press("s")
        await pilot.pause()
        assert isinstance(app.screen, BoardsScreen)
        await pilot.press("v")
        await pilot.pause()
        assert isinstance(app.screen, BoardsScreen)
        assert len(app._notifications) == 2

    stage.play(story, port="")
