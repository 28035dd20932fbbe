"""The mouse does what the words on the screen say."""

from __future__ import annotations

from typing import Any

import pytest
from textual.binding import Binding
from textual.content import Content

from hostlink.app.actions.action import key_words
from hostlink.app.screens.backups import BackupsScreen
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.dialogues import AskText
from hostlink.app.screens.findings import FindingsScreen
from hostlink.app.screens.firmware import FirmwareScreen
from hostlink.app.screens.mending import MendScreen
from hostlink.app.screens.palette import Help
from hostlink.app.screens.rescues import RescuesScreen
from hostlink.app.screens.revisions import RevisionsScreen
from hostlink.app.screens.several_boards import SeveralScreen
from hostlink.app.screens.stored import StoredScreen
from hostlink.app.screens.words_line import WordsLine
from hostlink.app.widgets.foot import clickable

PAGES = [
    *(BackupsScreen, BoardsScreen, FindingsScreen, FirmwareScreen, MendScreen, RescuesScreen),
    *(RevisionsScreen, SeveralScreen, StoredScreen),
]


def _actions(content: Content) -> set[str]:
    return {span.style.meta["@click"] for span in content.spans}


@pytest.mark.parametrize("page", PAGES)
def test_every_key_that_a_foot_names_can_be_clicked(page: Any) -> None:
    """Each shown key of the screen stands in its foot, and does there what it does."""
    keys = [each for each in page.BINDINGS if isinstance(each, Binding)]
    named = [each for each in keys if f"{key_words(each.key)} " in page.FOOT]
    assert len(named) >= 2
    assert _actions(clickable(page.FOOT, page.BINDINGS)) >= {
        f"screen.{each.action}" for each in named if each.key != "tab"
    }


def test_a_letter_inside_a_sentence_is_no_key() -> None:
    """A as an article, a key of another screen, a key with Ctrl."""
    keys = [Binding("a", "again"), Binding("l", "label")]
    words = "Type A or Ctrl+L goes. A looks again, Z takes it back."
    content = clickable(words, keys)
    assert [content.plain[span.start : span.end] for span in content.spans] == ["A looks again"]


def test_a_click_on_the_foot_does_as_the_key(stage: Any, wait: Any, shown: Any) -> None:
    """O names another port, Escape goes back."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.screens.boards()
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.pause()
        for words, there in (
            ("O names", lambda: isinstance(app.screen, AskText)),
            ("Escape goes", lambda: app.screen is app.desk),
        ):
            rows = shown(app).split("\n")
            y = next(at for at, row in enumerate(rows) if words in row)
            await pilot.click(offset=(rows[y].index(words) + 1, y))
            await wait(pilot, there)
            if isinstance(app.screen, AskText):
                await pilot.press("escape")
                await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))

    stage.play(story, port="", size=(120, 40))


def test_what_the_desk_says_can_be_clicked(stage: Any, wait: Any, shown: Any) -> None:
    """The board's sentence, the finding, the hints, a heading, the cost of a line."""
    stage.keep("LAMP", "10 PRINT 1", "20 GOTO 99", "30 END")

    async def story(pilot: Any, app: Any) -> None:
        await pilot.click("#ledger", offset=(3, 1))
        assert app.desk.editor.cursor_location == (1, 0)
        await pilot.click("#find")
        await pilot.click("#sheet-name")
        assert app.desk.focused is app.desk.editor
        for widget, x, kind in (
            ("#board", 3, BoardsScreen),
            ("#finding", 3, FindingsScreen),
            ("#told", 3, WordsLine),
            ("#told", shown(app).split("\n")[-1].index("F1 help") + 1, Help),
        ):
            await pilot.click(widget, offset=(x, 0))
            await wait(pilot, lambda kind=kind: isinstance(app.screen, kind))
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="", opens="LAMP", size=(120, 40))


def test_a_click_on_the_listings_track_goes_to_the_line_whose_bytes_are_there(
    stage: Any,
) -> None:
    """By the ledger's figures; beyond the listing and on the board's track
    nothing moves.
    """
    stage.keep("LONG", *(f"{number} PRINT {number}" for number in range(10, 500, 10)))

    async def story(pilot: Any, app: Any) -> None:
        ruler, editor = app.desk.ruler, app.desk.editor
        ledger = app.desk.sheet_pane.checked.ledger
        _, track, scale = ruler._measures(ledger)
        name = ruler.content_region.x - ruler.region.x + 8

        async def click(cell: int, y: int = 1) -> int:
            await pilot.click(ruler, offset=(name + cell, y))
            await pilot.pause()
            return int(editor.cursor_location[0])

        assert await click(0) == 0
        middle = track // 4
        row = await click(middle)
        there = ledger.rows[row]
        assert there.so_far - there.cost < (middle + 1) * scale / track
        assert there.so_far > middle * scale / track
        assert row > 0
        assert editor.has_focus
        assert await click(track - 2) == row
        assert await click(0, y=0) == row

    stage.play(story, port="", opens="LONG")
