"""A program that runs on the board: it is shown, stopped by one key, and typed into by nobody."""

from __future__ import annotations

from typing import Any

import pytest

from hostlink.app.actions.table import BY_ID
from hostlink.app.console import Transcript
from hostlink.app.screens.dialogues import Ask
from hostlink.app.widgets.editor import LedgerColumn

ASKING = ("10 INPUT A", "20 PRINT A", "30 GOTO 10")


def keys(name: str) -> list[str]:
    """The keys of an action, by its id."""
    action = BY_ID[name]
    return [action.key] if action.key else ["escape", action.letter]


async def _run(pilot: Any, app: Any, wait: Any) -> None:
    """Load what lies in the editor, and run it."""
    await pilot.press("ctrl+l")
    await wait(pilot, lambda: any("proven" in said for said in app.said))
    await wait(pilot, lambda: app.screen is app.desk)
    await pilot.press(*keys("run"))


def test_a_question_is_shown_and_an_answer_that_is_a_number_changes_no_program(
    stage: Any, wait: Any, shown: Any, type_text: Any
) -> None:
    """The sentence shows the question, then again what the board holds, unchanged."""
    stage.keep("ASK", '10 PRINT "HEIGHT";', *ASKING[1:], "15 INPUT A")

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: 'asks "HEIGHT?"; stop it' in shown(app))
        await type_text(pilot, "12\n")
        await wait(pilot, lambda: " 12" in app.desk.query_one(Transcript).text)
        await wait(pilot, lambda: 'asks "HEIGHT?"' in shown(app))
        assert not app.desk.states.held(app.boards.current.port).changed
        await pilot.press(*keys("interrupt"))
        await wait(pilot, lambda: "holds ASK revision 1" in shown(app))
        assert "changed since" not in shown(app)

    stage.play(story, opens="ASK")


def test_a_load_asks_before_it_stops_a_program_and_leaves_it_if_told_to(
    stage: Any, wait: Any, shown: Any, is_settled: Any
) -> None:
    """Leaving is the safe answer: the program asks as before. With consent it is stopped."""
    stage.keep("ASK", *ASKING)

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: 'asks "?"' in shown(app))
        machine = app.boards.current
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert 'it asks "?"' in app.screen.question
        assert app.focused.id == "answer-leave"
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk and is_settled(app))
        assert machine.state.question == "? "
        app.said.clear()
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "Stop it and load" in shown(app)
        await pilot.click("#answer-stop")
        await wait(pilot, lambda: any("proven" in said for said in app.said))

    stage.play(story, opens="ASK")


def test_what_is_proven_stays_marked_until_it_is_replaced(
    stage: Any, wait: Any, shown: Any, is_settled: Any
) -> None:
    """A question, leaving it, a stop and a refusal touch nothing; a new load marks anew."""
    stage.keep("ASK", *ASKING)

    async def story(pilot: Any, app: Any) -> None:
        def marks() -> str:
            ledger = app.desk.query_one(LedgerColumn)
            return "".join(ledger.text_at(row)[-1] for row in range(3))

        await _run(pilot, app, wait)
        await wait(pilot, lambda: 'asks "?"' in shown(app))
        app.desk.editor.insert("5 END\n", (3, 0))
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert marks() == "━━━"
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk and is_settled(app))
        await pilot.press(*keys("interrupt"))
        await wait(pilot, lambda: "holds ASK revision 1" in shown(app))
        assert marks() == "━━━"
        app.desk.editor.load_text("\n".join(("30 GOTO 77", *ASKING[:2])))
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("enter")
        assert marks() == " ━━"
        app.desk.editor.load_text("\n".join((*ASKING[:2], "30 GOTO 20")))
        await wait(pilot, lambda: marks() == "━━ ")
        await pilot.press(*keys("run"))
        await wait(pilot, lambda: 'asks "?"' in shown(app) and is_settled(app))
        app.said.clear()
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-stop")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await pilot.pause()
        assert marks() == "━━━"

    stage.play(story, opens="ASK")


def test_the_key_that_stops_a_program_works_while_a_box_is_open(
    stage: Any, wait: Any, is_settled: Any
) -> None:
    """The box stays; the program behind it ends, and the job of a box is stopped too."""
    stage.keep("ASK", *ASKING)

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: app.boards.current.state.question)
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: isinstance(app.screen, Ask) and is_settled(app))
        await pilot.press(*keys("interrupt"))
        await wait(pilot, lambda: app.boards.current.at_prompt)
        assert isinstance(app.screen, Ask)

    stage.play(story, opens="ASK")


def test_a_second_run_and_a_look_ask_before_they_stop_a_program(
    stage: Any, wait: Any, shown: Any, is_settled: Any
) -> None:
    """Neither types its command into the program."""
    stage.keep("ASK", *ASKING)

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: 'asks "?"' in shown(app))
        for name, words in (("run", "Stop it and run"), ("look", "Stop it and look")):
            app.desk.action_work(name)
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert words in shown(app)
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk and is_settled(app))
            assert app.boards.current.state.question == "? "
        app.desk.action_work("look")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-stop")
        await wait(pilot, lambda: "holds ASK revision 1" in shown(app))

    stage.play(story, opens="ASK")


def test_a_program_that_prints_is_shown_to_run_and_stopped_by_one_key(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The sentence names the program and the key; afterwards the board is at its prompt."""
    stage.keep("LOOP", '10 PRINT "ROUND"', "20 GOTO 10")

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: "is running LOOP revision 1; stop it with F8" in shown(app))
        await pilot.press(*keys("interrupt"))
        await wait(pilot, lambda: "holds LOOP revision 1" in shown(app))
        assert "The program was stopped." in app.desk.query_one(Transcript).text
        assert "The program was stopped. Next: change it (Escape twice), then load" in shown(app)

    stage.play(story, opens="LOOP", port="practice://real")


def test_an_error_of_the_program_marks_its_line_until_it_is_edited(
    stage: Any, wait: Any, shown: Any, is_settled: Any
) -> None:
    """By a sign, words and colour; the next run takes the mark away as well."""
    stage.keep("BAD", "10 LET A=0", "20 PRINT 7/A", "30 END")

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: "× stopped here: " in shown(app))
        row = next(row for row in shown(app).splitlines() if "× stopped here: " in row)
        assert row.lstrip().startswith("20 PRINT 7/A")
        assert row.count("×") == 2  # behind the line, and before its cost
        await wait(pilot, lambda: "Next: change it" in app.said[-1])
        assert "It stopped with an error in line 20: " in app.said[-1]
        app.desk.editor.move_cursor((1, 12))
        app.desk.editor.focus()
        await pilot.press("1")
        await wait(pilot, lambda: "× stopped here" not in shown(app))
        await pilot.press("backspace")
        await wait(pilot, lambda: "× stopped here" in shown(app))
        app.desk.console.type_line("20 PRINT 7")
        await wait(pilot, lambda: is_settled(app) and app.boards.current.at_prompt)
        assert "× stopped here" in shown(app)
        app.desk.console.type_line("RUN")
        await wait(pilot, lambda: is_settled(app) and "× stopped here" not in shown(app))

    stage.play(story, opens="BAD")


def test_an_error_of_another_program_marks_nothing(stage: Any, wait: Any, shown: Any) -> None:
    """The line of that number in the editor is not to blame; the error is told anyway."""
    stage.keep("BAD", "10 LET A=0", "20 PRINT 7/A", "30 END")
    stage.keep("GOOD", "10 PRINT 1", "20 PRINT 2")

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        app.desk.sheet_pane.open_word("GOOD")
        await wait(pilot, lambda: "20 PRINT 2" in shown(app))
        app.desk.console.run()
        await wait(pilot, lambda: any("error in line 20" in said for said in app.said))
        assert "stopped here" not in shown(app)

    stage.play(story, opens="BAD")


@pytest.mark.parametrize("typed", [("NEW", "20 PRINT 1/0"), ("20 LET A=1/0",)])
def test_an_error_of_a_program_typed_at_the_board_marks_nothing(
    stage: Any, wait: Any, shown: Any, is_settled: Any, typed: tuple[str, ...]
) -> None:
    """Its line 20 is not that of the listing, which was loaded before and is innocent."""
    stage.keep("GOOD", "10 PRINT 1", "20 PRINT 2")

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        for line in (*typed, "RUN"):
            await wait(pilot, lambda: is_settled(app) and app.boards.current.at_prompt)
            app.desk.console.type_line(line)
        await wait(pilot, lambda: any("error in line 20" in said for said in app.said))
        assert "stopped here" not in shown(app)

    stage.play(story, opens="GOOD")


def test_the_end_of_a_program_tells_what_comes_next_until_it_is_done(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Changing the listing takes it away; keeping it then leads to the load."""
    stage.keep("GOOD", "10 PRINT 1")
    ended = "The program has ended. Next: change it (Escape twice), then load it (Ctrl+L)."

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: ended in shown(app))
        await pilot.press("escape", "escape", "ctrl+end", "enter", *"20", "space", *"END")
        await wait(pilot, lambda: ended not in shown(app))
        await pilot.press("ctrl+s")
        await wait(pilot, lambda: "Kept as GOOD revision 2. Next: load it (Ctrl+L)." in shown(app))

    stage.play(story, opens="GOOD")


def test_a_program_that_is_not_in_the_editor_is_saved_before_it_is_changed(
    stage: Any, wait: Any
) -> None:
    """What is in the editor is another listing, in which nothing of it can be changed."""
    stage.keep("GOOD", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await _run(pilot, app, wait)
        await wait(pilot, lambda: "Next: change it" in app.said[-1])
        app.desk.sheet_pane.new()
        await pilot.press(*keys("run"))
        next_words = "Next: save it from the board, to change it (Ctrl+G)."
        await wait(pilot, lambda: app.said[-1].endswith(next_words))

    stage.play(story, opens="GOOD")


def test_nobody_is_told_to_load_what_the_board_is_proven_to_hold(stage: Any, wait: Any) -> None:
    """Keeping the listing once more has no next step then."""
    stage.keep("GOOD", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        app.desk.sheet_pane.keep()
        assert app.said[-1] == "Nothing new: it is GOOD@1 already."

    stage.play(story, opens="GOOD")
