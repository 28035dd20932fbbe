"""Jobs while they work: stopped, unplugged, restarted; what is said then is true."""

from __future__ import annotations

from typing import Any

from hostlink.app.job import Job, Progress
from hostlink.app.screens.jobview import JobView, figures
from hostlink.board.dialogue.events import LineRepaired, LineSent, Phase, Warned
from hostlink.errors import Interrupted, LinkError

SLOW = "practice://slow?baud=300"


def test_a_load_is_stopped_by_escape_and_the_board_stated(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Half of a slow load: the view says that a part is on the board and the listing is kept."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "of 32 lines" in shown(app))
        job = app.boards.current.busy
        await pilot.press("escape")
        await wait(pilot, lambda: job.ended)
        assert isinstance(job.error, Interrupted)
        await wait(pilot, lambda: "holds a part of it" in shown(app))
        assert "kept as TIDE@1" in " ".join(shown(app).split())
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "has not been read" in shown(app)  # nobody claims to know what the board holds

    stage.play(story, port=SLOW, baud=300, opens="shipped:TIDE")
    assert stage.archive.events()[0].outcome == "interrupted"


def test_an_unplugged_board_is_told_and_nothing_is_lost(stage: Any, wait: Any, shown: Any) -> None:
    """In the middle of a load the board goes: the error says so, the listing is kept."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "unplugged" in shown(app))
        assert isinstance(app.screen, JobView)
        assert isinstance(app.screen.job.error, LinkError)
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="practice://x?time=virtual&unplug_after_bytes=300", opens="shipped:TIDE")
    assert len(stage.archive.history("TIDE")) == 1


def test_a_load_in_which_the_board_restarts_begins_anew_and_ends_proven(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The view tells of the restart, and the archive that the load was done."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("TIDE" in said for said in app.said))
        assert "TIDE@1 is on the board, proven: " in app.said[-1]
        assert "The board restarted and lost its program memory." in shown(app)

    stage.play(
        story, port="practice://x?time=virtual&restart_after_bytes=300", opens="shipped:TIDE"
    )
    assert [(event.job, event.outcome) for event in stage.archive.events()] == [("load", "done")]


def test_repairs_are_announced_where_they_happen(stage: Any, wait: Any) -> None:
    """On a wire that damages one byte in two hundred a load is proven and each repair told."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        assert isinstance(app.screen, JobView)
        assert "it is sent again." in " ".join(
            text for text, news in app.screen.job.progress.told if news
        )

    stage.play(story, port="practice://x?time=virtual&to_board=0.005&seed=3", opens="shipped:TIDE")


def test_figures_follow_from_the_confirmed_bytes() -> None:
    """100 bytes in 2 s at 1,000 baud are half of the wire's limit, and 100 more take 2 s."""
    progress = Progress()
    progress.take(10.0, Phase("Sending"))
    progress.take(12.0, LineSent(50, 5, 10, 100, 200))
    words = figures(progress, 1_000)
    assert "5 of 10 lines, 100 of 200 bytes, 0 repairs" in words
    assert "50 bytes a second, 50 % of the wire's limit, 2 s left" in words


def test_a_flood_of_events_keeps_only_what_can_be_shown() -> None:
    """Ten thousand repairs are counted; the sentences kept are bounded."""
    progress = Progress()
    for number in range(10_000):
        progress.take(0.0, LineRepaired(number, "came back damaged"))
    assert progress.repairs == 10_000
    assert len(progress.told) <= 200
    assert progress.noteworthy


def test_every_error_of_a_job_reaches_the_person(stage: Any, wait: Any, shown: Any) -> None:
    """An error that is not one of ours is shown too, and the app goes on."""

    async def story(pilot: Any, app: Any) -> None:
        def broken(*_: Any) -> None:
            raise ZeroDivisionError("a [bold]fault[/]")

        job: Job[None] = app.boards.current.do("Breaking", broken, shown=False)
        app.watch_job(job, done=lambda _: "never")
        await wait(pilot, lambda: "inside hostlink" in shown(app))
        assert "a [bold]fault[/]" in shown(app)

    stage.play(story)


def test_a_job_view_stays_where_there_is_news_and_closes_where_there_is_none(
    stage: Any, wait: Any
) -> None:
    """A warning must be read; a smooth job needs no key."""

    async def story(pilot: Any, app: Any) -> None:
        def smooth(session: Any, _: Any) -> None:
            session.emit(Phase("Working"))

        def with_news(session: Any, _: Any) -> None:
            session.emit(Warned("Look here."))

        app.watch_job(app.boards.current.do("Smooth", smooth), done=lambda _: "Smooth is done.")
        await wait(pilot, lambda: "Smooth is done." in app.said)
        await wait(pilot, lambda: app.screen is app.desk)
        app.watch_job(app.boards.current.do("News", with_news), done=lambda _: "News is done.")
        await wait(pilot, lambda: "News is done." in app.said)
        assert isinstance(app.screen, JobView)

    stage.play(story)
