"""The sender as a core: what it writes when, what confirms, what it calls damage."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from hostlink.link.clock import VirtualClock
from hostlink.link.pacing import Pacing
from hostlink.link.sender import Sender

XON, XOFF = b"\x11", b"\x13"
LINES = [b"10 PRINT 1", b"20 GOTO 10"]


def answers(lines: list[bytes], pacing: Pacing) -> bytes:
    """What a board sends back for these lines."""
    return b"".join(
        (line + pacing.reply_end if pacing.echo else b"") + pacing.prompt for line in lines
    )


def fed(sender: Sender, size: int) -> bytes:
    """Let a good board answer in pieces of `size`; everything that the sender wrote."""
    board = Ideal(sender)
    board.takes(sender.step(0.0, b"").write)
    while said := board.says(size):
        if sender.done:
            break
        board.takes(sender.step(0.0, said).write)
    return bytes(board.written)


# --- the same however it is fed ------------------------------------------------------------------


@pytest.mark.parametrize("size", [1, 2, 3, 7, 1000])
def test_whole_or_byte_by_byte_is_the_same(size: int, listing: Callable[..., list[bytes]]) -> None:
    """The bytes written and the lines confirmed do not depend on how answers are cut."""
    lines = listing(12)
    sender = Sender(lines, Pacing(receive_buffer=63))
    written = fed(sender, size)
    assert written == b"".join(line + b"\r" for line in lines)
    assert sender.confirmed == len(lines)
    assert sender.damage is None


@pytest.mark.parametrize("size", [1, 2, 1000])
def test_rubbish_behind_an_answer_is_noticed(size: int) -> None:
    """Bytes that nobody asked for are damage as soon as they come, in one piece or byte by byte."""
    pacing = Pacing(receive_buffer=63)
    sender = Sender(LINES, pacing)
    sender.step(0.0, b"")
    data = answers(LINES[:1], pacing) + b"rubbish"
    for start in range(0, len(data), size):
        if not sender.done:
            sender.step(0.1, data[start : start + size])
    assert sender.confirmed == 1
    assert sender.damage is not None
    assert sender.damage.line == 1
    assert sender.damage.heard == b"r"


def test_no_lines_are_done_at_once() -> None:
    """Nothing to send is done before the first step."""
    assert Sender([], Pacing()).done


def test_progress_is_told_line_by_line_in_bytes() -> None:
    """on_line gets each confirmed line and the bytes so far, line ends included."""
    told: list[tuple[int, int]] = []
    sender = Sender(LINES, Pacing(), on_line=lambda index, size: told.append((index, size)))
    fed(sender, 4)
    assert told == [(0, 11), (1, 22)]


# --- the rule: what may follow an unconfirmed line end --------------------------------------------


class Ideal:
    """A board that keeps a ledger of the host: what stands behind the oldest unconfirmed end.

    It answers rightly, `lag` bytes at a time, so that the host is always behind by some bytes.
    """

    def __init__(self, sender: Sender) -> None:
        self.sender = sender
        self.pacing = sender.pacing
        self.written = bytearray()
        self.most_behind = 0
        self.most_unechoed = 0
        self._answer = bytearray()
        self._answered = 0  # bytes of what was written that were answered
        self._ends: list[int] = []  # where line ends stand in what was written
        self._echoed = 0

    def takes(self, data: bytes) -> None:
        for byte in data:
            self.written.append(byte)
            if byte == 13:
                self._ends.append(len(self.written) - 1)
            self._weigh()

    def _weigh(self) -> None:
        """Count, at this very byte, what is outstanding by the published rule."""
        confirmed = self.sender.confirmed
        if confirmed < len(self._ends):
            behind = len(self.written) - self._ends[confirmed] - 1
            self.most_behind = max(self.most_behind, behind)
        self.most_unechoed = max(self.most_unechoed, len(self.written) - self._echoed)

    def says(self, size: int) -> bytes:
        """The next bytes of the answer, as far as the written bytes allow."""
        while self._answered < len(self.written):
            byte = self.written[self._answered]
            self._answered += 1
            if byte == 13:
                self._answer += (self.pacing.reply_end if self.pacing.echo else b"") + (
                    self.pacing.prompt
                )
            elif self.pacing.echo:
                self._answer.append(byte)
        out = bytes(self._answer[:size])
        del self._answer[:size]
        self._echoed += sum(1 for byte in out if byte not in b"\n> ")
        return out


TEXT = st.binary(min_size=1, max_size=40).map(
    lambda data: bytes(33 + byte % 29 for byte in data)  # no blank, no prompt, no letters
)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(
    texts=st.lists(TEXT, min_size=1, max_size=12),
    buffer=st.sampled_from([0, 1, 2, 5, 9, 16, 63]),
    window=st.sampled_from([0, 0, 1, 4, 20]),
    echo=st.booleans(),
    line_done=st.sampled_from(["echo", "prompt", "after-prompt"]),
    char_s=st.sampled_from([0.0, 0.005]),
    sizes=st.lists(st.integers(1, 30), min_size=1, max_size=20),
)
def test_never_more_behind_an_unconfirmed_line_end_than_the_buffer_less_one(
    texts: list[bytes],
    buffer: int,
    window: int,
    echo: bool,
    line_done: Any,
    char_s: float,
    sizes: list[int],
) -> None:
    """Asserted on every byte written against every confirmation given, for any settings."""
    pacing = Pacing(
        receive_buffer=buffer,
        line_window=window,
        echo=echo,
        line_done=line_done,
        char_s=char_s,
        after_prompt_s=0.03,
        prompt=b"> ",
    )
    lines = [b"%d" % (number + 1) + text for number, text in enumerate(texts)]
    sender = Sender(lines, pacing)
    board = Ideal(sender)
    now = 0.0
    step = sender.step(now, b"")
    board.takes(step.write)
    for turn in range(20_000):
        if sender.done:
            break
        said = board.says(sizes[turn % len(sizes)])
        if said:
            now += len(said) * pacing.byte_s
        else:
            assert step.wake is not None
            now = max(now, step.wake)
        step = sender.step(now, said)
        board.takes(step.write)
    assert sender.damage is None
    assert sender.confirmed == len(lines)
    assert bytes(board.written) == b"".join(line + b"\r" for line in lines)
    assert board.most_behind <= max(0, buffer - 1)
    if window and echo:
        assert board.most_unechoed <= window


@pytest.mark.parametrize("buffer", [0, 1])
def test_line_at_a_time_without_a_buffer(buffer: int) -> None:
    """With 0 or 1 byte of buffer nothing follows a line end until it is confirmed."""
    sender = Sender(LINES, Pacing(receive_buffer=buffer))
    assert sender.step(0.0, b"").write == b"10 PRINT 1\r"
    assert sender.step(0.1, b"10 PRINT 1\r\n>").write == b""
    assert sender.step(0.2, b" ").write == b"20 GOTO 10\r"


def test_bytes_inside_a_line_flow_freely() -> None:
    """A line longer than the buffer goes out in one piece while no line end is outstanding."""
    line = b"10 REM " + b"A" * 60
    sender = Sender([line, line], Pacing(receive_buffer=16))
    assert sender.step(0.0, b"").write == line + b"\r" + line[:15]


def test_the_echo_of_the_text_is_no_confirmation() -> None:
    """Every character came back, but not the line's end: nothing more goes out."""
    sender = Sender(LINES, Pacing(receive_buffer=0))
    sender.step(0.0, b"")
    assert sender.step(0.1, b"10 PRINT 1").write == b""
    assert sender.confirmed == 0


def test_only_the_closing_line_end_lost_is_not_taken_for_stored() -> None:
    """Every character echoed, the CR lost on its way: the line is not counted, and it is told."""
    sender = Sender([b"10 END"], Pacing())
    step = sender.step(0.0, b"")
    step = sender.step(0.1, b"10 END")
    assert step.wake is not None
    sender.step(step.wake, b"")
    assert sender.confirmed == 0
    assert sender.damage is not None
    assert sender.damage.kind == "silent"
    assert sender.damage.line == 0


def test_a_line_end_lost_between_two_lines_shows_as_a_wrong_echo() -> None:
    """Two lines run together on the board are noticed at the first byte of the second."""
    sender = Sender(LINES, Pacing(receive_buffer=63))
    sender.step(0.0, b"")
    sender.step(0.1, b"10 PRINT 12")
    assert sender.damage is not None
    assert sender.damage.kind == "echo"
    assert sender.damage.heard == b"10 PRINT 12"
    assert sender.damage.expected == b"10 PRINT 1\r\n> "


def test_the_window_bounds_what_is_unechoed_inside_a_line() -> None:
    """With line_window 4 each echoed byte lets one more go."""
    sender = Sender([b"10 PRINT 1"], Pacing(line_window=4))
    assert sender.step(0.0, b"").write == b"10 P"
    assert sender.step(0.1, b"1").write == b"R"
    assert sender.step(0.2, b"0 P").write == b"INT"


def test_slow_characters_go_out_one_by_one() -> None:
    """With char_s above the byte's own time each byte waits for its moment, the line end too."""
    pacing = Pacing(char_s=0.01)
    sender = Sender([b"10"], pacing)
    moments = []
    now = 0.0
    for _ in range(3):
        step = sender.step(now, b"")
        moments.append((now, step.write))
        assert step.wake is not None
        now = step.wake
    assert [write for _, write in moments] == [b"1", b"0", b"\r"]
    assert [at for at, _ in moments] == pytest.approx([0.0, 0.011, 0.022])  # and a tenth more


def test_char_s_below_the_wires_own_pace_changes_nothing() -> None:
    """A board that is quicker than the wire is not slowed down."""
    sender = Sender([b"10 END"], Pacing(char_s=0.0001, baud=9600))
    assert sender.step(0.0, b"").write == b"10 END\r"


def test_after_prompt_waits_for_the_guard() -> None:
    """The prompt alone does not confirm; the line counts after_prompt_s later."""
    pacing = Pacing(line_done="after-prompt", after_prompt_s=0.05, receive_buffer=0)
    sender = Sender(LINES, pacing)
    sender.step(0.0, b"")
    step = sender.step(0.1, answers(LINES[:1], pacing))
    assert step.write == b""
    assert step.wake == pytest.approx(0.15)
    assert sender.confirmed == 0
    assert sender.step(0.149, b"").write == b""
    assert sender.step(step.wake, b"").write == b"20 GOTO 10\r"
    assert sender.confirmed == 1


def test_a_long_guard_is_no_silence() -> None:
    """A guard longer than the patience for an answer does not end the sending."""
    pacing = Pacing(line_done="after-prompt", after_prompt_s=5.0, line_s=0.0)
    assert pacing.patience_s < 5.0
    sender = Sender([b"10 END"], pacing)
    sender.step(0.0, b"")
    now = 0.1
    step = sender.step(now, answers([b"10 END"], pacing))
    while not sender.done:
        assert step.wake is not None
        assert step.wake > now
        now = step.wake
        step = sender.step(now, b"")
    assert sender.damage is None
    assert sender.last_confirm == pytest.approx(5.1)


def test_without_echo_and_prompt_the_clock_paces() -> None:
    """Each line is given its time on the wire and line_s; the whole takes at least their sum."""
    pacing = Pacing(echo=False, prompt=b"", line_s=0.1, baud=9600)
    sender = Sender([b"10 END", b"20 END"], pacing)
    first = sender.step(0.0, b"")
    assert first.write == b"10 END\r"
    assert first.wake is not None
    assert first.wake >= 7 * pacing.byte_s + 0.1
    assert sender.step(0.05, b"").write == b""
    second = sender.step(first.wake, b"")
    assert second.write == b"20 END\r"
    assert second.wake is not None
    sender.step(second.wake, b"")
    assert sender.confirmed == 2
    assert sender.done
    assert sender.damage is None


def test_what_a_board_without_echo_and_prompt_says_is_passed_over() -> None:
    """Its chatter proves nothing and stops nothing."""
    pacing = Pacing(echo=False, prompt=b"", line_s=0.1)
    sender = Sender([b"10 END"], pacing)
    step = sender.step(0.0, b"")
    step = sender.step(0.01, b"!?#")
    assert sender.damage is None
    assert step.wake is not None
    sender.step(step.wake, b"")
    assert sender.confirmed == 1


def test_a_board_without_echo_may_still_end_the_line() -> None:
    """CR LF before the prompt is expected of a board that does not echo text."""
    sender = Sender([b"10 END"], Pacing(echo=False))
    sender.step(0.0, b"")
    sender.step(0.1, b"\r\n> ")
    assert sender.confirmed == 1


def test_letters_may_come_back_as_capitals() -> None:
    """A board that folds case is right; one that changes anything else is not."""
    sender = Sender([b"10 print a"], Pacing())
    sender.step(0.0, b"")
    sender.step(0.1, b"10 PRINT A\r\n> ")
    assert sender.confirmed == 1
    other = Sender([b"10 PRINT A"], Pacing())
    other.step(0.0, b"")
    other.step(0.1, b"10 print")
    assert other.damage is not None


def test_a_word_that_nobody_asked_for_ends_the_sending() -> None:
    """An error text in place of the prompt is damage, with what was heard for the repair."""
    sender = Sender(LINES, Pacing())
    sender.step(0.0, b"")
    sender.step(0.1, b"10 PRINT 1\r\n! memory full\r\n> ")
    assert sender.damage is not None
    assert sender.damage.kind == "echo"
    assert sender.damage.heard == b"10 PRINT 1\r\n!"
    assert sender.done


# --- flow control --------------------------------------------------------------------------------


def test_xoff_pauses_and_xon_resumes() -> None:
    """Nothing goes out between DC3 and DC1, and neither counts as echo."""
    pacing = Pacing(xon_xoff=True, receive_buffer=63)
    sender = Sender(LINES, pacing)
    sender.step(0.0, b"")
    held = Sender(LINES, Pacing(xon_xoff=True, receive_buffer=0))
    held.step(0.0, b"")
    assert held.step(0.1, b"10 PRINT 1" + XOFF + b"\r\n> ").write == b""
    assert held.confirmed == 1
    assert held.step(0.5, b"").write == b""
    assert held.step(1.0, XON).write == b"20 GOTO 10\r"
    assert held.damage is None


def test_a_long_pause_is_no_silence() -> None:
    """A pause longer than the patience for an answer is waited out, and time counts afresh."""
    pacing = Pacing(xon_xoff=True, line_window=4)
    sender = Sender([b"10 PRINT 1"], pacing)
    sender.step(0.0, b"")
    sender.step(0.1, b"10" + XOFF)
    late = 0.1 + 10 * pacing.patience_s
    assert late < 20
    sender.step(late, XON)
    assert sender.damage is None
    assert sender.step(late + 0.1, b" P").write == b"NT"


def test_a_pause_without_end_is_told() -> None:
    """After 20 s of pause the sending ends, so that a lost DC1 is no hang."""
    sender = Sender(LINES, Pacing(xon_xoff=True))
    sender.step(0.0, b"")
    step = sender.step(0.1, XOFF)
    assert step.wake is not None
    sender.step(step.wake, b"")
    assert sender.damage is not None
    assert sender.damage.kind == "paused"
    assert step.wake < 21


def test_without_flow_control_dc1_and_dc3_are_wrong_echo() -> None:
    """Where the profile does not say so the bytes mean nothing and are not obeyed."""
    sender = Sender(LINES, Pacing())
    sender.step(0.0, b"")
    sender.step(0.1, XOFF)
    assert sender.damage is not None


# --- any board at all ----------------------------------------------------------------------------


@settings(deadline=None, derandomize=True, max_examples=200)
@given(
    said=st.lists(
        st.one_of(st.binary(max_size=12), st.just(b"10 A\r\n> "), st.just(b"")), max_size=30
    ),
    gap_s=st.sampled_from([0.0, 0.01, 0.3]),
    buffer=st.sampled_from([0, 63]),
    line_done=st.sampled_from(["echo", "prompt", "after-prompt"]),
    xon_xoff=st.booleans(),
    echo=st.booleans(),
)
def test_whatever_a_board_says_the_sender_ends(
    said: list[bytes], gap_s: float, buffer: int, line_done: Any, xon_xoff: bool, echo: bool
) -> None:
    """Any bytes at any time, then silence: it ends with all confirmed or with damage, in time."""
    pacing = Pacing(
        receive_buffer=buffer, line_done=line_done, xon_xoff=xon_xoff, echo=echo, after_prompt_s=0.1
    )
    sender = Sender([b"10 A", b"20 B"], pacing)
    now = 0.0
    step = sender.step(now, b"")
    for data in said:
        if sender.done:
            break
        now += gap_s
        step = sender.step(now, data)
    last = now
    for _ in range(100):
        if sender.done:
            break
        assert step.wake is not None
        assert step.wake > now, "it would spin without time passing"
        now = step.wake
        step = sender.step(now, b"")
    assert sender.done
    assert now - last < 30
    assert (sender.damage is None) == (sender.confirmed == 2)


@settings(deadline=None, derandomize=True)
@given(cut=st.integers(0, 40))
def test_any_prefix_of_the_right_answer_never_confirms_too_much(cut: int) -> None:
    """Lines are confirmed exactly when their whole answer has come."""
    pacing = Pacing(receive_buffer=63)
    whole = answers(LINES, pacing)
    assume(cut <= len(whole))
    sender = Sender(LINES, pacing)
    sender.step(0.0, b"")
    sender.step(0.1, whole[:cut])
    one = len(answers(LINES[:1], pacing))
    assert sender.confirmed == (0 if cut < one else 1 if cut < len(whole) else 2)


def test_a_deaf_board_ends_the_sending_within_its_patience(
    script: Any, run_on: Callable[..., Any]
) -> None:
    """Nothing comes back at all: told as silence, after one patience and not before."""
    clock = VirtualClock()
    sender = run_on(script(None, clock), clock, Sender(LINES, Pacing()))
    assert sender.damage is not None
    assert sender.damage.kind == "silent"
    assert Pacing().patience_s <= clock.now() < Pacing().patience_s + 0.2
