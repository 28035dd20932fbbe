"""One line typed with care: damaged echoes, lost line ends, pages, floods; and it always ends."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.link.clock import VirtualClock
from hostlink.link.exchange import Exchange, Reach
from hostlink.link.pacing import Pacing, ends_with_prompt
from hostlink.link.typed import Outcome
from hostlink.practice.faults import Faults

Bench = Any
Make = Callable[..., Bench]
Fit = Callable[..., Pacing]

PLAIN = Pacing(prompt=b"> ", line_cancel=b"\x15", erase=b"\x08", line_s=0.01)


class Wrong:
    """A core's far end, byte by byte: echoes what it hears, except what a test spoils."""

    def __init__(self, pacing: Pacing = PLAIN) -> None:
        self.pacing = pacing
        self.heard = bytearray()
        self.lines: list[bytes] = []
        self.spoil: dict[int, bytes] = {}  # which byte heard (counted from 0) is echoed as what
        self._line = bytearray()

    def __call__(self, byte: int) -> bytes:
        place = len(self.heard)
        self.heard.append(byte)
        said = self._says(byte)
        return self.spoil.get(place, said)

    def _says(self, byte: int) -> bytes:
        pacing = self.pacing
        if bytes((byte,)) == pacing.line_cancel:
            self._line.clear()
            return b"\r\n" + pacing.prompt
        if bytes((byte,)) == pacing.erase:
            if self._line:
                self._line.pop()
                return b"\x08 \x08"
            return b""
        if byte == 13:
            self.lines.append(bytes(self._line))
            self._line.clear()
            return b"\r\n" + pacing.prompt
        self._line.append(byte)
        return bytes((byte,))


@pytest.fixture
def typed(script: Any, run_on: Callable[..., Any]) -> Callable[..., Exchange]:
    """Run an exchange against such an end."""

    def run(
        end: Callable[[int], bytes] | None,
        text: bytes = b"NEW",
        pacing: Pacing = PLAIN,
        reach: Reach | None = None,
        within_s: float = 130.0,
    ) -> Exchange:
        clock = VirtualClock()
        core: Exchange = run_on(script(end, clock), clock, Exchange(text, pacing, reach), within_s)
        return core

    return run


# --- typing --------------------------------------------------------------------------------------


def test_the_line_end_waits_for_the_echo_of_the_text() -> None:
    """Nothing is committed before every character came back right."""
    core = Exchange(b"NEW", PLAIN)
    assert core.step(0.0, b"").write == b"NEW"
    assert core.step(0.1, b"NE").write == b""
    assert core.step(0.2, b"W").write == b"\r"


def test_what_came_before_typing_is_not_the_echo() -> None:
    """Bytes left from before are passed over."""
    core = Exchange(b"NEW", PLAIN)
    assert core.step(0.0, b"rubbish").write == b"NEW"
    assert core.step(0.1, b"NEW").write == b"\r"


@pytest.mark.parametrize("size", [1, 2, 5, 1000])
def test_an_answer_is_the_same_however_it_is_cut(size: int) -> None:
    """Whole or byte by byte: outcome and answer are equal."""
    core = Exchange(b"LIST", PLAIN)
    now = 0.0
    step = core.step(now, b"")
    for data in (b"LIST", b"\r\n10 END\r\n> "):
        for start in range(0, len(data), size):
            now += 0.001
            step = core.step(now, data[start : start + size])
    assert step.wake is not None
    core.step(step.wake, b"")
    assert core.outcome is Outcome.ANSWERED
    assert core.answer == b"\r\n10 END\r\n> "
    assert core.repairs == 0


@pytest.mark.parametrize("spoilt", [b"", b"X", b"EE", b"\x00"])
@pytest.mark.parametrize("place", [0, 1, 2])
def test_a_damaged_echo_is_cancelled_and_typed_again(
    typed: Callable[..., Exchange], spoilt: bytes, place: int
) -> None:
    """A character dropped, changed or doubled: nothing wrong is committed, then it goes right."""
    end = Wrong()
    end.spoil = {place: spoilt}
    core = typed(end)
    assert core.outcome is Outcome.ANSWERED
    assert core.repairs == 1
    assert not core.typed.committed_wrong
    assert end.lines == [b"NEW"]
    assert bytes(end.heard) == b"NEW\x15NEW\r"


def test_a_cancel_whose_answer_is_damaged_is_given_again(typed: Callable[..., Exchange]) -> None:
    """Until the prompt stands at the start of a line nothing is typed."""
    end = Wrong()
    end.spoil = {0: b"X", 3: b"\r\n?"}  # the first character, then the cancel's answer
    core = typed(end)
    assert core.outcome is Outcome.ANSWERED
    assert end.lines == [b"NEW"]
    assert bytes(end.heard) == b"NEW\x15\x15NEW\r"


def test_a_board_with_erase_only_gets_the_line_erased(typed: Callable[..., Exchange]) -> None:
    """Without a cancel byte the line is taken back character by character, and no further: a board
    of the commonest kind steps back beyond its line and loses its program by that."""
    pacing = dataclasses.replace(PLAIN, line_cancel=b"")
    end = Wrong(pacing)
    end.spoil = {1: b"X"}
    core = typed(end, pacing=pacing)
    assert core.outcome is Outcome.ANSWERED
    assert end.lines == [b"NEW"]
    assert bytes(end.heard) == b"NEW" + b"\x08" * 3 + b"NEW\r"


def test_a_board_with_neither_has_the_line_finished_and_it_is_told(
    typed: Callable[..., Exchange],
) -> None:
    """Where nothing can be taken back the wrong line goes in: `committed_wrong`, for a repair."""
    pacing = dataclasses.replace(PLAIN, line_cancel=b"", erase=b"")
    end = Wrong(pacing)
    end.spoil = {1: b"X"}
    core = typed(end, pacing=pacing)
    assert core.outcome is Outcome.ANSWERED
    assert core.typed.committed_wrong
    assert end.lines == [b"NEW", b"NEW"]


def test_a_wrong_line_is_not_finished_where_that_could_do_harm(
    typed: Callable[..., Exchange],
) -> None:
    """An answer to a program: better none than a wrong one."""
    pacing = dataclasses.replace(PLAIN, line_cancel=b"", erase=b"")
    end = Wrong(pacing)
    end.spoil = {1: b"X"}
    core = typed(end, pacing=pacing, reach=Reach(may_enter_wrong=False))
    assert core.outcome is Outcome.UNTYPED
    assert (core.typed.committed_wrong, core.typed.echo_heard) == (False, True)
    assert end.lines == []


def test_whether_anybody_listens_is_known(typed: Callable[..., Exchange]) -> None:
    """No character came back: the board is deaf, or does something else."""
    assert not typed(None, reach=Reach(attempts=2)).typed.echo_heard
    assert typed(Wrong()).typed.echo_heard


def test_a_line_that_never_comes_back_right_is_given_up(typed: Callable[..., Exchange]) -> None:
    """After the allowed attempts: UNTYPED, and not once was the line end sent."""
    core = typed(lambda byte: b"?" if byte != 0x15 else b"\r\n> ", reach=Reach(attempts=5))
    assert core.outcome is Outcome.UNTYPED
    assert core.repairs == 5
    assert not core.typed.committed_wrong


def test_a_long_line_is_erased_at_the_slowest_speed(bench: Make, pacing_for: Fit) -> None:
    """At 300 baud wiping a line takes seconds of echo; that is no flood.

    Where an echo is lost one character stays, rather than one too many being taken back: what
    comes of it is for the read-back.
    """
    text = b"10 REM " + b"A" * 60
    board = bench(baud=300, faults=Faults(seed=3, to_host=0.02), line_cancel=b"")
    core = board.run(Exchange(text, pacing_for(board.machine.settings), Reach(longest_s=250.0)))
    assert core.repairs > 0
    assert core.outcome is Outcome.ANSWERED
    assert set(board.machine.basic.lines.values()) == {text[3:]}


def test_without_an_echo_the_last_slow_character_gets_its_time() -> None:
    """The line end does not follow on the heels of a character that takes char_s."""
    pacing = dataclasses.replace(PLAIN, echo=False, char_s=0.02)
    core = Exchange(b"AB", pacing)
    assert core.step(0.0, b"").write == b"A"
    assert core.step(0.02, b"").write == b""  # a tenth more, lest it comes a moment too early
    assert core.step(0.0221, b"").write == b"B"
    assert core.step(0.0222, b"").write == b""
    assert core.step(0.0442, b"").write == b"\r"


def test_a_slow_board_without_echo_hears_the_line_end(make_slow: Bench, pacing_for: Fit) -> None:
    """The same on the practice board: nothing is lost, the line is stored."""
    board = make_slow
    board.run(Exchange(b"10 END", pacing_for(board.machine.settings)))
    assert board.machine.overruns == 0
    assert board.machine.basic.lines == {10: b"END"}


@pytest.fixture
def make_slow(bench: Make) -> Bench:
    """A board without echo, prompt or buffer that needs 5 ms a character."""
    return bench(echo=False, prompt=b"", receive_buffer=0, char_ms=5.0, baud=9600)


def test_the_window_holds_while_typing(bench: Make, pacing_for: Fit) -> None:
    """A board that is slow per character is typed to within its buffer."""
    board = bench(char_ms=4.0, receive_buffer=1)
    core = board.run(Exchange(b'PRINT "' + b"A" * 40 + b'"', pacing_for(board.machine.settings)))
    assert core.outcome is Outcome.ANSWERED
    assert core.repairs == 0
    assert board.machine.overruns == 0


# --- the answer ----------------------------------------------------------------------------------


def test_a_lost_line_end_is_sent_again(typed: Callable[..., Exchange]) -> None:
    """The text was echoed, the CR was not heard: one nudge, and the line goes in once."""
    end = Wrong()
    deaf = iter([True, False])

    def loses_first_cr(byte: int) -> bytes:
        return b"" if byte == 13 and next(deaf) else end(byte)

    core = typed(loses_first_cr)
    assert core.outcome is Outcome.ANSWERED
    assert core.nudged == 1
    assert end.lines == [b"NEW"]


def test_a_lost_prompt_is_asked_for_again(typed: Callable[..., Exchange]) -> None:
    """The prompt's first byte was lost: a bare line end brings a new one."""
    end = Wrong()
    end.spoil = {3: b"\r\n "}
    core = typed(end)
    assert core.outcome is Outcome.ANSWERED
    assert core.nudged == 1
    assert end.lines == [b"NEW", b""]


def test_what_came_before_the_prompt_was_asked_for_is_kept_apart(
    typed: Callable[..., Exchange],
) -> None:
    """A board that shows no prompt behind an error: its words are those that came by themselves."""

    class Complains(Wrong):
        def _says(self, byte: int) -> bytes:
            is_first = byte == 13 and not self.lines
            said = super()._says(byte)
            return b"\r\nMissing THEN\r\n" if is_first else said

    core = typed(Complains(), b"70 IF A GOTO 60")
    assert (core.outcome, core.nudged) == (Outcome.ANSWERED, 1)
    assert core.unprompted == b"\r\nMissing THEN\r\n"


def test_no_nudges_where_none_are_allowed(typed: Callable[..., Exchange]) -> None:
    """A command that may run long gets no line end of ours; the longest time ends it."""
    end = Wrong()
    end.spoil = {3: b"\r\n"}
    core = typed(end, reach=Reach(nudges=0, longest_s=30.0), within_s=40.0)
    assert core.outcome is Outcome.SILENT
    assert end.lines == [b"NEW"]


def test_a_board_that_dies_after_the_line_end_is_silent(typed: Callable[..., Exchange]) -> None:
    """After its nudges the exchange ends."""
    core = typed(lambda byte: bytes((byte,)) if byte != 13 else b"")
    assert core.outcome is Outcome.SILENT
    assert core.nudged == Reach().nudges


def test_a_prompt_inside_the_answer_does_not_end_it() -> None:
    """A line of output that ends like a prompt is followed by more, and so does not count."""
    core = Exchange(b"LIST", PLAIN)
    core.step(0.0, b"")
    core.step(0.1, b"LIST")
    core.step(0.2, b"\r\n> ")  # the very text of the prompt, first thing in the answer
    assert not core.done
    core.step(0.21, b"\r\n> MORE\r\n> ")
    step = core.step(0.22, b"")
    assert not core.done
    assert step.wake is not None
    core.step(step.wake, b"")
    assert core.outcome is Outcome.ANSWERED
    assert core.answer == b"\r\n> \r\n> MORE\r\n> "


def test_a_program_that_prints_the_prompt_is_heard_out(bench: Make, pacing_for: Fit) -> None:
    """On the practice board: output that begins with the prompt's text comes back whole."""
    board = bench(baud=300)
    core = board.run(Exchange(b'PRINT "+ ONE"', pacing_for(board.machine.settings)))
    assert core.outcome is Outcome.ANSWERED
    assert core.answer == b"\r\n+ ONE\r\n+ "


def test_a_prompt_in_the_middle_of_a_line_is_no_prompt() -> None:
    """It counts only at the start of a line."""
    assert ends_with_prompt(b"> ", PLAIN)
    assert ends_with_prompt(b"10 END\r\n> ", PLAIN)
    assert ends_with_prompt(b"10 END\r> ", PLAIN)
    assert ends_with_prompt(b"10 END\r\n> > ", PLAIN)
    assert not ends_with_prompt(b"A> > ", PLAIN)
    assert not ends_with_prompt(b"IF A > ", PLAIN)
    assert not ends_with_prompt(b">", PLAIN)
    assert not ends_with_prompt(b"", PLAIN)
    assert not ends_with_prompt(b"10 END\r\n", dataclasses.replace(PLAIN, prompt=b""))


def test_a_stored_line_is_answered_by_the_first_prompt() -> None:
    """A numbered line says nothing, so no quiet is waited for: one round trip a line."""
    core = Exchange(b"10 END", PLAIN)
    core.step(0.0, b"")
    core.step(0.1, b"10 END")
    core.step(0.2, b"\r\n> ")
    assert core.done
    assert core.outcome is Outcome.ANSWERED


@pytest.mark.parametrize("buffer", [0, 63])
def test_line_after_line_on_a_board_that_prompts_before_it_stores(
    bench: Make, pacing_for: Fit, buffer: int
) -> None:
    """With after-prompt each exchange waits out the storing: nothing is lost, no repair."""
    board = bench(line_done="after-prompt", receive_buffer=buffer, line_ms=60.0)
    pacing = pacing_for(board.machine.settings, line_s=0.0)
    for number in range(1, 6):
        core = board.run(Exchange(b"%d REM" % number, pacing))
        assert core.outcome is Outcome.ANSWERED
        assert core.repairs == 0
    assert board.machine.overruns == 0
    assert list(board.machine.basic.lines) == [1, 2, 3, 4, 5]


def test_a_board_without_prompt_is_answered_by_quiet(bench: Make, pacing_for: Fit) -> None:
    """After a second of quiet the answer is complete."""
    board = bench(prompt=b"")
    board.run(Exchange(b"10 END", pacing_for(board.machine.settings)))
    core = board.run(Exchange(b"LIST", pacing_for(board.machine.settings)))
    assert core.outcome is Outcome.ANSWERED
    assert core.answer == b"\r\n10 END\r\n"


def test_a_lost_line_end_is_noticed_without_a_prompt_too(typed: Callable[..., Exchange]) -> None:
    """A board without prompt that does not even echo the line end has not heard it: one nudge."""
    pacing = dataclasses.replace(PLAIN, prompt=b"")
    end = Wrong(pacing)
    deaf = iter([True, False])

    def loses_first_cr(byte: int) -> bytes:
        return b"" if byte == 13 and next(deaf) else end(byte)

    core = typed(loses_first_cr, pacing=pacing)
    assert core.outcome is Outcome.ANSWERED
    assert core.nudged == 1
    assert end.lines == [b"NEW"]


def test_pages_are_turned_and_leave_no_trace(bench: Make, pacing_for: Fit) -> None:
    """Each page prompt gets its key; the answer holds every line once, and no page prompt."""
    board = bench(page_lines=3)
    pacing = pacing_for(
        board.machine.settings, page_prompt=b"-- more --", page_key=b" ", receive_buffer=63
    )
    for number in range(1, 11):
        board.run(Exchange(b"%d REM" % number, pacing))
    core = board.run(Exchange(b"LIST", pacing))
    assert core.outcome is Outcome.ANSWERED
    rows = [row for row in core.answer.split(b"\r\n") if row]
    assert rows == [*(b"%d REM" % number for number in range(1, 11)), b"+ "]


def test_the_answer_is_told_as_it_comes(bench: Make, pacing_for: Fit) -> None:
    """on_answer sees the bytes of the answer, in order and complete."""
    board = bench()
    heard: list[bytes] = []
    pacing = pacing_for(board.machine.settings)
    core = board.run(Exchange(b"PRINT 12345", pacing, on_answer=heard.append))
    assert b"".join(heard) == core.answer == b"\r\n 12345\r\n+ "


# --- floods and ends -----------------------------------------------------------------------------


def test_a_flooding_answer_is_cut_off(bench: Make, pacing_for: Fit) -> None:
    """A board that does not stop sending is told after most_bytes, not heard for ever."""
    board = bench(faults=Faults(flood_after_bytes=4))
    core = board.run(Exchange(b"NEW", pacing_for(board.machine.settings), Reach(most_bytes=2000)))
    assert core.outcome is Outcome.FLOODING
    assert 2000 < len(core.answer) < 7000


def test_a_flood_before_the_line_is_typed_ends_too(bench: Make, pacing_for: Fit) -> None:
    """Where no echo can be heard for the noise it is FLOODING, within the longest time."""
    board = bench(faults=Faults(flood_after_bytes=1))
    core = board.run(Exchange(b"NEW", pacing_for(board.machine.settings)), within_s=125)
    assert core.outcome is Outcome.FLOODING


FAULTS = st.builds(
    Faults,
    seed=st.integers(0, 1000),
    to_board=st.sampled_from([0.0, 0.02, 0.3]),
    to_host=st.sampled_from([0.0, 0.02, 0.3]),
    stall_every_bytes=st.sampled_from([0, 3, 11]),
    stall_s=st.sampled_from([0.05, 3.0]),
    restart_after_bytes=st.sampled_from([0, 2, 6]),
    flood_after_bytes=st.sampled_from([0, 0, 0, 3, 9]),
)


@pytest.mark.no_cover
@settings(deadline=None, derandomize=True, max_examples=100)
@given(
    faults=FAULTS,
    text=st.sampled_from([b"10 END", b"LIST", b"RUN", b"20", b""]),
    cancel=st.sampled_from([b"\x15", b""]),
    erase=st.sampled_from([b"\x08", b""]),
    line_done=st.sampled_from(["echo", "prompt", "after-prompt"]),
    echo=st.booleans(),
    prompt=st.sampled_from([b"+ ", b""]),
)
def test_every_fault_ends_within_its_deadline(
    bench: Make,
    pacing_for: Fit,
    faults: Faults,
    text: bytes,
    cancel: bytes,
    erase: bytes,
    line_done: str,
    echo: bool,
    prompt: bytes,
) -> None:
    """Damage, stalls, restarts, floods in any mixture: it ends, by its own longest time."""
    board = bench(faults=faults, line_done=line_done, echo=echo, prompt=prompt)
    pacing = pacing_for(board.machine.settings, line_cancel=cancel, erase=erase)
    began = board.clock.now()
    reach = Reach(longest_s=40.0, most_bytes=2000)
    core = board.run(Exchange(text, pacing, reach), within_s=50)
    assert core.done
    assert board.clock.now() - began < 42
    if core.outcome is Outcome.ANSWERED and prompt:
        assert core.answer.endswith(prompt)


@settings(deadline=None, derandomize=True, max_examples=120)
@given(
    said=st.lists(
        st.one_of(st.binary(max_size=6), st.just(b"NEW"), st.just(b"\r\n> ")), max_size=30
    ),
    gap_s=st.sampled_from([0.0, 0.02, 0.4]),
)
def test_whatever_comes_back_time_goes_on(said: list[bytes], gap_s: float) -> None:
    """Any bytes at any time: the exchange never asks to be called again at once for ever."""
    core = Exchange(b"NEW", PLAIN, Reach(longest_s=20.0))
    now = 0.0
    step = core.step(now, b"")
    for data in said:
        if core.done:
            break
        now += gap_s
        step = core.step(now, data)
    for _ in range(400):
        if core.done:
            break
        assert step.wake is not None
        now = max(now, step.wake)
        step = core.step(now, b"")
    assert core.done
    assert now < 25 + 30 * gap_s
