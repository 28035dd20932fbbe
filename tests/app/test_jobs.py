"""Jobs while they work: stopped, unplugged, restarted; what is said then is true."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from typing import Any

import pytest

from hostlink.app import job as job_module
from hostlink.app.job import Job, Progress
from hostlink.app.job_words import figures
from hostlink.app.screens.dialogues import ErrorDialogue
from hostlink.app.screens.jobview import JobView
from hostlink.board.dialogue.events import LineRepaired, LineSent, Phase, Waiting, Warned
from hostlink.errors import Interrupted
from hostlink.jobs.events import BoardReturned, BoardVanished, MemoryLost


@pytest.fixture
def sending(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Holds each load when four lines were sent, until it is set."""
    yield from held(monkeypatch, lambda event: getattr(event, "sent_lines", 0) == 4)


@pytest.fixture
def reading_back(monkeypatch: pytest.MonkeyPatch) -> Iterator[threading.Event]:
    """Holds each load when its reading back begins, until it is set."""
    yield from held(monkeypatch, lambda event: getattr(event, "text", "") == "Reading back")


def held(monkeypatch: pytest.MonkeyPatch, is_it: Any) -> Iterator[threading.Event]:
    gate = threading.Event()
    usual: Any = job_module.deque

    class Held(usual):
        def append(self, timed: Any) -> None:
            super().append(timed)
            if is_it(timed[1]):
                assert gate.wait(180)

    monkeypatch.setattr(job_module, "deque", Held)
    yield gate
    gate.set()


def test_a_load_is_stopped_and_the_board_stated(
    stage: Any, wait: Any, shown: Any, sending: threading.Event
) -> None:
    """Half of a slow load: it is said that a part is on the board and that the listing is kept.

    The listing's heading says so as soon as it is kept.
    """

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "Sending" in shown(app))
        assert app.desk.sheet_pane.sheet.title(app.desk.editor.text) == "TIDE revision 1"
        job = app.boards.current.busy
        app.desk.action_work("interrupt")
        sending.set()
        await wait(pilot, lambda: job.ended)
        assert isinstance(job.error, Interrupted)
        await wait(pilot, lambda: "holds a part of it" in " ".join(shown(app).split()))
        assert "kept as TIDE@1" in " ".join(shown(app).split())
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        # Nobody claims that it holds the listing, or a line that was only sent; it is read anew.
        await wait(pilot, lambda: "holds a program that is not in the archive." in shown(app))
        assert "─" not in shown(app)

    stage.play(story, opens="shipped:TIDE")
    assert stage.archive.events()[0].outcome == "interrupted"


def test_lines_turn_from_sent_to_proven_while_editing_goes_on(
    stage: Any,
    wait: Any,
    shown: Any,
    type_text: Any,
    sending: threading.Event,
    reading_back: threading.Event,
) -> None:
    """Ruler and ledger follow a load; a line that is changed meanwhile loses its mark."""

    async def story(pilot: Any, app: Any) -> None:
        rows: dict[str, str] = {}

        def looked() -> bool:
            rows.clear()
            for row in shown(app).split("\n"):
                rows.setdefault(row.split()[0] if row.split() else "", row.rstrip())
            return True

        await pilot.press("ctrl+l")
        await wait(pilot, lambda: " sent" in shown(app) and looked() and rows["40"].endswith("─"))
        assert "─" in rows["board"] and not rows["120"].endswith("─")
        assert "Loading the shipped TIDE into the practice board: Sending, " in rows["Loading"]
        assert rows["The"].strip() == "The practice board is being loaded with the shipped TIDE."
        app.desk.readings.show()  # as when another board is read meanwhile
        await wait(pilot, lambda: looked() and " sent" in rows["board"])
        assert " s left" in rows["Loading"]
        assert app.screen is app.desk and app.desk.focused is app.desk.editor
        await pilot.press("end")
        await type_text(pilot, "!")
        await wait(pilot, lambda: looked() and rows["10"].endswith(" 38"))
        sending.set()
        await wait(pilot, lambda: "reading back" in shown(app))
        reading_back.set()
        await wait(pilot, lambda: looked() and rows["40"].endswith("━"))
        assert not rows["10"].endswith("━") and "Loading" not in rows
        await wait(pilot, lambda: looked() and " holds TIDE revision 1, " in rows["The"])
        assert any("TIDE@1 is on the board, proven" in said for said in app.said)
        app.desk.readings.unknown_now(app.boards.current)
        await wait(pilot, lambda: looked() and not rows["40"].endswith("━"))
        assert app.desk.sheet_pane.unkept  # what was typed meanwhile

    stage.play(story, opens="shipped:TIDE")


def test_a_second_job_on_a_board_waits_for_its_user(
    stage: Any, wait: Any, shown: Any, sending: threading.Event
) -> None:
    """A load is asked for again while one works: it is not queued, and that is said."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "Sending" in shown(app))
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("has to end first" in said for said in app.said))
        assert len(app.boards.current.jobs) == 1
        app.desk.action_work("interrupt")
        sending.set()
        await wait(pilot, lambda: app.boards.current.busy is None)

    stage.play(story, opens="shipped:TIDE")


def test_each_board_with_a_job_has_one_line(
    stage: Any, wait: Any, shown: Any, sending: threading.Event
) -> None:
    """A job on a board that is not the current one is shown below the first one."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "Sending" in shown(app))
        first = app.boards.current.busy
        app.boards.attach("practice://two?time=virtual")
        await wait(pilot, lambda: len(app.boards.by_port) == 2)
        await wait(pilot, lambda: app.boards.current.busy is None)
        hold = threading.Event()
        job = app.boards.current.do("Holding the second", lambda *_: hold.wait(20))
        app.watch_job(job, done=lambda _: "The second is done.")
        await wait(pilot, lambda: "Holding the second: " in shown(app))
        assert "Loading the shipped TIDE into " in shown(app)
        hold.set()
        await wait(pilot, lambda: "Holding the second: " not in shown(app))
        assert "Loading the shipped TIDE into " in shown(app)
        first.stop()
        sending.set()
        await wait(pilot, lambda: first.ended)

    stage.play(story, opens="shipped:TIDE")


def test_an_unplugged_board_is_told_and_nothing_is_lost(stage: Any, wait: Any, shown: Any) -> None:
    """In the middle of a load the board goes: the error says so, the listing is kept."""
    rows = [f"{number} PRINT {number}" for number in range(10, 200, 10)]
    (stage.folder / "dawn.bas").write_text("\n".join(rows))

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "unplugged" in shown(app))
        assert isinstance(app.screen, ErrorDialogue)
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "DAWN revision 1" in shown(app)  # as the error said
        assert app.desk.would_be_lost() == []

    stage.play(story, port="practice://x?time=virtual&unplug_after_bytes=300", opens="dawn.bas")
    assert len(stage.archive.history("DAWN")) == 1


def test_a_load_in_which_the_board_restarts_begins_anew_and_ends_proven(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The desk tells of the restart, and the archive that the load was done."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("TIDE" in said for said in app.said))
        assert "TIDE@1 is on the board, proven: " in app.said[-1]
        assert "The board restarted and lost its program memory." in shown(app)

    stage.play(
        story, port="practice://x?time=virtual&restart_after_bytes=300", opens="shipped:TIDE"
    )
    assert [(event.job, event.outcome) for event in stage.archive.events()] == [("load", "done")]


def test_lines_sent_again_are_told_with_the_result(stage: Any, wait: Any, shown: Any) -> None:
    """A wire damages one byte in two hundred: a proven load leaves nothing in doubt behind."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        assert re.search(r"proven: [^.]*, \d+ lines? sent again\.", " ".join(app.said))
        assert "it is sent again." not in shown(app)

    stage.play(story, port="practice://x?time=virtual&to_board=0.005&seed=3", opens="shipped:TIDE")


def test_figures_follow_from_the_confirmed_bytes() -> None:
    """100 bytes in 2 s at 1,000 baud are half of the wire's limit; 100 more take 2 s, and to read
    back all 200 takes 2 s.
    """
    progress = Progress()
    progress.take(10.0, Phase("Sending"))
    progress.take(12.0, LineSent(50, 5, 10, 100, 200))
    assert ", ".join(figures(progress, 1_000)) == (
        "about 4 s left, 5 of 10 lines, 100 of 200 bytes, 50 bytes a second, "
        "50 % of the wire's limit"
    )


def test_a_flood_of_events_keeps_only_what_can_be_shown() -> None:
    """Ten thousand repairs are counted; the sentences kept are bounded."""
    progress = Progress()
    for number in range(10_000):
        progress.take(0.0, LineRepaired(number, "came back damaged"))
    assert progress.repairs == 10_000
    assert len(progress.told) <= 200


def test_every_error_of_a_job_reaches_the_person(stage: Any, wait: Any, shown: Any) -> None:
    """An error that is not one of ours is shown too, and the app goes on."""

    async def story(pilot: Any, app: Any) -> None:
        def broken(*_: Any) -> None:
            raise ZeroDivisionError("a [bold]fault[/]")

        job: Job[None] = app.boards.current.do("Breaking", broken, shown=False)
        app.watch_job(job, done=lambda _: "never")
        await wait(pilot, lambda: "inside hostlink" in shown(app))
        words = " ".join(shown(app).replace("│", " ").split())
        assert "a [bold]fault[/]" in words

    stage.play(story)


def test_a_job_that_was_begun_on_another_screen_has_a_view(stage: Any, wait: Any) -> None:
    """It stays where there is news, such as a warning, and closes where there is none."""

    async def story(pilot: Any, app: Any) -> None:
        def smooth(session: Any, _: Any) -> None:
            session.emit(Phase("Working"))

        def with_news(session: Any, _: Any) -> None:
            session.emit(Warned("Look here."))

        app.desk.screens.settings()
        await pilot.pause()
        below = app.screen
        app.watch_job(app.boards.current.do("Smooth", smooth), done=lambda _: "Smooth is done.")
        assert isinstance(app.screen, JobView)
        await wait(pilot, lambda: "Smooth is done." in app.said)
        await wait(pilot, lambda: app.screen is below)
        app.watch_job(app.boards.current.do("News", with_news), done=lambda _: "News is done.")
        await wait(pilot, lambda: "News is done." in app.said)
        assert isinstance(app.screen, JobView)

    stage.play(story)


def test_that_a_job_takes_long_is_told_only_while_it_does() -> None:
    """It stands beside the phase until the next line is confirmed, and is no news afterwards."""
    progress = Progress()
    progress.take(0.0, Phase("Sending"))
    progress.take(45.0, Waiting("Still at it after 45 s.", seconds=45.0))
    assert figures(progress, 9600) == ["Still at it after 45 s."]
    progress.take(46.0, LineSent(10, 1, 2, 20, 40))
    assert "1 of 2 lines" in figures(progress, 9600)
    assert not progress.noteworthy


def test_that_a_board_went_and_came_back_is_no_lasting_news() -> None:
    """The sentence on the board says where it is now; what is lost for good stays to be read."""
    progress = Progress()
    progress.take(0.0, BoardVanished("It vanished."))
    progress.take(1.0, BoardReturned("It is back."))
    assert not progress.noteworthy
    progress.take(2.0, MemoryLost("Its memory was lost."))
    assert progress.noteworthy


def test_a_saved_program_has_the_size_that_it_takes_on_that_board(
    stage: Any, wait: Any, is_settled: Any
) -> None:
    """The revision was kept for a board that stores it as text, this one stores keywords."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("down", "enter")  # open it, though that restarts it
        await wait(pilot, lambda: app.boards.current is not None and is_settled(app))
        port = app.boards.current.port
        app.desk.transfers.load_word(app.boards.current, "TIDE")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        loaded = app.desk.states.held(port)
        await pilot.press("ctrl+g")
        await wait(pilot, lambda: any("is proven by" in said for said in app.said))
        assert app.desk.states.held(port).size == loaded.size
        assert loaded.size < stage.archive.revision("TIDE@1").size_bytes

    stage.keep("TIDE", "10 PRINT 5", "20 GOTO 10")
    stage.play(story, port="practice://class?kind=token&time=virtual", opens="TIDE")
