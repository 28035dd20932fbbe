"""The sender to the byte and the millisecond: what changes of its code no other test noticed."""

from __future__ import annotations

import pytest

from hostlink.link.pacing import TIMED_MARGIN, Pacing
from hostlink.link.sender import Sender

LINES = [b"10 PRINT 1", b"20 PRINT 2", b"30 PRINT 3"]
XON, XOFF = b"\x11", b"\x13"


def answer(line: bytes, pacing: Pacing) -> bytes:
    return line + pacing.reply_end + pacing.prompt


def test_what_went_out_is_counted_and_when_it_began() -> None:
    """bytes_out has every byte with its line end; first_write is the first write, not the last."""
    pacing = Pacing()
    sender = Sender(LINES, pacing)
    assert (sender.bytes_out, sender.first_write) == (0, None)
    for number, line in enumerate(LINES):
        written = sender.step(
            1.0 + number, b"" if not number else answer(LINES[number - 1], pacing)
        )
        assert written.write == line + b"\r"
        assert sender.bytes_out == 11 * (number + 1)
        assert sender.first_write == 1.0
    sender.step(9.0, answer(LINES[2], pacing))
    assert sender.done
    assert (sender.bytes_out, sender.first_write, sender.last_confirm) == (33, 1.0, 9.0)


@pytest.mark.parametrize("early", [b"1", b"+", b"\r"])
def test_an_answer_before_anything_was_sent_is_damage(early: bytes) -> None:
    """Not even the byte that will be expected first may come before the host has sent one."""
    sender = Sender(LINES, Pacing())
    sender.step(0.0, early)
    assert sender.damage is not None
    assert (sender.damage.kind, sender.damage.line, sender.damage.heard) == ("echo", 0, early)


@pytest.mark.parametrize(
    ("sent", "heard", "right"),
    [
        (b"1 a", b"1 A", True),
        (b"1 z", b"1 Z", True),
        (b"1 m", b"1 M", True),
        (b"1 A", b"1 a", False),
        (b"1 a", b"1 b", False),
        (b"1 a", b"1 B", False),
        (b"1 `", b"1 @", False),
        (b"1 {", b"1 [", False),
        (b"1 1", b"1 \x11", False),
    ],
)
def test_only_letters_may_come_back_as_capitals(sent: bytes, heard: bytes, right: bool) -> None:
    """ASCII small letters as their own capitals, nothing else as anything else."""
    pacing = Pacing()
    sender = Sender([sent], pacing)
    sender.step(0.0, b"")
    sender.step(0.1, answer(heard, pacing))
    assert (sender.confirmed == 1, sender.damage is None) == (right, right)


def test_silence_counts_from_when_the_wire_has_carried_everything() -> None:
    """A long line at a low speed is not overdue while it is still on its way."""
    pacing = Pacing(baud=300)
    line = b"10 REM " + b"X" * 200
    sender = Sender([line], pacing)
    wake = sender.step(2.0, b"").wake
    on_wire = (len(line) + 1) * pacing.byte_s
    assert wake == pytest.approx(2.0 + on_wire + pacing.patience_s)
    sender.step(wake - 0.01, b"")
    assert sender.damage is None
    sender.step(wake, b"")
    assert sender.damage is not None and sender.damage.kind == "silent"


def test_timed_lines_go_at_the_computed_moment() -> None:
    """Without anything that confirms: wire time, line time with its margin, one character, 2 ms."""
    pacing = Pacing(baud=9600, echo=False, prompt=b"", line_s=0.02, char_s=0.001)
    sender = Sender(LINES[:2], pacing)
    step = sender.step(5.0, b"")
    assert step.write == LINES[0] + b"\r"
    on_wire = 11 * pacing.byte_s
    assert step.wake == pytest.approx(5.0 + on_wire + 0.02 * TIMED_MARGIN + 0.001 + 0.002, abs=1e-9)
    assert sender.step(step.wake - 1e-6, b"").write == b""
    assert sender.step(step.wake, b"").write == LINES[1] + b"\r"


def test_a_pause_ends_the_load_after_twenty_seconds_of_its_own() -> None:
    """Counted from the pause, not from the start; the line is named; twenty is not too many."""
    sender = Sender(LINES, Pacing(xon_xoff=True))
    sender.step(14.0, b"")
    sender.step(15.0, XOFF)
    for moment in (16.0, 34.0, 35.0):
        assert sender.step(moment, b"").write == b""
        assert sender.damage is None
    sender.step(35.1, b"")
    assert sender.damage is not None
    assert (sender.damage.kind, sender.damage.line) == ("paused", 0)


def test_a_timed_board_that_pauses_is_told_with_its_line() -> None:
    """Two lines have gone when the board pauses for good: the third is named."""
    pacing = Pacing(baud=9600, echo=False, prompt=b"", line_s=0.02, xon_xoff=True)
    sender = Sender(LINES, pacing)
    first = sender.step(0.0, b"")
    sender.step(first.wake, b"")
    sender.step(first.wake + 0.001, XOFF)
    sender.step(first.wake + 21.0, b"")
    assert sender.damage is not None
    assert (sender.damage.kind, sender.damage.line) == ("paused", 2)


def test_a_pause_after_the_last_line_is_no_damage() -> None:
    """All is confirmed: whatever the board does then is no matter of this load."""
    pacing = Pacing(xon_xoff=True)
    sender = Sender(LINES[:1], pacing)
    sender.step(0.0, b"")
    sender.step(0.1, answer(LINES[0], pacing) + XOFF)
    assert sender.done
    sender.step(60.0, b"")
    assert sender.damage is None


def test_the_whole_buffer_is_used_again_behind_each_line_end() -> None:
    """A line that was half sent when its predecessor was confirmed leaves room for all of it."""
    pacing = Pacing(receive_buffer=8)
    sender = Sender(LINES, pacing)
    assert sender.step(0.0, b"").write == LINES[0] + b"\r" + LINES[1][:7]
    heard = answer(LINES[0], pacing)
    assert sender.step(0.1, heard).write == LINES[1][7:] + b"\r" + LINES[2][:7]


def test_an_answer_for_a_line_of_which_nothing_was_sent_is_damage() -> None:
    """Half of the second line has gone; the board may answer for it, and not for the third."""
    pacing = Pacing(receive_buffer=8)
    sender = Sender(LINES, pacing)
    assert sender.step(0.0, b"").write == LINES[0] + b"\r" + LINES[1][:7]
    heard = answer(LINES[0], pacing) + answer(LINES[1], pacing)
    sender.step(0.1, heard + LINES[2][:1])
    assert sender.damage is not None
    assert (sender.damage.kind, sender.damage.line, sender.damage.heard) == ("echo", 2, b"3")


def test_nothing_is_paced_after_the_last_byte() -> None:
    """With all bytes out the next call is when the answer is overdue, not a character later."""
    pacing = Pacing(char_s=0.01)
    sender = Sender([b"1"], pacing)
    first = sender.step(0.0, b"")
    assert (first.write, first.wake) == (b"1", pytest.approx(pacing.char_gap_s))
    last = sender.step(0.02, b"")
    assert last.write == b"\r"
    assert last.wake == pytest.approx(0.02 + pacing.byte_s + pacing.patience_s)


def test_a_window_without_anything_that_confirms_does_not_stall() -> None:
    """Echo that proves nothing opens no window: such a board once got four bytes and no more."""
    pacing = Pacing(prompt=b"", line_done="prompt", line_window=4, line_s=0.02)
    sender = Sender(LINES[:2], pacing)
    step = sender.step(0.0, b"")
    for _ in range(2):
        assert step.write and step.wake is not None
        step = sender.step(step.wake, b"")
    assert (sender.done, sender.damage, sender.bytes_out) == (True, None, 22)
