"""Running a program: its questions are answered with care, and each way in which it can end."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from hostlink.link.clock import VirtualClock
from hostlink.link.pacing import Pacing
from hostlink.link.running import End, Running
from hostlink.practice.faults import Faults


class Lines:
    """Answers: each a line, or None for one that has not come yet. over: none come after these."""

    def __init__(self, *lines: bytes | None, live: bool = False, over: bool = True) -> None:
        self.lines = list(lines)
        self.live = live
        self.over = over
        self.on_take: Callable[[], None] = lambda: None

    def take(self) -> bytes | None:
        self.on_take()
        if self.lines:
            return self.lines.pop(0)
        if self.over:
            raise EOFError
        return None


class Play:
    """A run: all that was heard, each answer that was typed, how it ended."""

    def __init__(self, pacing: Pacing, answers: Lines, limits: Mapping[str, Any]) -> None:
        self.heard = b""
        self.typed: list[bytes] = []
        self.core = Running(
            b"RUN",
            pacing,
            answers,
            heard=self._hear,
            typing=self.typed.append,
            **{"longest_s": 60.0, "most_bytes": 1 << 20, **limits},
        )

    def _hear(self, data: bytes) -> None:
        self.heard += data

    @property
    def end(self) -> End | None:
        return self.core.end


Player = Callable[..., tuple[Play, Any]]


@pytest.fixture
def play(bench: Callable[..., Any], pacing_for: Callable[..., Pacing]) -> Player:
    """Run a program on a practice board; the run and the board."""

    def go(
        program: Mapping[int, bytes],
        *answers: bytes | None,
        lines: Lines | None = None,
        limits: Mapping[str, Any] | None = None,
        changes: Mapping[str, Any] | None = None,
        **settings: Any,
    ) -> tuple[Play, Any]:
        board = bench(**settings)
        board.machine.basic._state.memory.replace(dict(program))
        pacing = pacing_for(board.machine.settings, **(changes or {}))
        run = Play(pacing, lines or Lines(*answers), limits or {})
        board.run(run.core)
        return run, board

    return go


@pytest.fixture
def play_at(run_on: Callable[..., Any], asking_board: type[Any], asking_pacing: Pacing) -> Player:
    """Run the program of an asking board; the run and the board."""

    def go(
        *answers: bytes | None,
        lines: Lines | None = None,
        limits: Mapping[str, Any] | None = None,
        changes: Mapping[str, Any] | None = None,
        **manners: Any,
    ) -> tuple[Play, Any]:
        clock = VirtualClock()
        board = asking_board(clock, **manners)
        pacing = dataclasses.replace(asking_pacing, **(changes or {}))
        run = Play(pacing, lines or Lines(*answers), limits or {})
        run_on(board, clock, run.core)
        return run, board

    return go


# --- asked and answered --------------------------------------------------------------------------


def test_questions_are_answered_in_order(play: Player) -> None:
    """Each answer goes to the question it is for, and its echo is part of what was heard."""
    program = {10: b"INPUT A,B", 20: b"PRINT A+B", 30: b'PRINT "C";', 40: b"INPUT C"}
    run, _ = play(program, b"4,5", b"7")
    assert run.end is End.PROMPT
    assert run.heard == b"\r\n? 4,5\r\n 9\r\nC? 7\r\n+ "
    assert run.typed == [b"4,5", b"7"]


def test_a_question_is_heard_before_there_is_an_answer(play: Player) -> None:
    """The question comes at once; two minutes of thinking are no time of the program's."""
    lines = Lines(*[None] * 2400, b"9", live=True)
    heard_then: list[bytes] = []
    started: list[Play] = []
    lines.on_take = lambda: heard_then.append(started[0].heard)
    with pytest.MonkeyPatch.context() as patch:
        begin = Play.__init__

        def noted(self: Play, *given: Any) -> None:
            begin(self, *given)
            started.append(self)

        patch.setattr(Play, "__init__", noted)
        run, _ = play({10: b"INPUT A", 20: b"PRINT A"}, lines=lines, limits={"longest_s": 5.0})
    assert set(heard_then) == {b"\r\n? "}
    assert run.end is End.PROMPT
    assert run.heard.endswith(b"? 9\r\n 9\r\n+ ")


def test_where_nobody_types_the_time_goes_on(play: Player) -> None:
    """A pipe that stays open and says nothing ends by the program's time."""
    run, board = play({10: b"INPUT A"}, lines=Lines(over=False), limits={"longest_s": 5.0})
    assert run.end is End.LATE
    assert 5.0 < board.clock.now() < 6.5
    assert run.core.is_quiet


def test_after_a_long_wait_the_program_has_the_time_that_was_left(play: Player) -> None:
    """A hundred seconds of thinking, then a program that prints without end: late by its own."""
    lines = Lines(*[None] * 2000, b"9", live=True)
    program = {10: b"INPUT A", 20: b'PRINT "X"', 30: b"GOTO 20"}
    run, board = play(program, lines=lines, limits={"longest_s": 5.0})
    assert run.end is End.LATE
    assert 104.0 < board.clock.now() < 108.0


def test_where_nothing_was_asked_the_time_goes_on(play: Player) -> None:
    """A program that works in silence is late, though a person might type."""
    run, board = play(
        {10: b"GOTO 10"}, lines=Lines(live=True, over=False), limits={"longest_s": 5.0}
    )
    assert run.end is End.LATE
    assert 5.0 < board.clock.now() < 6.5


@pytest.mark.parametrize(
    "manners",
    [
        {"line_done": "echo", "line_ms": 40.0},
        {"char_ms": 3.0, "receive_buffer": 0},
        {"latency_ms": 16.0, "prompt": b"> "},
    ],
)
def test_slow_boards_lose_nothing_of_an_answer(manners: dict[str, Any], play: Player) -> None:
    """One character is under way at a time, so that a board without a buffer hears each."""
    run, _ = play({10: b"INPUT A", 20: b"PRINT A"}, b"12345", baud=9600, **manners)
    assert run.end is End.PROMPT
    assert b" 12345\r\n" in run.heard


def test_a_board_without_echo_is_answered(play: Player) -> None:
    """What the board does not echo is heard anyway, in its place behind the question."""
    run, _ = play({10: b"INPUT A", 20: b"PRINT A*2"}, b"21", echo=False)
    assert run.end is End.PROMPT
    assert run.heard == b"? 21\n 42\r\n+ "


def test_an_answer_on_a_damaged_wire_is_the_right_one_or_none(play: Player) -> None:
    """Of 300 runs with 4 % of all bytes damaged, none gives the program another number.

    A line end that is doubled behind RUN answers with nothing; no host can prevent that.
    """
    right = 0
    for seed in range(300):
        faults = Faults(seed=seed, to_board=0.04)
        run, _ = play({10: b"INPUT A", 20: b'PRINT "VALUE";A'}, b"12345", faults=faults)
        numbers = [row for row in run.heard.split(b"\r\n") if row.startswith(b"VALUE")]
        assert numbers in ([], [b"VALUE 12345"], [b"VALUE 0"])
        right += numbers == [b"VALUE 12345"]
    assert right >= 270


def test_an_answer_whose_line_end_is_lost_is_ended_again(play_at: Player) -> None:
    """Nothing comes back, not even an echo: the line end goes out once more, and no answer."""
    run, board = play_at(b"5", b"6", asks=2, lose=(6,))
    assert board.written == b"RUN\r5\r\r6\r"
    assert board.answers == [5, 6]
    assert run.end is End.PROMPT


def test_a_board_that_has_gone_deaf_gets_its_line_end_once_more_and_no_answer(
    play_at: Player,
) -> None:
    """Then its time goes by."""
    run, board = play_at(b"5", lose=tuple(range(4, 100)), limits={"longest_s": 20.0})
    assert board.written == b"RUN\r\r"
    assert run.end is End.LATE


@pytest.mark.parametrize(
    ("place", "written", "end"),
    [(4, b"RUN\r", End.UNTYPED), (6, b"RUN\r5\r", End.DAMAGED)],
)
def test_a_line_end_that_is_heard_as_a_character_ends_the_run(
    place: int, written: bytes, end: End, script: type[Any], run_on: Callable[..., Any]
) -> None:
    """The line stands open with a wrong character at its end: nothing is typed behind it."""
    clock = VirtualClock()
    heard = 0

    def answer(byte: int) -> bytes:
        nonlocal heard
        heard += 1
        if byte == 13:
            return b"d" if heard == place else b"\r\n? "
        return bytes((byte,))

    board = script(answer, clock)
    run = Play(Pacing(prompt=b"> ", line_cancel=b"\x15"), Lines(b"5", b"6"), {})
    run_on(board, clock, run.core)
    assert (run.end, bytes(board.written)) == (end, written)


def test_an_answer_that_is_always_heard_wrong_is_given_up(
    script: type[Any], run_on: Callable[..., Any]
) -> None:
    """It is erased and typed anew, in the end given up; its line end is never sent."""
    clock = VirtualClock()

    def answer(byte: int) -> bytes:
        if byte == 13:
            return b"\r\n? "
        return b"9" if byte == ord("7") else b"\x08 \x08" if byte == 8 else bytes((byte,))

    board = script(answer, clock)
    run = Play(Pacing(prompt=b"> ", erase=b"\x08"), Lines(b"27"), {})
    run_on(board, clock, run.core)
    assert run.end is End.DAMAGED
    assert board.written.count(b"27") == 3
    assert board.written.count(b"\r") == 1
    assert run.core.repairs == 3


def test_nothing_is_typed_behind_what_could_not_be_cancelled(
    script: type[Any], run_on: Callable[..., Any]
) -> None:
    """The cancel byte is lost each time: an answer behind the rubbish would be another answer."""
    clock = VirtualClock()

    def answer(byte: int) -> bytes:
        if byte == 13:
            return b"\r\n? "
        return b"" if byte == 0x15 else b"9" if byte == ord("7") else bytes((byte,))

    board = script(answer, clock)
    run = Play(Pacing(prompt=b"> ", line_cancel=b"\x15"), Lines(b"27", b"5"), {})
    run_on(board, clock, run.core)
    assert run.end is End.DAMAGED
    assert board.written.count(b"\r") == 1
    assert board.written.count(b"2") == 1


# --- when to type --------------------------------------------------------------------------------


def test_nothing_is_typed_at_a_program_that_prints(play: Player) -> None:
    """As long as rows come, the answer waits; it goes to the question that comes behind them."""
    program = {10: b"FOR I=1 TO 300", 20: b"PRINT I", 30: b"NEXT I", 40: b"INPUT A", 50: b"PRINT A"}
    run, board = play(program, b"77", statement_ms=20.0)
    assert run.end is End.PROMPT
    assert run.heard.endswith(b" 300\r\n? 77\r\n 77\r\n+ ")
    first = next(at for at, data in board.writes if data == b"7")
    assert first > 300 * 2 * 0.02


def test_a_program_that_works_in_silence_does_not_get_a_number_at_its_prompt(
    play_at: Player,
) -> None:
    """It ends after ten silent seconds and would take the digits for the number of a line.

    Blanks are all that was typed at it, the board has kept them, and the run ends well.
    """
    run, board = play_at(b"10", asks=0, silent_s=10.0, keeps=True, changes={"erase": b""})
    assert run.end is End.PROMPT
    assert board.written == b"RUN\r  "
    assert board.commands == []


def test_an_answer_that_is_not_taken_is_kept_for_the_question(play_at: Player) -> None:
    """The program worked when the answer was tried; it gets it when it asks."""
    run, board = play_at(b"10", asks=1, silent_s=9.0)
    assert run.end is End.PROMPT
    assert board.answers == [10]
    assert board.commands == []
    assert run.typed == [b" 10", b"10"]  # after two silent seconds, and when it asked


def test_a_question_without_a_sign_is_answered(play_at: Player) -> None:
    """Some programs ask with plain text, or with nothing at all."""
    for mark in (b"NAME", b""):
        run, board = play_at(b"4", asks=1, mark=mark)
        assert (run.end, board.answers) == (End.PROMPT, [4])
        assert run.typed == [b" 4"]
    run, _ = play_at(b"4,5", b"-6", b"YES", mark=b"NAME", limits={"longest_s": 30.0})
    assert run.typed == [b" 4,5", b"-6", b"YES"]


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize("question", [b"? ", b"NAME ", b""])
def test_a_wrong_answer_is_never_entered_to_be_rid_of_it(
    question: bytes, place: int, script: type[Any], run_on: Callable[..., Any]
) -> None:
    """On a board without a key that takes a character back the run ends; nothing is entered, and
    nothing is typed behind what was heard wrong."""
    clock = VirtualClock()
    wrong = b"27"[place]

    def answer(byte: int) -> bytes:
        if byte == 13:
            return b"\r\n" + question
        return b"9" if byte == wrong else bytes((byte,))

    board = script(answer, clock)
    run = Play(Pacing(prompt=b"> "), Lines(b"27"), {"longest_s": 40.0})
    run_on(board, clock, run.core)
    assert run.end is End.DAMAGED
    certain = question.endswith(b"? ")
    assert bytes(board.written) == (b"RUN\r" if certain else b"RUN\r ") + b"27"[: place + 1]


def test_rows_that_go_on_while_a_program_works_are_no_damage(play: Player) -> None:
    """A dot every three seconds: the answer that waits is for the question in the end."""
    program = {
        10: b"FOR I=1 TO 4",
        20: b"FOR J=1 TO 600",
        30: b"NEXT J",
        40: b'PRINT ".";',
        50: b"NEXT I",
        60: b"INPUT A",
        70: b"PRINT A",
    }
    run, _ = play(program, b"7", statement_ms=5.0)
    assert run.end is End.PROMPT
    assert run.heard.endswith(b"? 7\r\n 7\r\n+ ")


def test_a_page_is_turned(play: Player) -> None:
    """A program that lists pauses after a page; it gets the key that the profile names."""
    lines = dict.fromkeys(range(20, 100, 10), b"REM")
    run, _ = play(
        {10: b"LIST", **lines},
        page_lines=3,
        changes={"page_prompt": b"-- more --", "page_key": b" "},
    )
    assert run.end is End.PROMPT
    assert b"90 REM" in run.heard


def test_the_prompt_in_the_middle_of_the_output_is_no_end(play: Player) -> None:
    """Only when nothing follows is the board at its prompt."""
    run, _ = play({10: b'PRINT "+ ";', 20: b'PRINT "+ ON"', 30: b'PRINT "OFF"'})
    assert run.end is End.PROMPT
    assert run.heard == b"\r\n+ + ON\r\nOFF\r\n+ "


# --- the end -------------------------------------------------------------------------------------


def test_a_program_that_asks_when_there_is_no_more_input_ends_the_run(play: Player) -> None:
    """Not at the end of its time, but as soon as it has asked and waits."""
    run, board = play({10: b"INPUT A", 20: b"GOTO 10"}, b"1", b"2")
    assert run.end is End.UNANSWERED
    assert run.core.row == b"? "
    assert board.clock.now() < 5.0


def test_a_program_that_works_longer_than_a_question_takes_is_not_ended(play: Player) -> None:
    """Silence alone, without a question, is no reason, though there is no input."""
    program = {10: b"FOR I=1 TO 400", 20: b"NEXT I", 30: b'PRINT "DONE"'}
    run, _ = play(program, statement_ms=20.0)
    assert run.end is End.PROMPT
    assert b"DONE" in run.heard


def test_the_time_is_kept(play: Player) -> None:
    """A program that prints without end is late, and was printing to the last."""
    run, board = play({10: b'PRINT "X"', 20: b"GOTO 10"}, limits={"longest_s": 3.0})
    assert run.end is End.LATE
    assert 3.0 < board.clock.now() < 4.0
    assert not run.core.is_quiet


def test_a_flood_is_cut_off(play: Player) -> None:
    """More output than was allowed ends the run."""
    run, _ = play({10: b'PRINT "X"', 20: b"GOTO 10"}, limits={"most_bytes": 2000})
    assert run.end is End.FLOODING
    assert 2000 < len(run.heard) < 7000


def test_a_command_that_cannot_be_typed_is_told(
    script: type[Any], run_on: Callable[..., Any]
) -> None:
    """Every echo is wrong: nothing was run."""
    clock = VirtualClock()
    board = script(lambda byte: b"?" if byte != 0x15 else b"\r\n> ", clock)
    run = Play(Pacing(prompt=b"> ", line_cancel=b"\x15"), Lines(), {})
    run_on(board, clock, run.core)
    assert run.end is End.UNTYPED
    assert run.heard == b""


@pytest.mark.parametrize("program", [{10: b'PRINT "A"'}, {10: b'PRINT "A";', 20: b"PRINT"}])
def test_a_board_without_a_prompt_is_done_when_it_is_quiet(
    program: dict[int, bytes], play: Player
) -> None:
    """Its last row has ended, and nothing follows; no answer is typed at it then."""
    run, board = play(program, b"10", prompt=b"", changes={"prompt": b""})
    assert run.end is End.PROMPT
    assert run.typed == []
    assert board.machine.basic.lines == program


def test_a_prompt_with_another_number_in_it_is_no_question(play: Player) -> None:
    """A board that shows its free memory in its prompt: the answer that is left would be a line of
    the program there, so it is not typed."""
    program = {10: b"INPUT A", 20: b"PRINT A", 30: b'PRINT "PRECIOUS"'}
    changes = {"prompt": b"[500] "}
    run, board = play(program, b"30", b"20", b"10", changes=changes, prompt=b"[458] ")
    assert run.end is End.PROMPT
    assert run.typed == [b"30"]
    assert len(board.machine.basic.lines) == 3
