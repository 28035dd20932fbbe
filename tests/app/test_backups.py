"""Backups: the current board's first, what fits said beforehand, all of it or single items."""

from __future__ import annotations

import dataclasses
from typing import Any

from hostlink.app.screens.backups import BackupsScreen
from hostlink.app.screens.dialogues import Ask
from hostlink.app.widgets.rows import Rows
from hostlink.board.profile.file import find_profile
from hostlink.jobs.backup import backup
from hostlink.jobs.profiles import keep_profile

LONG = dict.fromkeys(range(10, 90, 10), b"REM " + b"X" * 50)
SHORT = {10: b"PRINT 1"}


async def _screen(pilot: Any, app: Any, wait: Any) -> BackupsScreen:
    await pilot.press("escape", "p")
    await wait(pilot, lambda: isinstance(app.screen, BackupsScreen))
    await pilot.pause()
    return app.screen


def _cells(app: Any, which: str) -> list[tuple[str, ...]]:
    return [entry.cells for entry in app.screen.query_one(which, Rows).entries]


def test_a_backup_is_put_back_whole(
    stage: Any, wait: Any, shown: Any, do: Any, hold: Any, held: Any
) -> None:
    """Memory and the stored program are on the board again; what it held was kept before."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(LONG, HAIL=SHORT))
        await do(pilot, app, backup)
        await do(pilot, app, hold({5: b"PRINT 99"}))
        await _screen(pilot, app, wait)
        assert [row[1] for row in _cells(app, "#items")] == ["memory", "HAIL"]
        assert {row[4] for row in _cells(app, "#items")} == {"yes"}
        await pilot.press("enter")
        await wait(pilot, lambda: any("backup@1 is on the board, proven" in s for s in app.said))
        assert "Each store wears the EEPROM" in shown(app)
        await wait(pilot, lambda: app.screen is app.desk and app.boards.current.busy is None)
        assert await do(pilot, app, held) == (LONG, {"HAIL": SHORT})
        assert "456 of 999 bytes" in shown(app)

    stage.play(story)
    assert stage.archive.content(stage.archive.rescues()[0]).text == "5 PRINT 99\n"


def test_single_items_are_put_back_where_they_are_marked(
    stage: Any, wait: Any, do: Any, hold: Any, held: Any
) -> None:
    """Only the stored program is written; memory holds what it held."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(LONG, HAIL=SHORT))
        await do(pilot, app, backup)
        await do(pilot, app, hold({5: b"PRINT 99"}))
        screen = await _screen(pilot, app, wait)
        await pilot.press("tab", "down", "space")
        assert screen.marked == {"HAIL"}
        await pilot.press("enter")
        await wait(pilot, lambda: any("Memory holds what it held before" in s for s in app.said))
        await pilot.press("enter")
        assert await do(pilot, app, held) == ({5: b"PRINT 99"}, {"HAIL": SHORT})

    stage.play(story)


def test_what_does_not_fit_is_said_before_anything_is_sent(
    stage: Any, wait: Any, shown: Any, do: Any, hold: Any, held: Any
) -> None:
    """By the profile on the screen, and by the board's own word where that is less."""

    async def make(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(LONG, HAIL=SHORT))
        await do(pilot, app, backup)

    async def story(pilot: Any, app: Any) -> None:
        await _screen(pilot, app, wait)
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.focused.id == "answer-leave"
        assert "memory: it is 156 bytes over the 300 here" in " ".join(shown(app).split())
        await pilot.click("#answer-rest")
        await wait(pilot, lambda: any("backup@1 is on the board, proven" in s for s in app.said))
        memory, stored = await do(pilot, app, held)
        assert (memory, stored) == ({}, {"HAIL": SHORT})

    stage.play(make)
    stage.play(story, port="practice://small?time=virtual&program_bytes=300")


def test_the_current_boards_backups_stand_first_and_any_item_can_be_opened(
    stage: Any, wait: Any, shown: Any, do: Any, hold: Any
) -> None:
    """Though another board's is newer; its listing comes into the editor, the board untouched."""

    async def make(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(SHORT))
        await do(pilot, app, backup)

    async def story(pilot: Any, app: Any) -> None:
        await _screen(pilot, app, wait)
        assert [row[0] for row in _cells(app, "#backups")] == ["backup@1", "backup@2"]
        assert "2 backups, 1 of the practice board" in shown(app)
        await pilot.press("o")
        await wait(pilot, lambda: app.desk.editor.text == "10 PRINT 1\n")
        await _screen(pilot, app, wait)
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(make)
    stage.play(make, port="practice://other?time=virtual")
    stage.play(story)


def test_without_backup_or_board_the_screen_says_what_to_do(
    stage: Any, wait: Any, shown: Any
) -> None:
    """An empty list names the key that makes one; without a board nothing can be put back."""

    async def story(pilot: Any, app: Any) -> None:
        await _screen(pilot, app, wait)
        assert "Escape, then U on the desk makes one" in shown(app)
        await pilot.press("enter", "space", "o")
        assert isinstance(app.screen, BackupsScreen)

    stage.play(story, port="")


def test_a_place_that_cannot_be_read_is_overwritten_only_when_asked(
    stage: Any, wait: Any, shown: Any, do: Any, hold: Any, held: Any
) -> None:
    """The board refuses to recall from A, which is empty now and which it cannot list."""
    practice = find_profile("practice")
    commands = dataclasses.replace(practice.commands, stored="", slots=("A",))
    keep_profile(dataclasses.replace(practice, commands=commands), "places", replace=False)

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(LONG, A=SHORT))
        await do(pilot, app, backup)
        await do(pilot, app, hold(SHORT))
        await _screen(pilot, app, wait)
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "What A holds is not known." in shown(app)
        await pilot.click("#answer-overwrite")
        await wait(pilot, lambda: any("backup@1 is on the board, proven" in s for s in app.said))
        assert await do(pilot, app, held) == (LONG, {"A": SHORT})

    stage.play(story, profile="places")
