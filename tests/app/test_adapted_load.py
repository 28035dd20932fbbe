"""A listing in another BASIC in the app: shown adapted, then taken into the editor or loaded."""

from __future__ import annotations

from typing import Any

from hostlink.app.screens.dialogues import Ask
from hostlink.app.screens.rewriting import RewriteScreen
from hostlink.app.widgets.editor import LedgerColumn, ListingEditor
from hostlink.app.widgets.rows import Rows

BOARD = "practice://green?kind=capital&time=virtual"
LAMP = ("10 LET A=1", "20 IF A=1 THEN 40", "30 PRINT A", "40 END")


def words_of(shown: Any, app: Any) -> str:
    """What the screen shows, blanks and row ends made one blank."""
    return " ".join(shown(app).split())


def test_a_listing_in_another_basic_is_shown_adapted_before_it_is_loaded(
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
        await wait(pilot, lambda: isinstance(app.screen, RewriteScreen))
        assert not any("is on the board" in one for one in app.said)
        await pilot.press("enter")
        await wait(pilot, lambda: any("LAMP@2 is on the board, proven" in one for one in app.said))
        assert "20 IF A=1 THEN 40" in app.desk.query_one(ListingEditor).text
        await wait(pilot, lambda: is_settled(app))
        column = app.desk.query_one(LedgerColumn)
        proven = [column.text_at(place).endswith("━") for place in range(len(LAMP))]
        assert proven == [True, False, True, True]  # the board holds another line 20

    stage.keep("LAMP", *LAMP)
    stage.play(story, port=BOARD, opens="LAMP", profile="capital")


def test_the_screen_shows_each_change_and_the_whole(stage: Any, wait: Any, shown: Any) -> None:
    """Each changed line with its reason and cost, the proof, the listing; Enter takes it."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text("\n".join(LAMP) + "\n")
        await pilot.press("escape", "j")
        await wait(pilot, lambda: isinstance(app.screen, RewriteScreen))
        await wait(pilot, lambda: app.screen.rewrite.proof)
        await pilot.pause()
        assert "Adapt to capital: 1 line changed" in words_of(shown, app)
        rows = [entry.cells for entry in app.screen.query_one(Rows).entries]
        assert [row[:2] for row in rows] == [("all", "+0"), ("20", "+0")]
        assert "Proven: both were run and printed the" in words_of(shown, app)
        await pilot.press("down")
        await wait(pilot, lambda: "becomes 20 IF A=1 GOTO 40" in words_of(shown, app))
        assert "this board has no THEN" in words_of(shown, app)
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == "\n".join(LAMP).replace("THEN", "GOTO") + "\n"
        await pilot.press("escape", "j")
        await wait(pilot, lambda: "Nothing was found to adapt" in app.said[-1])

    stage.play(story, port="", profile="capital", size=(120, 40))


def test_what_has_no_equal_is_a_row_of_its_own(stage: Any, wait: Any) -> None:
    """The user sees what must be rewritten by hand before the listing is taken."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text('10 LET A$="TEA"\n20 PRINT A$\n')
        app.desk.action_work("adapt")
        await wait(pilot, lambda: isinstance(app.screen, RewriteScreen))
        last = app.screen.query_one(Rows).entries[-1].cells
        assert last[0] == "10"
        assert last[2].startswith("left as it is: strings")
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "LET A$" in app.desk.editor.text

    stage.play(story, port="", profile="capital")
