"""Loading: what is called loaded is on the board, and what is not says so."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.dialogue.captures import Verdict
from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.board.dialogue.learning import BoardRewritesError
from hostlink.board.dialogue.loading import MOST_STARTS, Loader, _StartOver
from hostlink.board.dialogue.reading import Reading
from hostlink.board.profile.model import Commands
from hostlink.cli.ways import in_commands
from hostlink.errors import ExitStatus, LinkError, NotClearedError, ReadBackError
from hostlink.listing.parse import Line
from hostlink.practice.faults import Faults
from hostlink.practice.ops import Chore, Send, Work
from hostlink.practice.settings import BoardSettings

Build = Callable[..., Any]
Program = Callable[[str], dict[int, Line]]

TIDE = '10 LET T=0\n20 PRINT "TIDE ";T\n30 LET T=T+1\n40 IF T<12 GOTO 20\n50 END\n'
OTHER = '10 REM OLD\n20 PRINT "TIDE ";T\n35 STOP\n99 GOTO 10\n'


def texts(lines: dict[int, Line]) -> dict[int, str]:
    return {number: line.text for number, line in lines.items()}


def load(b: Any, lines: dict[int, Line], held: dict[int, Line] | None = None) -> Any:
    b.dialogue.attach()
    return Loader(b.dialogue, lines).load(held)


def disturb(b: Any, change: Callable[[int, bytes], tuple[int, bytes] | None]) -> None:
    """Let the board's program memory store something else than it was sent."""
    memory = b.machine.basic._state.memory
    put = memory.put

    def changed(number: int, text: bytes) -> None:
        other = change(number, text)
        if other is not None:
            put(*other)

    memory.put = changed


# --- promise 2 -----------------------------------------------------------------------------------


@pytest.mark.parametrize("line_done", ["echo", "prompt", "after-prompt"])
@pytest.mark.parametrize("receive_buffer", [0, 2, 63])
@pytest.mark.parametrize("baud", [2400, 115200])
def test_promise_2_loaded_means_proven(
    bench: Build, program: Program, baud: int, receive_buffer: int, line_done: str
) -> None:
    """A load replaces what was there, reads it back, and reports what it did."""
    b = bench(BoardSettings(baud=baud, receive_buffer=receive_buffer, line_done=line_done))
    b.put(OTHER)
    report = load(b, program(TIDE))
    assert b.held == texts(program(TIDE))
    assert (report.lines, report.bytes) == (5, len(TIDE))
    assert (report.repairs, report.starts, report.captures) == (0, 1, 1)
    assert b.machine.overruns == 0
    assert report.seconds is not None


def test_promise_2_loaded_means_proven_not_echoed(bench: Build, program: Program) -> None:
    """A board that echoes every line right and stores one wrong is found out by the read-back."""
    b = bench()
    disturb(b, lambda n, text: (n, b"PRINT 0") if n == 30 else (n, text))
    with pytest.raises(ReadBackError) as caught:
        load(b, program(TIDE))
    assert 'It holds line 30 as "30 PRINT 0".' in caught.value.what
    assert "cable" not in str(caught.value)  # the echo was right, and it is the same each time
    assert caught.value.kept
    assert in_commands(caught.value.advice)
    assert caught.value.status is ExitStatus.READ_BACK_DIFFERS
    assert b.held[30] == "PRINT 0"


def test_promise_2_loaded_means_proven_without_a_stray_line(bench: Build, program: Program) -> None:
    """A line that the board made up and keeps is named, not passed over."""
    b = bench()
    memory = b.machine.basic._state.memory
    put = memory.put

    def put_and_spoil(number: int, text: bytes) -> None:
        put(number, text)
        put(60, b"GOTO 10")

    memory.put = put_and_spoil
    with pytest.raises(ReadBackError, match="Besides what was sent it holds line 60"):
        load(b, program(TIDE))


def test_promise_2_loaded_means_proven_in_what_the_board_may_rewrite(
    bench: Build, program: Program
) -> None:
    """Blanks after the number may differ, for the board drops them; blanks elsewhere may not."""
    b = bench()
    load(b, program('10     PRINT "A  B"\n020 END\n'))
    assert b.held == {10: 'PRINT "A  B"', 20: "END"}
    c = bench()
    disturb(c, lambda n, text: (n, text.replace(b"  ", b" ")))
    with pytest.raises(ReadBackError, match="line 10"):
        load(c, program('10 PRINT "A  B"\n'))


# --- repairs -------------------------------------------------------------------------------------


def once(change: Callable[[int, bytes], tuple[int, bytes] | None], times: int = 1) -> Any:
    """A change that happens a few times only."""
    left = [times]

    def changed(number: int, text: bytes) -> tuple[int, bytes] | None:
        other = change(number, text)
        if other == (number, text) or not left[0]:
            return number, text
        left[0] -= 1
        return other

    return changed


def test_a_wrong_line_is_replaced(bench: Build, program: Program) -> None:
    """A line that was stored wrong once is found by the read-back, sent again and proven."""
    b = bench()
    disturb(b, once(lambda n, text: (n, b"PRINT 0") if n == 30 else (n, text)))
    report = load(b, program(TIDE))
    assert b.held == texts(program(TIDE))
    assert report.captures >= 2
    assert [e.number for e in b.told(LineSent)].count(30) == 2


def test_a_line_that_was_not_stored_is_sent_again(bench: Build, program: Program) -> None:
    """A line that the board dropped is missing in the read-back and sent again."""
    b = bench()
    disturb(b, once(lambda n, text: None if n == 20 else (n, text)))
    load(b, program(TIDE))
    assert b.held == texts(program(TIDE))


def test_a_stray_line_is_deleted(bench: Build, program: Program) -> None:
    """A line that landed on a wrong number is deleted there and sent again."""
    b = bench()
    disturb(b, once(lambda n, text: (4, text) if n == 40 else (n, text)))
    load(b, program(TIDE))
    assert b.held == texts(program(TIDE))


def test_a_command_stored_as_a_line_while_reading_back_is_deleted(
    bench: Build, program: Program
) -> None:
    """On a doubtful wire the last `LIST` of the read-back is stored as line 2:
    what it brings is empty, so the board is read again, and the stray line goes."""
    b = bench(BoardSettings(echo=False), echo=False)
    listed, asked = b.dialogue.read_listing, []

    def damaged() -> Reading:
        asked.append(1)
        if len(asked) == 3:
            text = "".join(f"{n} {text}\n" for n, text in b.held.items())
            b.put(f"2 IST\n{text}")
            return Reading({})
        reading: Reading = listed()
        if len(asked) == 2:
            del reading.lines[10]  # so that a third is taken
        return reading

    b.dialogue.read_listing = damaged
    load(b, program(TIDE))
    assert b.held == texts(program(TIDE))


@pytest.mark.parametrize("hidden", [{1, 2, 3, 5}, {1, 2, 3, 4, 6}, {1, 2, 3, 4, 5, 6}])
def test_a_stray_line_whose_number_is_damaged_again_and_again_is_deleted(
    bench: Build, program: Program, hidden: set[int]
) -> None:
    """A line 1 that does not belong there shows as a row that is no line in most captures (found by
    the soak): they are no witnesses that it is not there."""
    b = bench()
    disturb(b, once(lambda n, text: (1, text) if n == 40 else (n, text)))
    real, asked = b.dialogue.ask, []

    def damaged(text: str, *more: Any) -> str:
        answer: str = real(text, *more)
        if text == "LIST":
            asked.append(text)
            if len(asked) in hidden:
                return answer.replace("\n1 ", f"\n{chr(170 + len(asked))} ", 1)
        return answer

    b.dialogue.ask = damaged
    load(b, program(TIDE))
    assert b.held == texts(program(TIDE))


def test_a_line_that_landed_on_a_good_one_brings_that_back(bench: Build, program: Program) -> None:
    """A line stored on another good number costs that line too; both are sent again."""
    b = bench()
    disturb(b, once(lambda n, text: (10, text) if n == 40 else (n, text)))
    load(b, program(TIDE))
    assert b.held == texts(program(TIDE))


@pytest.mark.parametrize("text", ["GOTO 10", "INPUT A", "RUN", "NEW", "LIST", "STOP"])
def test_a_line_that_ran_because_its_number_was_lost(
    bench: Build, program: Program, text: str
) -> None:
    """Without its number a line runs at once; the board is brought back and the load proven."""
    b = bench()
    lines = program(f"10 LET A=1\n20 LET A=2\n30 {text}\n40 LET A=4\n50 GOTO 10\n")
    sends = b.machine.host_sends
    spoilt: list[bytes] = []

    def lose_number(data: bytes, now: float) -> None:
        wanted = f"30 {text}".encode()
        if wanted in data and not spoilt:
            spoilt.append(data)
            data = data.replace(wanted, text.encode())
        sends(data, now)

    b.machine.host_sends = lose_number
    report = load(b, lines)
    assert spoilt
    assert b.held == texts(lines)
    assert report.repairs >= 1
    assert b.told(LineRepaired)


def test_a_second_read_is_taken_before_anything_is_called_wrong(
    bench: Build, program: Program
) -> None:
    """Damage on the way back alone costs one more capture and sends nothing again."""
    b = bench()
    dialogue_body = b.dialogue.body
    spoilt: list[bytes] = []

    def spoil(answer: bytes) -> str:
        if b"TIDE" in answer and not spoilt:
            spoilt.append(answer)
            answer = answer.replace(b"TIDE", b"TIDF")
        return str(dialogue_body(answer))

    b.dialogue.body = spoil
    report = load(b, program(TIDE))
    assert spoilt
    assert (report.repairs, report.starts) == (0, 1)
    assert report.captures == 3
    assert [e.number for e in b.told(LineSent)] == [10, 20, 30, 40, 50]


# --- starting over -------------------------------------------------------------------------------


@pytest.mark.parametrize("restart_ms", [300.0, 2500.0])
@pytest.mark.parametrize("after", [30, 55, 77, 79])
def test_a_restart_in_the_middle_starts_over(
    bench: Build, program: Program, after: int, restart_ms: float
) -> None:
    """The board restarts and loses its memory while lines come in: the load begins again."""
    b = bench(BoardSettings(restart_ms=restart_ms), Faults(restart_after_bytes=after))
    report = load(b, program(TIDE))
    assert b.held == texts(program(TIDE))
    assert report.starts == 2
    assert any("restarted" in event.text for event in b.told(Warned))


def test_a_board_that_never_holds_is_given_up_after_the_last_start(
    bench: Build, program: Program
) -> None:
    """A load starts at most MOST_STARTS times and says when it starts over. Here the board loses
    other lines each time; one that loses the same ones is told at once."""
    b = bench()
    memory = b.machine.basic._state.memory
    put = memory.put

    def forgetful(number: int, text: bytes) -> None:
        put(number, text)
        victim = number % 50 + 10  # the next line, and after the last the first
        memory.replace({n: text for n, text in memory.lines.items() if n != victim})

    memory.put = forgetful
    with pytest.raises(ReadBackError, match="missing or different: line"):
        load(b, program(TIDE))
    clears = [event for event in b.told(Phase) if event.text.startswith("Clearing")]
    assert len(clears) == MOST_STARTS == 3
    again = [event for event in b.told(Warned) if "starting over" in event.text]
    assert len(again) == MOST_STARTS - 1


def test_a_board_that_holds_nothing_is_told_after_two_rounds(
    bench: Build, program: Program
) -> None:
    """It loses the same lines twice: sending them again and again would not help."""
    b = bench()
    disturb(b, lambda *_: None)
    with pytest.raises(BoardRewritesError, match="It does not take lines 10, 20, 30, 40, 50"):
        load(b, program(TIDE))
    assert len([event for event in b.told(Phase) if event.text == "Reading back"]) == 2


def test_a_board_that_stays_silent_ends_the_load(bench: Build, program: Program) -> None:
    """A board that dies in the middle is an error in bounded time, with advice."""
    b = bench(None, Faults(stall_every_bytes=60, stall_s=1e9))
    with pytest.raises(LinkError) as caught:
        load(b, program(TIDE))
    assert "silent" in caught.value.what and "prompt" not in caught.value.what
    advice = in_commands(caught.value.advice)
    assert "supply, the cable and the plug" in advice and "restart the board" in advice
    assert "after each page" not in advice  # though the echo of a half line was heard last
    assert b.wire.now() < 120


# --- the difference ------------------------------------------------------------------------------


def test_only_the_difference_is_sent_where_it_is_known(bench: Build, program: Program) -> None:
    """With what the board holds given, equal lines stay, others are sent and strays deleted."""
    b = bench()
    b.put(OTHER)
    report = load(b, program(TIDE), program(OTHER))
    assert b.held == texts(program(TIDE))
    assert sorted(e.number for e in b.told(LineSent)) == [10, 30, 35, 40, 50, 99]
    assert report.starts == 1
    assert not any(event.text.startswith("Clearing") for event in b.told(Phase))


def test_nothing_is_sent_where_nothing_differs(bench: Build, program: Program) -> None:
    """The board holds the program already: it is read back and proven, not sent."""
    b = bench()
    b.put(TIDE)
    load(b, program(TIDE), program(TIDE))
    assert b.told(LineSent) == []
    assert len(b.told(Captured)) == 1


def test_what_is_thought_to_be_held_is_not_believed(bench: Build, program: Program) -> None:
    """The board holds something else than was said: the read-back shows it and it is mended."""
    b = bench()
    b.put(OTHER)
    load(b, program(TIDE), program(TIDE))
    assert b.held == texts(program(TIDE))


# --- other boards --------------------------------------------------------------------------------


def test_a_board_without_echo_is_read_twice(bench: Build, program: Program) -> None:
    """Nothing watched the sending, so one reading that fits proves too little."""
    b = bench(BoardSettings(echo=False))
    report = load(b, program(TIDE))
    assert b.held == texts(program(TIDE))
    assert report.captures == 2


@pytest.mark.parametrize(("times", "held"), [(1, "LET T=0"), (99, "LETT=0")])
def test_a_blank_lost_without_echo_is_sent_again_though_blanks_are_free(
    bench: Build, program: Program, times: int, held: str
) -> None:
    """The profile may be wrong in that; what comes back so twice is what the board makes of it."""
    b = bench(BoardSettings(echo=False))
    profile = b.dialogue.profile
    free = dataclasses.replace(profile.rules.form, spacing="free")
    rules = dataclasses.replace(profile.rules, form=free)
    b.dialogue.profile = dataclasses.replace(profile, rules=rules)
    disturb(b, once(lambda n, text: (n, text.replace(b"LET T=0", b"LETT=0")), times))
    report = load(b, program(TIDE))
    assert b.held == {**texts(program(TIDE)), 10: held}
    assert (report.captures, report.starts) == (4, 1)


def test_a_board_without_echo_or_prompt_is_paced_by_the_clock(
    bench: Build, program: Program
) -> None:
    """Timed sending loses nothing with a fitting line time, and the read-back proves it."""
    board = BoardSettings(echo=False, prompt=b"", receive_buffer=0, line_ms=15)
    b = bench(board)
    report = load(b, program(TIDE))
    assert b.held == texts(program(TIDE))
    assert b.machine.overruns == 0
    assert report.starts == 1


def test_a_board_without_a_prompt_is_confirmed_by_its_echo(bench: Build, program: Program) -> None:
    """Echo after storing confirms; the listing ends at a quiet time."""
    b = bench(BoardSettings(prompt=b"", line_done="echo"))
    load(b, program(TIDE))
    assert b.held == texts(program(TIDE))


@pytest.mark.parametrize("keys", [{"line_cancel": b""}, {"line_cancel": b"", "erase": b""}])
@pytest.mark.parametrize("seed", range(8))
def test_a_board_without_line_cancel_is_repaired_all_the_same(
    bench: Build, program: Program, keys: dict[str, bytes], seed: int
) -> None:
    """Where a line cannot be abandoned it is finished or erased, and then repaired."""
    b = bench(None, Faults(seed, 0.02, 0.02), **keys)
    load(b, program(TIDE))
    assert b.held == texts(program(TIDE))


def test_a_board_that_prompts_before_it_stores_loses_nothing(
    bench: Build, program: Program
) -> None:
    """A guard time after the prompt, told by the profile, keeps every byte."""
    b = bench(BoardSettings(line_done="after-prompt", line_ms=40, receive_buffer=0))
    report = load(b, program(TIDE))
    assert (b.held, report.repairs) == (texts(program(TIDE)), 0)


def test_a_profile_that_promises_too_much_is_survived(bench: Build, program: Program) -> None:
    """A receive buffer that the board does not have loses bytes; the load is proven anyway,
    or the board named as not fitting its profile."""
    b = bench(BoardSettings(receive_buffer=2, line_ms=40, baud=57600))
    dialogue = b.dialogue
    dialogue.pacing = type(dialogue.pacing)(
        **{
            **{name: getattr(dialogue.pacing, name) for name in dialogue.pacing.__slots__},
            "receive_buffer": 63,
        }
    )
    report = load(b, program(TIDE))
    assert b.machine.overruns > 0
    assert report.repairs > 0
    assert b.held == texts(program(TIDE))


def test_a_full_board_is_named_in_its_own_words(bench: Build, program: Program) -> None:
    """What does not fit is a failure that repeats what the board said, made safe to print."""
    b = bench(BoardSettings(program_bytes=60))
    with pytest.raises(ReadBackError) as caught:
        load(b, program(TIDE))
    assert "memory full" in caught.value.what
    assert "line 50" in caught.value.what
    assert b.held == {n: text for n, text in texts(program(TIDE)).items() if n in b.held}


def test_hostile_words_of_a_board_are_made_safe(bench: Build, program: Program) -> None:
    """Escape sequences in a complaint of the board never reach the terminal."""
    b = bench()
    basic = b.machine.basic
    enter = basic.enter

    def hostile(typed: bytes) -> Any:
        if not typed[:1].isdigit():
            yield from enter(typed)
            return
        yield Work(Chore.STORE)
        yield Send(b"\x1b[2Jgone\r\n")

    basic.enter = hostile
    with pytest.raises(ReadBackError) as caught:
        load(b, program("10 END\n"))
    assert "\x1b" not in str(caught.value)
    assert 'answers "gone"' in caught.value.what


def test_a_board_that_cannot_clear_is_refused(bench: Build, program: Program) -> None:
    """Without a word for clearing in the profile nothing is sent."""
    b = bench(commands=Commands(clear=""))
    b.put(OTHER)
    before = b.held
    with pytest.raises(Exception, match="No command to clear the program memory is known"):
        load(b, program(TIDE))
    assert b.held == before


def test_progress_is_told_line_by_line(bench: Build, program: Program) -> None:
    """Each confirmed line is told once, in order, with bytes that add up to the listing."""
    b = bench()
    load(b, program(TIDE))
    sent = b.told(LineSent)
    assert [event.number for event in sent] == [10, 20, 30, 40, 50]
    assert [event.sent_lines for event in sent] == [1, 2, 3, 4, 5]
    assert sent[-1].sent_bytes == sent[-1].all_bytes == len(TIDE)


def test_an_empty_program_empties_the_board(bench: Build) -> None:
    """Loading no lines clears the board and proves that it is empty."""
    b = bench()
    b.put(OTHER)
    load(b, {})
    assert b.held == {}


def refuse(b: Any, word: bytes, answer: bytes) -> None:
    """Let the board take a word for another: one it does not know, or one that prints."""
    enter = b.machine.basic.enter
    b.machine.basic.enter = lambda typed: enter(answer if typed.strip().upper() == word else typed)


def test_a_refused_clear_is_not_believed_because_the_listing_cannot_be_read(bench: Build) -> None:
    """The board does not know NEW, and its answer to LIST holds no line, only rubbish."""
    b = bench()
    b.put(OTHER)
    refuse(b, b"NEW", b"QZ")
    refuse(b, b"LIST", b'PRINT "@@@ ###"')
    with pytest.raises(NotClearedError, match="does not clear its memory"):
        b.dialogue.clear()


def test_a_refused_clear_of_an_empty_memory_is_enough(bench: Build) -> None:
    """The board does not know NEW, but there is nothing to clear."""
    b = bench()
    refuse(b, b"NEW", b"QZ")
    b.dialogue.clear()
    assert b.held == {}


def test_a_failure_does_not_name_lines_of_an_earlier_start(
    bench: Build, program: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lines were wrong before the load started over; since then nothing has been read back."""
    b = bench()
    loader = Loader(b.dialogue, program(TIDE))
    starts: list[int] = []

    def rounds(*_: Any, **__: Any) -> bool:
        starts.append(1)
        if len(starts) > 1:
            raise _StartOver
        loader._verdict = Verdict((20,), (), ())
        return False

    monkeypatch.setattr(loader, "_rounds", rounds)
    with pytest.raises(ReadBackError, match="could not be brought to a known state") as caught:
        loader.load()
    assert "line 20" not in caught.value.what
    first, second = [event.text for event in b.told(Warned)]
    assert first.startswith("The program is still not proven")
    assert second.startswith("The board's state is no longer known")
