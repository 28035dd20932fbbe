"""Loading a listing into a board with another BASIC: the app asks, and adapts it on a yes."""

from __future__ import annotations

from typing import Any

from hostlink.app.screens.dialogues import Ask
from hostlink.app.widgets.editor import ListingEditor

BOARD = "practice://green?kind=capital&time=virtual"


def test_a_listing_in_another_basic_is_adapted_on_a_yes(
    stage: Any, wait: Any, is_settled: Any
) -> None:
    """The question says what the board does not take; what is loaded is the adapted revision."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("down", "enter")  # the port may be opened
        await wait(pilot, lambda: app.boards.current and is_settled(app))
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "THEN" in app.screen.question
        await pilot.press("down", "down", "enter")
        await wait(pilot, lambda: any("LAMP@2 is on the board, proven" in one for one in app.said))
        assert "20 IF A=1 THEN 40" in app.desk.query_one(ListingEditor).text

    stage.keep("LAMP", "10 LET A=1", "20 IF A=1 THEN 40", "30 PRINT A", "40 END")
    stage.play(story, port=BOARD, opens="LAMP", profile="capital")
