"""Stepping through the program in the editor on a practice board, by keyboard."""

from __future__ import annotations

from typing import Any

import pytest
from textual.widgets import Input, Static

from hostlink.app.screens import stepping
from hostlink.app.screens.dialogues import AskText, ErrorDialogue
from hostlink.app.screens.stepping import StepRows, StepScreen

TEXT = (
    "10 FOR I=1 TO 3\n20 GOSUB 100\n30 NEXT I\n40 INPUT N\n50 OUT 13,PIN(2):PRINT LEVEL(0)+N\n"
    '60 WAIT 500\n70 GOTO 50\n100 PRINT "LINE";I\n110 LET A=A+I*2\n120 RETURN\n'
)


async def opened(pilot: Any, app: Any, wait: Any, text: str = TEXT) -> StepScreen:
    """The screen, on a program in the editor."""
    app.desk.editor.load_text(text)
    app.desk.action_work("step")
    await wait(pilot, lambda: isinstance(app.screen, StepScreen))
    await pilot.pause()
    screen: StepScreen = app.screen
    return screen


def held(screen: StepScreen, name: str) -> str:
    """What stands in a part of the screen."""
    return str(screen.query_one(f"#step-{name}", Static).content)


def rows(screen: StepScreen) -> dict[str, tuple[str, str]]:
    """The mark and the count of each line."""
    entries = screen.query_one(StepRows).entries
    return {entry.key: (entry.cells[0], entry.cells[1]) for entry in entries}


def test_a_line_at_a_time_and_back(stage: Any, wait: Any, shown: Any) -> None:
    """The next line is marked and chosen, and counted once it is run; its variables are told."""

    async def story(pilot: Any, app: Any) -> None:
        screen = await opened(pilot, app, wait)
        assert rows(screen)["10"] == ("->", "")
        assert "All variables are 0." in held(screen, "holds")
        await pilot.press("l", "l", "l", "l")
        assert screen.walk.line == 120
        assert rows(screen)["120"] == ("->", "")
        assert screen.query_one(StepRows).key == "120"
        said = held(screen, "holds").split()
        assert " ".join(said) == (
            "Variables A = 2 I = 1 Loop: I to 3, from line 10 Subroutine: back to line 20"
        )
        assert held(screen, "output") == "LINE 1"
        await pilot.press("z", "z")
        assert screen.walk.line == 100
        assert held(screen, "output") == "It has printed nothing yet."
        await pilot.press("a")
        assert rows(screen)["10"] == ("->", "")
        assert "L runs a line, H up to the chosen line" in " ".join(shown(app).split())
        await pilot.press("l", "escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.cursor_location[0] == 1  # at line 20, where it stood

    stage.play(story, port="")


def test_up_to_a_line_that_is_chosen_with_an_answer_on_the_way(stage: Any, wait: Any) -> None:
    """The question of INPUT is asked; without an answer the program stays where it is."""

    async def story(pilot: Any, app: Any) -> None:
        screen = await opened(pilot, app, wait)
        await pilot.press("down", "down", "down", "down", "h")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is screen)
        assert (screen.walk.line, screen.running) == (40, False)
        await pilot.press("down", "h")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        app.screen.query_one(Input).value = "7"
        await pilot.press("enter")
        await wait(pilot, lambda: screen.walk.line == 50 and not screen.running)
        assert screen.walk.counts[20] == 3
        assert "N = 7" in held(screen, "holds")

    stage.play(story, port="")


def test_it_goes_on_at_the_pace_of_the_board(stage: Any, wait: Any) -> None:
    """By a clock of the test's own: after a second of it, a second of the board has passed."""

    async def story(pilot: Any, app: Any) -> None:
        screen = await opened(pilot, app, wait, "10 LET A=A+1\n20 WAIT 99\n30 GOTO 10\n")
        now = [100.0]
        screen._clock = lambda: now[0]
        await pilot.press("o")
        screen.tick()
        assert screen.walk.seconds == 0.0
        now[0] += 1.0
        screen.tick()
        assert screen.walk.seconds == pytest.approx(1.0, abs=0.11)
        assert screen.running
        await pilot.press("o")
        assert not screen.running
        now[0] += 5.0
        screen.tick()
        assert screen.walk.seconds < 1.2

    stage.play(story, port="")


def test_pins_are_switched_and_slid_while_it_runs(stage: Any, wait: Any) -> None:
    """One row shows those that the program uses; P chooses, Space switches, arrows slide.

    Only one that it reads can be chosen: at an output the program alone decides.
    """

    async def story(pilot: Any, app: Any) -> None:
        screen = await opened(
            pilot, app, wait, "10 OUT 13,PIN(2)\n20 DUTY 9,LEVEL(0)/4\n30 GOTO 10\n"
        )
        assert held(screen, "pins") == ""
        await pilot.press("l", "l", "l")
        assert held(screen, "pins") == "Pins [2 off] 9 width 0  13 off  ADC0 0 "
        await pilot.press("space", "l")
        assert "[2 on]" in held(screen, "pins")
        assert "13 on" in held(screen, "pins")
        await pilot.press("p", "right", "right", "left", "right", "l")
        assert "9 width 16" in held(screen, "pins")
        assert "[ADC0 64]" in held(screen, "pins")
        await pilot.press("z")  # what was done at the pins is done again
        assert held(screen, "pins") == "Pins  2 on  9 width 0  13 on [ADC0 64]"
        await pilot.press("z")
        assert held(screen, "pins").split()[:3] == ["Pins", "2", "on"]
        assert "13 off" in held(screen, "pins")

    stage.play(story, port="")


def test_a_loop_within_a_line_is_run_whole(stage: Any, wait: Any) -> None:
    """However long it is; the line after it is next. A question within a line stops it there."""

    async def story(pilot: Any, app: Any) -> None:
        text = "10 FOR I=1 TO 9000: NEXT I\n20 INPUT A: PRINT A: INPUT A\n30 END\n"
        screen = await opened(pilot, app, wait, text)
        await pilot.press("l")
        await wait(pilot, lambda: not screen.running)
        assert (screen.walk.line, screen.walk.statements) == (20, 9001)
        await pilot.press("l")
        for answer in "4", "5":
            await wait(pilot, lambda: isinstance(app.screen, AskText))
            app.screen.query_one(Input).value = answer
            await pilot.press("enter")
        await wait(pilot, lambda: screen.walk.line == 30 and not screen.running)
        assert "A = 5" in held(screen, "holds")

    stage.play(story, port="")


def test_a_program_without_an_end_is_stopped(
    stage: Any, wait: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A step back runs everything again, so there is a most of statements; it is told."""
    monkeypatch.setattr(stepping, "_MOST", 10)

    async def story(pilot: Any, app: Any) -> None:
        screen = await opened(pilot, app, wait, "10 LET A=1\n20 GOTO 20\n30 END\n")
        await pilot.press("down", "down", "h")
        await wait(pilot, lambda: not screen.running)
        assert screen.walk.statements == 10
        assert "it was stopped; begin again" in screen._told()
        await pilot.press("l", "a", "l")
        assert screen.walk.statements == 1

    stage.play(story, port="")


def test_how_it_ended_is_told(stage: Any, wait: Any) -> None:
    """By an error in the board's words, or at its end; then no key runs it further."""

    async def story(pilot: Any, app: Any) -> None:
        screen = await opened(pilot, app, wait, "10 LET A=1\n20 PRINT A/0\n")
        await pilot.press("l", "l", "l", "o")
        assert "cannot divide by 0 in 20" in screen._told()
        assert not screen.running
        assert rows(screen)["20"] == ("->", "1")  # where it failed, also back on the desk
        assert screen.query_one(StepRows).key == "20"
        await pilot.press("z")
        assert screen.walk.line == 20
        await pilot.press("l", "escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.cursor_location[0] == 1
        screen = await opened(pilot, app, wait, "10 LET A=1\n")
        await pilot.press("h", "l", "o")
        assert "it has ended" in screen._told()

    stage.play(story, port="")


def test_a_listing_that_the_board_refuses_is_told(stage: Any, wait: Any) -> None:
    """In place of the screen; an empty editor too."""

    async def story(pilot: Any, app: Any) -> None:
        for text in ("", "".join(f'{n} PRINT "{"X" * 50}"\n' for n in range(10, 400, 10))):
            app.desk.editor.load_text(text)
            app.desk.action_work("step")
            await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")


def test_the_lines_are_seen_in_the_smallest_terminal(stage: Any, wait: Any, shown: Any) -> None:
    """Beside what the program holds, at 40 columns and 12 rows."""

    async def story(pilot: Any, app: Any) -> None:
        await opened(pilot, app, wait)
        assert "10 FOR I=1" in shown(app)

    stage.play(story, port="", size=(40, 12))


def test_a_program_without_pins_says_so(stage: Any, wait: Any) -> None:
    """The keys of the pins do nothing then, but not in silence."""

    async def story(pilot: Any, app: Any) -> None:
        await opened(pilot, app, wait, "10 PRINT 1\n20 GOTO 10\n")
        await pilot.press("p")
        await wait(pilot, lambda: "has read no pin so far" in str([*app._notifications]))

    stage.play(story, port="")
