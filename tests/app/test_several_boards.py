"""Several boards loaded, saved and backed up at once in the app, and what one of them refuses."""

from __future__ import annotations

import threading
from typing import Any

import pytest

from hostlink.app.screens.dialogues import Ask
from hostlink.app.screens.several_boards import SeveralScreen
from hostlink.jobs.loading import load

SECOND = "practice://second?time=virtual"
LISTING = "10 PRINT 1\n20 END\n"


async def _two(pilot: Any, app: Any, wait: Any, is_settled: Any, find_action: Any) -> None:
    """Attach a second board and open the screen of several boards."""
    app.boards.attach(SECOND)
    await wait(pilot, lambda: len(app.boards.by_port) == 2 and is_settled(app))
    await find_action(pilot, app, "several boards")
    await pilot.press("enter")
    await wait(pilot, lambda: isinstance(app.screen, SeveralScreen))


def test_one_listing_is_loaded_into_every_marked_board(
    stage: Any, wait: Any, is_settled: Any, find_action: Any, held: Any, shown: Any
) -> None:
    """Kept once, proven on each; a board without a mark is left alone."""

    async def story(pilot: Any, app: Any) -> None:
        await _two(pilot, app, wait, is_settled, find_action)
        app.screen.action_alone()
        assert (
            "Nothing has failed on this board."
            in app.screen.query_one("#several-detail").content.plain
        )
        await pilot.press("space", "l")  # the first board is no longer marked
        await wait(pilot, lambda: len(app.screen.tasks) == 1 and is_settled(app))
        await pilot.press("space", "l")
        await wait(pilot, lambda: len(app.screen.tasks) == 2 and is_settled(app))
        assert [each.failed for each in app.screen.tasks.values()] == [False, False]
        assert shown(app).count("LAMP@1 is on the board, proven") >= 2
        for attached in app.boards.by_port.values():
            job = attached.do("", held, shown=False)
            await wait(pilot, lambda job=job: job.ended)
            assert sorted(job.result[0]) == [10, 20]
            assert app.desk.states.held(attached.port).spec == "LAMP@1"

    stage.keep("LAMP", *LISTING.split("\n")[:2])
    stage.play(story, opens="LAMP", size=(120, 40))
    assert [one.spec for one in stage.archive.history("LAMP")] == ["LAMP@1"]


def test_every_board_is_saved_and_backed_up(
    stage: Any, wait: Any, is_settled: Any, find_action: Any, hold: Any
) -> None:
    """Each under its name and the date; an empty one fails alone, and Enter tries it alone."""

    async def story(pilot: Any, app: Any) -> None:
        first = app.boards.current
        job = first.do("", hold({10: b"PRINT 7"}), shown=False)
        await wait(pilot, lambda: job.ended)
        await _two(pilot, app, wait, is_settled, find_action)
        await pilot.press("g")
        await wait(pilot, lambda: len(app.screen.tasks) == 2 and is_settled(app))
        failed = {port: each.failed for port, each in app.screen.tasks.items()}
        assert failed == {first.port: False, SECOND: True}
        await pilot.press("enter")  # nothing has failed on the first
        await pilot.pause()
        assert isinstance(app.screen, SeveralScreen)
        await pilot.press("k")
        await wait(pilot, lambda: stage.archive.backups() and is_settled(app))
        assert not app.screen.tasks[first.port].failed
        assert app.screen.tasks[SECOND].failed
        assert app.desk.states.held(SECOND).known  # a refused backup has changed nothing

    stage.play(story, size=(120, 40))
    (program,) = stage.archive.programs()
    assert stage.archive.content(stage.archive.revision(program.name)).text == "10 PRINT 7\n"
    assert program.name.startswith("CLASS-20")


def test_a_listing_with_errors_is_loaded_only_after_an_answer(
    stage: Any, wait: Any, is_settled: Any, find_action: Any
) -> None:
    """The review asks once for all boards; the safe answer sends nothing."""

    async def story(pilot: Any, app: Any) -> None:
        await _two(pilot, app, wait, is_settled, find_action)
        await pilot.press("l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.focused.id == "answer-leave"
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, SeveralScreen))
        assert app.screen.tasks == {}
        await pilot.press("l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("down", "enter")
        await wait(pilot, lambda: isinstance(app.screen, SeveralScreen) and app.screen.tasks)
        await wait(pilot, lambda: is_settled(app))
        assert not any(each.failed for each in app.screen.tasks.values())

    stage.keep("BAD", "10 GOTO 99")
    stage.play(story, opens="BAD")


def test_loads_go_on_after_the_screen_was_left(
    stage: Any, wait: Any, is_settled: Any, find_action: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their news find no screen any more, and the desk knows what each board holds then."""
    is_left = threading.Event()

    def held_back(*given: Any) -> Any:
        assert is_left.wait(60)
        return load(*given)

    monkeypatch.setattr("hostlink.app.screens.several_boards.load", held_back)

    async def story(pilot: Any, app: Any) -> None:
        await _two(pilot, app, wait, is_settled, find_action)
        screen = app.screen
        await pilot.press("l", "escape")
        await wait(pilot, lambda: app.screen is app.desk and not screen.is_attached)
        is_left.set()
        await wait(pilot, lambda: is_settled(app))
        assert [app.desk.states.held(port).spec for port in app.boards.by_port] == ["LAMP@1"] * 2

    stage.keep("LAMP", *LISTING.split("\n")[:2])
    stage.play(story, opens="LAMP")
