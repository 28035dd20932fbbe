"""The console: a plain terminal whose output is shown and never obeyed."""

from __future__ import annotations

from typing import Any

import pytest
from textual.events import Paste

from hostlink.app.console import MOST_ROWS, ConsolePane, Transcript
from hostlink.app.screens.dialogues import Ask, ErrorDialogue
from hostlink.jobs.session.activity import Activity


def test_lines_go_to_the_board_and_change_what_is_said_of_it(
    stage: Any, wait: Any, shown: Any, type_text: Any
) -> None:
    """A typed line is echoed with the board's prompt; the sentence says that it changed."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await pilot.press("ctrl+t")
        await type_text(pilot, "30 LET H=9\n")
        await wait(pilot, lambda: "+ 30 LET H=9" in app.desk.query_one(Transcript).text)
        assert "TIDE revision 1, changed since" in shown(app)
        assert "of 999 bytes" not in shown(app).splitlines()[0]  # its size is not known any more
        assert app.desk.states.held(app.boards.current.port).proven_at is None
        await type_text(pilot, "PRINT 6*7\n")
        await wait(pilot, lambda: "42" in app.desk.query_one(Transcript).text)
        await pilot.press("escape", "escape")
        assert app.focused is app.desk.editor

    stage.play(story, opens="shipped:TIDE")


def test_the_key_of_the_console_stays_in_it(stage: Any) -> None:
    """Pressed again it does not lead to another place, where the next line would be typed."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        assert app.focused.id == "console-line"
        await pilot.press("ctrl+t")
        assert app.focused.id == "console-line"

    stage.play(story)


def test_what_was_sent_comes_back(stage: Any, wait: Any, type_text: Any) -> None:
    """By the key Up, the newest first, each once; Down leads back to what was being typed."""

    async def story(pilot: Any, app: Any) -> None:
        await wait(pilot, lambda: app.boards.current is not None)
        await pilot.press("ctrl+t")
        await type_text(pilot, "PRINT 6*7\n")
        await wait(pilot, lambda: "42" in app.desk.query_one(Transcript).text)
        await type_text(pilot, "PRINT 1\nPRINT 1\n\nLIS")
        seen = []
        for key in ("up", "up", "up", "down", "down", "down"):
            await pilot.press(key)
            seen.append(app.focused.value)
        first, second = "PRINT 6*7", "PRINT 1"
        assert seen == [second, first, first, second, "LIS", "LIS"]
        await pilot.press("up", "up", "enter")
        await wait(pilot, lambda: app.desk.query_one(Transcript).text.count("42") == 2)

    stage.play(story)


def test_running_an_empty_board_says_what_to_do(stage: Any, wait: Any) -> None:
    """Where the board holds no program, the key that loads one is told."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("f9")
        await wait(pilot, lambda: any("without a program. Next: load" in said for said in app.said))

    stage.play(story, opens="shipped:TIDE")


def test_a_running_program_is_interrupted_by_its_key(stage: Any, wait: Any) -> None:
    """An endless program is stopped, and the board is at its prompt again."""
    stage.keep("LOOP", '10 PRINT "ROUND"', "20 GOTO 10")

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await pilot.press("f9")
        await wait(pilot, lambda: "ROUND" in app.desk.query_one(Transcript).text)
        await pilot.press("f8")
        await wait(pilot, lambda: app.boards.current.partial == "+ ")

    stage.play(story, opens="LOOP", port="practice://real")


def test_restarting_asks_with_the_safe_answer_and_keeps_the_program_first(
    stage: Any, wait: Any, type_text: Any, is_settled: Any, shown: Any
) -> None:
    """Leaving it changes nothing; restarting rescues, and the program is offered again."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "10 PRINT 5\n")
        await wait(pilot, lambda: is_settled(app))
        await pilot.press("escape", "e")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.focused.id == "answer-leave"
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        await pilot.press("escape", "e")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.click("#answer-restart")
        await wait(pilot, lambda: "is empty, though" in shown(app) or "restarted" in shown(app))
        await wait(pilot, lambda: is_settled(app))

    stage.play(story)
    (rescue,) = stage.archive.rescues()
    assert "10 PRINT 5" in stage.archive.content(rescue).text


@pytest.mark.one_in(2)
@pytest.mark.parametrize("is_known", [True, False])
def test_a_deaf_board_is_restarted_without_keeping(
    stage: Any, wait: Any, type_text: Any, is_settled: Any, shown: Any, is_known: bool
) -> None:
    """Where its program cannot be captured, this is offered with what the archive holds of it."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("down", "enter")  # the port may be opened
        await wait(pilot, lambda: app.boards.current and is_settled(app))
        board = app.boards.current
        await pilot.press("ctrl+t")
        for number in range(10, 80, 10):
            await wait(pilot, lambda: board.at_prompt)
            await type_text(pilot, f"{number} PRINT 1\n")
            await wait(pilot, lambda: is_settled(app))
            if isinstance(app.screen, ErrorDialogue):
                break
        assert board.state.activity is Activity.FULL
        if not is_known:
            board.talk("", lambda console: console.activity.lost())
            await wait(pilot, lambda: is_settled(app))
        await pilot.press("escape")
        app.desk.action_work("restart")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        if not is_known:
            await pilot.click("#answer-restart")
            await wait(pilot, lambda: "anyway" in getattr(app.screen, "question", ""))
        assert app.focused.id == "answer-leave"
        assert "kept as rescue 1" in app.screen.why
        await pilot.click("#answer-discard")
        await wait(pilot, lambda: "The board was restarted." in app.said and is_settled(app))
        assert "holds no program" in shown(app)

    port = "practice://x?kind=capital&program_bytes=70&time=virtual"
    stage.play(story, port=port, profile="capital")


def test_a_restart_while_attached_is_told_and_the_program_offered(
    stage: Any, wait: Any, type_text: Any, shown: Any, is_settled: Any
) -> None:
    """The board restarts by itself: the console says so and where the program is kept."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "10 PRINT 7\n")
        await wait(pilot, lambda: is_settled(app))
        await type_text(pilot, "PRINT 1234567890\n")
        await wait(pilot, lambda: "restarted" in app.desk.query_one(Transcript).text)
        await wait(pilot, lambda: "has not been read" in shown(app) or "empty" in shown(app))

    stage.play(story, port="practice://x?time=virtual&restart_after_bytes=50")


def test_a_refused_line_stays_to_be_changed(stage: Any, wait: Any) -> None:
    """A line the wire cannot carry is refused in words and stands in the console's line again."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        line = app.desk.query_one("#console-line")
        line.value = "PRINT \u2192"
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        await pilot.press("escape")
        assert line.value == "PRINT \u2192"
        await pilot.press("backspace", "!")
        assert line.value == "PRINT !"

    stage.play(story)


def test_a_refused_line_does_not_replace_what_was_typed_meanwhile(stage: Any, wait: Any) -> None:
    """It is told beside the board's rows then."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        line = app.desk.query_one("#console-line")
        line.value = "PRINT \u2192"
        app.desk.console.type_line(line.value)
        line.value = "LIST"
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        await pilot.press("escape")
        transcript = app.desk.query_one(Transcript)
        await wait(pilot, lambda: "Not taken: PRINT" in transcript.text)
        assert line.value == "LIST"

    stage.play(story)


def test_the_transcript_forgets_the_oldest_rows(stage: Any) -> None:
    """However much a board prints, only so many rows are kept."""

    async def story(_: Any, app: Any) -> None:
        transcript = app.desk.query_one(Transcript)
        transcript.add([(f"row {n} \x1b[31m", False) for n in range(MOST_ROWS + 500)])
        rows = transcript.text.split("\n")
        assert len(rows) == MOST_ROWS
        assert rows[-1] == f"row {MOST_ROWS + 499} \\x1b[31m"

    stage.play(story, port="")


def test_a_paste_of_several_lines_is_reviewed_and_sent_whole(
    stage: Any, wait: Any, shown: Any, is_settled: Any, type_text: Any
) -> None:
    """What was mended is shown first; leaving it sends nothing. The line that is being typed is no
    part of it, wherever its cursor is, and stays: a 5 sent alone would delete line 5.
    """

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "5")
        line = app.desk.query_one("#console-line")
        for answer, key in (("leave", "end"), ("send", "home")):
            await pilot.press(key)
            app.post_message(Paste("10 PRINT “A”\r\n20 PRINT 2\r\n30 END\r\n"))
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert "Send 3 lines to the practice board" in app.screen.question
            assert "quotes became plain" in app.screen.why
            assert app.focused.id == "answer-leave"
            await pilot.click(f"#answer-{answer}")
            await wait(pilot, lambda: app.screen is app.desk and is_settled(app))
            assert line.value == "5"
        await wait(pilot, lambda: "a program that is not in the archive" in shown(app))
        lines = app.boards.current.talk("", lambda board: dict(board.copy.lines))
        await wait(pilot, lambda: lines.ended)
        assert [each.typed for each in lines.result.values()] == [
            '10 PRINT "A"',
            "20 PRINT 2",
            "30 END",
        ]

    stage.play(story)


def test_a_paste_of_direct_commands_is_sent_and_not_called_proven(stage: Any, wait: Any) -> None:
    """They change no program, so nothing is read back and there may be nothing to run."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.console.paste("PRINT 1\nPRINT 2\nPRINT 3\n")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.screen.question == "Send 3 lines to the practice board?"
        await pilot.click("#answer-send")
        await wait(pilot, lambda: "3 lines sent; the console shows the answers." in app.said)

    stage.play(story)


def test_a_paste_without_a_line_end_is_typed_text(stage: Any, wait: Any, type_text: Any) -> None:
    """It can be edited before Enter; so can a single line with its end."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "PRINT ")
        app.post_message(Paste("12\n"))
        await wait(pilot, lambda: app.desk.query_one("#console-line").value == "PRINT 12")

    stage.play(story)


def test_the_newest_row_stays_in_sight_when_the_console_becomes_smaller(stage: Any) -> None:
    """After another size of the terminal; rows that the user went back to stay in sight too."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        transcript = app.desk.query_one(Transcript)
        for number, (width, height) in enumerate([(80, 50), (80, 24), (80, 40), (60, 18)]):
            transcript.add([(f"row {number} {each}", False) for each in range(40)])
            await pilot.resize_terminal(width, height)
            await pilot.pause()
            assert transcript.scroll_offset.y == transcript.max_scroll_y > 0
        transcript.scroll_to(y=3, animate=False, immediate=True)
        await pilot.pause()
        transcript.add([("another one", False)])
        await pilot.resize_terminal(80, 20)
        await pilot.pause()
        assert transcript.scroll_offset.y == 3

    stage.play(story, port="practice://class?time=virtual")


def test_a_row_that_is_being_printed_stands_below_the_others(stage: Any, shown: Any) -> None:
    """Not before the line that somebody types; a question, and a prompt, stand there."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t", *"PRINT")
        pane = app.desk.query_one(ConsolePane)
        for rows, row, prints, seen in (
            ([("ONE", False)], "TW", True, ["  ONE", "  TW", "     PRINT"]),
            ([("TWO", False)], "HEIGHT? ", False, ["  ONE", "  TWO", "  HEIGHT?  PRINT"]),
        ):
            pane.show(rows, row, prints=prints)
            await pilot.pause()
            there = [one.rstrip() for one in shown(app).split("\n")]
            assert [one for one in there[-5:-1] if one] == seen

    stage.play(story, port="")


def test_each_board_has_a_console_of_its_own(stage: Any, wait: Any, is_settled: Any) -> None:
    """What one printed is not shown as the other's, and is there again when one comes back."""
    second = "practice://second?time=virtual"

    async def story(pilot: Any, app: Any) -> None:
        first = app.boards.current.port
        app.desk.console.type_line("PRINT 6*7")
        transcript = app.desk.query_one(Transcript)
        await wait(pilot, lambda: " 42" in transcript.printed and is_settled(app))
        app.boards.attach(second)
        await wait(pilot, lambda: app.boards.current.port == second and is_settled(app))
        assert " 42" not in transcript.printed
        app.desk.console.type_line("PRINT 6*8")
        await wait(pilot, lambda: " 48" in transcript.printed and is_settled(app))
        app.boards.make_current(first)
        await wait(pilot, lambda: " 42" in transcript.text)
        assert " 48" not in transcript.printed

    stage.play(story)


def test_rows_are_cut_anew_when_the_console_gets_another_width(stage: Any) -> None:
    """Nothing of them is lost where it is narrow, and none stays short where it is wide again."""

    async def story(pilot: Any, app: Any) -> None:
        transcript = app.desk.query_one(Transcript)
        app.desk.show_band("console")
        await pilot.pause()
        transcript.add([("0123456789" * 6, False)])
        assert transcript.text == "0123456789" * 6
        await pilot.resize_terminal(42, 24)
        await pilot.pause()
        assert transcript.text.replace("\n", "") == "0123456789" * 6
        assert max(map(len, transcript.text.split("\n"))) <= 40
        await pilot.resize_terminal(80, 24)
        await pilot.pause()
        assert transcript.text == "0123456789" * 6

    stage.play(story, port="")


def test_a_line_that_is_half_typed_belongs_to_its_board(
    stage: Any, wait: Any, type_text: Any, is_settled: Any
) -> None:
    """Another board's line is empty, and the way back brings back what was typed."""

    async def story(pilot: Any, app: Any) -> None:
        line = app.desk.query_one("#console-line")
        first = app.boards.current.port
        await pilot.press("ctrl+t")
        await type_text(pilot, "NEW")
        app.boards.attach("practice://two?time=virtual")
        await wait(pilot, lambda: len(app.boards.by_port) == 2 and is_settled(app))
        await wait(pilot, lambda: line.value == "")
        await type_text(pilot, "PRINT")
        app.boards.make_current(first)
        await wait(pilot, lambda: line.value == "NEW")
        app.boards.make_current("practice://two?time=virtual")
        await wait(pilot, lambda: line.value == "PRINT")

    stage.play(story)


def test_what_was_typed_is_read_with_a_backup(
    stage: Any, wait: Any, shown: Any, type_text: Any, is_settled: Any
) -> None:
    """After a backup the board's program is not said to be changed: it was kept as it is."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await pilot.press("ctrl+t")
        await type_text(pilot, "5 REM HELLO\n")
        await wait(pilot, lambda: is_settled(app) and "changed since" in shown(app))
        await pilot.press("escape", "escape", "escape", "u")
        await wait(pilot, lambda: any("backup@1" in said for said in app.said))
        await wait(pilot, lambda: is_settled(app) and "621 of 999 bytes, proven" in shown(app))

    stage.play(story, opens="shipped:TIDE")


def test_a_line_for_which_there_is_no_board_stays(stage: Any, wait: Any, type_text: Any) -> None:
    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await type_text(pilot, "PRINT 1\n")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert app.desk.query_one("#console-line").value == "PRINT 1"

    stage.play(story, port="")
