"""Programs stored on the board: listed, recalled with memory kept first, stored with care."""

from __future__ import annotations

import dataclasses
from typing import Any

from hostlink.app.screens.dialogues import Ask, AskText, ErrorDialogue
from hostlink.app.screens.jobview import JobView
from hostlink.app.screens.stored import StoredScreen
from hostlink.app.widgets.rows import Rows
from hostlink.board.profile.file import find_profile
from hostlink.jobs.profiles import keep_profile


async def _screen(pilot: Any, app: Any, wait: Any) -> None:
    app.desk.action_work("look")
    await pilot.pause()
    app.desk.action_work("stored")
    await pilot.pause()
    await wait(pilot, lambda: isinstance(app.screen, StoredScreen))
    await pilot.pause()


async def _read(pilot: Any, app: Any, wait: Any) -> None:
    """Close the job's view, which had something to say, and let everything be read again."""
    await wait(pilot, lambda: isinstance(app.screen, JobView) and app.screen.job.ended)
    await pilot.press("enter")
    await wait(
        pilot, lambda: isinstance(app.screen, StoredScreen) and app.boards.current.busy is None
    )


def test_what_memory_holds_is_stored_and_recalled(
    stage: Any, wait: Any, type_text: Any, shown: Any, do: Any, hold: Any, held: Any
) -> None:
    """Stored under a name, proven; recalled over another program, which is kept first."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold({10: b"PRINT 1"}))
        await _screen(pilot, app, wait)
        assert "Nothing is stored." in shown(app)
        await pilot.press("s")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        assert "100,000 writes" in " ".join(shown(app).split())
        await type_text(pilot, "HAIL\n")
        await wait(pilot, lambda: any("Stored as HAIL and read back" in s for s in app.said))
        await _read(pilot, app, wait)
        assert app.screen.query_one(Rows).key == "HAIL"
        await do(pilot, app, hold({20: b"PRINT 2"}, HAIL={10: b"PRINT 1"}))
        await pilot.press("enter")
        await wait(pilot, lambda: any("HAIL is in memory: 1 line" in s for s in app.said))
        await _read(pilot, app, wait)
        memory, stored = await do(pilot, app, held)
        assert memory == stored["HAIL"] == {10: b"PRINT 1"}
        assert "holds rescue 1" in " ".join(shown(app).split())

    stage.play(story, size=(120, 40))
    kept = {stage.archive.content(one).text for one in stage.archive.rescues()}
    assert kept == {"10 PRINT 1\n", "20 PRINT 2\n"}


def test_a_taken_name_is_replaced_only_when_asked_and_kept_first(
    stage: Any, wait: Any, type_text: Any, do: Any, hold: Any, held: Any
) -> None:
    """The safe answer leaves it; replacing keeps what it held as a rescue."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold({10: b"PRINT 1"}, HAIL={30: b"PRINT 3"}))
        await _screen(pilot, app, wait)
        for answer in ("leave", "replace"):
            await pilot.press("s")
            await wait(pilot, lambda: isinstance(app.screen, AskText))
            await type_text(pilot, "hail\n")  # in place of any name that is proposed
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert app.focused.id == "answer-leave"
            await pilot.click(f"#answer-{answer}")
            await wait(pilot, lambda: not isinstance(app.screen, Ask))
        await wait(pilot, lambda: any("it held what is kept as" in s for s in app.said))
        await _read(pilot, app, wait)
        _, stored = await do(pilot, app, held)
        assert {10: b"PRINT 1"} in stored.values()

    stage.play(story)
    kept = {stage.archive.content(one).text for one in stage.archive.rescues()}
    assert kept == {"10 PRINT 1\n", "30 PRINT 3\n"}


def test_an_empty_memory_is_not_stored(
    stage: Any, wait: Any, type_text: Any, shown: Any, do: Any, held: Any
) -> None:
    """The board's memory counts, not the editor; that is said and nothing is stored."""

    async def story(pilot: Any, app: Any) -> None:
        await _screen(pilot, app, wait)
        await pilot.press("s")
        await type_text(pilot, "HAIL\n")
        await wait(pilot, lambda: "no program to store" in shown(app))
        await pilot.press("enter")
        assert (await do(pilot, app, held))[1] == {}

    stage.play(story, opens="shipped:TIDE")


def test_a_kind_of_board_that_stores_nothing_says_so(stage: Any, wait: Any, shown: Any) -> None:
    """By its profile there is no such list; the desk stays."""
    practice = find_profile("practice")
    commands = dataclasses.replace(practice.commands, store="", stored="", recall="")
    keep_profile(dataclasses.replace(practice, commands=commands), "plain", replace=False)

    async def story(pilot: Any, app: Any) -> None:
        app.desk.action_work("stored")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "No command to list stored programs" in shown(app)

    stage.play(story, profile="plain")


def test_what_cannot_be_read_is_overwritten_only_when_asked(
    stage: Any, wait: Any, shown: Any, do: Any, hold: Any, held: Any
) -> None:
    """The board refuses to recall from the empty place B, which it cannot list: leave, or go on."""
    practice = find_profile("practice")
    commands = dataclasses.replace(practice.commands, stored="", slots=("A", "B"))
    keep_profile(dataclasses.replace(practice, commands=commands), "places", replace=False)

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold({10: b"PRINT 1"}))
        await _screen(pilot, app, wait)
        app.screen._store("B")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "What B holds is not known." in shown(app)
        assert app.focused.id == "answer-leave"
        await pilot.click("#answer-overwrite")
        await wait(pilot, lambda: any("Stored as B and read back" in s for s in app.said))
        memory, stored = await do(pilot, app, held)
        assert memory == stored["B"] == {10: b"PRINT 1"}

    stage.play(story, profile="places")
