"""What the desk does by itself: losses are offered where they happen, boards are read again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from hostlink.app.screens.dialogues import Ask, ErrorDialogue
from hostlink.errors import LinkError, LinkReason
from hostlink.jobs.session.activity import Activity

NOON = datetime(2031, 5, 1, 12, 0, tzinfo=UTC)


async def _offered(pilot: Any, app: Any, wait: Any) -> Ask:
    """Close what failed, then open the offer where it waits to be opened."""
    waits = app.desk.query_one("#asks")
    await wait(pilot, lambda: isinstance(app.screen, Ask | ErrorDialogue) or waits.display)
    while not isinstance(app.screen, Ask):
        if isinstance(app.screen, ErrorDialogue):
            await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, Ask) or waits.display)
        if app.screen is app.desk:
            await pilot.press("f6")
            await pilot.pause()
    assert app.focused.id == "answer-leave"
    return app.screen


def test_a_board_unplugged_at_the_console_is_offered_its_program_when_it_is_back(
    stage: Any, wait: Any, type_text: Any, is_settled: Any, shown: Any
) -> None:
    """What was typed is kept, and leaving it is the safe answer; nothing is asked twice."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "10 PRINT 7\n")
        await wait(pilot, lambda: is_settled(app))
        await type_text(pilot, "PRINT 1234567890123456789012345678901234567890\n")
        await wait(pilot, lambda: "was unplugged" in shown(app))
        ask = await _offered(pilot, app, wait)
        assert "kept as rescue 1" in ask.question
        await pilot.press("enter")
        await wait(pilot, lambda: "holds no program" in shown(app))
        assert app.screen is app.desk

    stage.play(story, port="practice://x?time=virtual&unplug_after_bytes=90&restarts_on_open=1")
    (rescue,) = stage.archive.rescues()
    assert stage.archive.content(rescue).text == "10 PRINT 7\n"


def test_a_board_that_restarts_at_the_console_is_offered_its_program_at_once(
    stage: Any, wait: Any, type_text: Any, is_settled: Any, shown: Any
) -> None:
    """And loading it again from there proves that it is back."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "10 PRINT 7\n")
        await wait(pilot, lambda: is_settled(app) and app.boards.current.at_prompt)
        app.boards.current.do("", _restart, shown=False)
        ask = await _offered(pilot, app, wait)
        assert "restarted" in ask.why
        await pilot.click("#answer-reload")
        await wait(pilot, lambda: any("is on the board, proven" in said for said in app.said))
        await wait(pilot, lambda: "holds rescue 1, 10 of 999 bytes" in shown(app))

    stage.play(story)


def _restart(session: Any, _: Any) -> None:
    """The board restarts by itself, and is heard doing it."""
    session.wire.port.machine.restart(session.wire.now())
    session.dialogue.listen_waking()


def test_a_restart_during_a_job_is_told_by_the_job_and_then_offered(
    stage: Any, wait: Any, is_settled: Any
) -> None:
    """The job's error comes first; the offer names the revision that was on the board."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await wait(pilot, lambda: app.screen is app.desk and is_settled(app))

        def cut(session: Any, archive: Any) -> None:
            _restart(session, archive)
            raise LinkError("The board restarted.", reason=LinkReason.RESTARTED)

        app.watch_job(app.boards.current.do("Working", cut), done=lambda _: "never")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        ask = await _offered(pilot, app, wait)
        assert "TIDE revision 1" in ask.question
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, opens="shipped:TIDE")


def test_a_board_unplugged_during_a_load_is_offered_the_program_again(
    stage: Any, wait: Any, shown: Any
) -> None:
    """It comes back empty: what was being loaded can be loaded again by one key.

    Nothing says then that it is waited for.
    """

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "unplugged" in shown(app))
        ask = await _offered(pilot, app, wait)
        assert "TIDE revision 1" in ask.question
        assert "until it is back" not in shown(app)

    port = "practice://x?time=virtual&unplug_after_bytes=300&restarts_on_open=1"
    stage.play(story, port=port, opens="shipped:TIDE")


def test_an_empty_board_that_was_known_to_hold_something_is_offered_it_when_attached(
    stage: Any, wait: Any
) -> None:
    """It lost its supply while the app was closed; a second look does not ask again."""
    stage.keep("LAMP", "10 PRINT 1")

    async def load(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))

    async def story(pilot: Any, app: Any) -> None:
        ask = await _offered(pilot, app, wait)
        assert "LAMP revision 1" in ask.question
        await pilot.press("escape")
        app.desk.action_work("look")
        await pilot.pause()
        await wait(pilot, lambda: app.boards.current.busy is None)
        app.drain()
        assert app.screen is app.desk

    stage.play(load, opens="LAMP")
    stage.play(story, port="practice://class?time=virtual&fresh")


@pytest.mark.parametrize("minutes", [5, 0])
def test_a_board_at_its_prompt_is_read_again_every_few_minutes(
    stage: Any, wait: Any, shown: Any, is_settled: Any, hold: Any, minutes: int
) -> None:
    """What was typed at its own keyboard is found without a word or view; 0 minutes: never."""
    clock = [NOON]

    async def story(pilot: Any, app: Any) -> None:
        app.keep_settings(capture_minutes=minutes)
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await wait(pilot, lambda: app.screen is app.desk and is_settled(app))
        app.boards.current.do("", hold({10: b"PRINT 9"}), shown=False)
        await wait(pilot, lambda: is_settled(app) and app.boards.current.at_prompt)
        said = list(app.said)
        clock[0] += timedelta(minutes=4)
        app.drain()
        assert app.boards.current.busy is None
        clock[0] += timedelta(minutes=2)
        app.drain()
        assert (app.boards.current.busy is not None) is bool(minutes)
        await wait(pilot, lambda: is_settled(app))
        assert ("TIDE revision 1, changed since" in shown(app)) is bool(minutes)
        assert app.screen is app.desk
        assert app.said == said

    stage.play(story, opens="shipped:TIDE", now=lambda: clock[0])


def test_a_board_is_not_read_under_somebodys_hands(
    stage: Any, wait: Any, type_text: Any, is_settled: Any
) -> None:
    """Not while a line stands half typed in the console, and not while a program asks."""
    clock = [NOON]

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: app.boards.current.at_prompt)
        await pilot.press("ctrl+t")
        await type_text(pilot, "10 INPUT A")
        clock[0] += timedelta(minutes=6)
        app.drain()
        assert app.boards.current.busy is None
        clock[0] -= timedelta(minutes=6)
        await type_text(pilot, "\nRUN\n")
        await wait(pilot, lambda: is_settled(app) and app.boards.current.partial == "? ")
        clock[0] += timedelta(minutes=6)
        app.drain()
        assert app.boards.current.busy is None

    stage.play(story, now=lambda: clock[0])


def test_a_reading_that_fails_is_told_without_getting_in_the_way(
    stage: Any, wait: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last line says why; nobody has to close anything."""
    clock = [NOON]

    def broken(*_: Any) -> None:
        raise LinkError("The board is silent.", reason=LinkReason.SILENT)

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: app.boards.current.at_prompt)
        monkeypatch.setattr("hostlink.jobs.session.board_contents.read_contents", broken)
        clock[0] += timedelta(minutes=6)
        app.drain()
        await wait(pilot, lambda: "The practice board: The board is silent." in app.said)
        assert app.screen is app.desk

    stage.play(story, now=lambda: clock[0])


def test_a_board_that_speaks_unasked_counts_as_not_read_and_is_read_once_it_is_quiet(
    stage: Any, wait: Any, shown: Any, is_settled: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may have restarted, in words that nobody knows: neither a state nor a mark stays."""
    monkeypatch.setattr("hostlink.app.desk.watch.QUIET_S", 3600.0)

    def restart(session: Any, _: Any) -> None:
        machine = session.wire.port.machine
        machine.basic._state.memory.replace({})
        machine._put(b"\r\nGOOD EVENING\r\n" + session.dialogue.pacing.prompt)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: "TIDE revision 1" in shown(app) and is_settled(app))
        app.boards.current.do("", restart, shown=False)
        await wait(pilot, lambda: "has not been read" in shown(app))
        assert not app.desk.states.held(app.boards.current.port).known
        monkeypatch.setattr("hostlink.app.desk.watch.QUIET_S", 0.2)
        app.boards.current.do("", restart, shown=False)
        ask = await _offered(pilot, app, wait)
        assert "TIDE revision 1" in ask.question
        await pilot.press("escape")
        assert "holds no program" in shown(app)

    stage.play(story, opens="shipped:TIDE")


@pytest.mark.one_in(2)
@pytest.mark.parametrize(
    ("typed", "does"),
    [
        (["10 INPUT A", "RUN"], Activity.ASKING),
        ([f"{number} PRINT 1" for number in range(10, 80, 10)], Activity.FULL),
    ],
)
def test_a_board_without_a_known_banner_that_restarts_while_it_asks_or_is_full_is_read(
    stage: Any,
    wait: Any,
    shown: Any,
    type_text: Any,
    is_settled: Any,
    monkeypatch: pytest.MonkeyPatch,
    typed: list[str],
    does: Activity,
) -> None:
    """Somebody presses its button: its program is gone, and it is not said to hold it."""
    monkeypatch.setattr("hostlink.app.desk.watch.QUIET_S", 0.2)

    def press_the_button(console: Any) -> None:
        wire = console._session.wire
        wire.port.machine.restart(wire.now())

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("down", "enter")  # the port may be opened
        await wait(pilot, lambda: app.boards.current and app.boards.current.at_prompt)
        board = app.boards.current
        await pilot.press("ctrl+t")
        for line in typed:
            await type_text(pilot, f"{line}\n")
            await wait(
                pilot,
                lambda: is_settled(app) and (board.at_prompt or board.state.activity is does),
            )
        await pilot.press("escape")
        assert board.state.activity is does
        assert app.desk.states.held(board.port).lines
        board.talk("", press_the_button)
        await wait(pilot, lambda: "holds no program" in shown(app))

    port = "practice://x?kind=capital&program_bytes=70&time=virtual"
    stage.play(story, port=port, profile="capital")
