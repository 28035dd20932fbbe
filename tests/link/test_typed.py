"""Typing one line, without its answer."""

from __future__ import annotations

import pytest

from hostlink.link.pacing import Pacing
from hostlink.link.typed import Outcome, Typed

PLAIN = Pacing(prompt=b"> ", line_cancel=b"\x15", erase=b"\x08", line_s=0.01)


def test_typing_ends_with_the_line_end() -> None:
    """The line end goes out after the right echo; nothing is awaited after it."""
    core = Typed(b"RUN", PLAIN)
    assert core.step(0.0, b"").write == b"RUN"
    assert core.step(0.1, b"RU").write == b""
    assert not core.done
    assert core.step(0.2, b"N").write == b"\r"
    assert core.done
    assert core.committed
    assert core.step(0.3, b"OUTPUT").write == b""


def test_typing_without_an_end_of_output_is_given_up_in_time() -> None:
    """A board that prints all the time: not committed after longest_s, and told as a flood."""
    core = Typed(b"RUN", PLAIN, longest_s=2.0)
    core.step(0.0, b"")
    now = 0.0
    while not core.done:
        now += 0.01
        core.step(now, b"?")
        assert now < 3.0
    assert (core.committed, core.outcome) == (False, Outcome.FLOODING)


def test_attempts_are_counted_and_what_was_heard_last_is_kept() -> None:
    """Two wrong echoes with two attempts allowed: UNTYPED, with nothing entered."""
    core = Typed(b"RUN", PLAIN, attempts=2)
    now, received, written = 0.0, b"", b""
    while not core.done:
        step = core.step(now, received)
        written += step.write
        received = b"X" if step.write == b"RUN" else b"\r\n> " if step.write == b"\x15" else b""
        now = max(now + 0.01, step.wake or 0.0) if not received else now + 0.01
    assert core.outcome is Outcome.UNTYPED
    assert (core.repairs, core.heard) == (2, b"\r\n> ")
    assert written == b"RUN\x15RUN\x15"


def test_a_right_echo_is_no_sign_of_deafness() -> None:
    """A board whose word for a full memory begins with "?" also echoes a "?" that was typed."""
    pacing = Pacing(prompt=b"> ", line_cancel=b"\x15", erase=b"\x08", line_s=0.01, full_sign=b"?OM")
    core = Typed(b"?1", pacing, attempts=4)
    now, received = 0.0, b""
    while not core.done:
        step = core.step(now, received)
        received = b"?X" if step.write == b"?1" else b"\r\n> " if step.write == b"\x15" else b""
        now = max(now + 0.01, step.wake or 0.0) if not received else now + 0.01
    assert core.outcome is Outcome.UNTYPED
    assert core.repairs == 4


@pytest.mark.parametrize(
    ("rejected_at", "outcome", "room", "cut_at"),
    [
        ((0, 0), Outcome.DEAF, 0, 0),
        ((4, 4), Outcome.CROWDED, 4, 0),
        ((4, 5) * 6, Outcome.UNTYPED, 0, 0),
        ((22,) * 12, Outcome.UNTYPED, 0, 22),
    ],
)
def test_a_character_that_is_rejected_twice_at_one_place_shows_how_much_room_there_is(
    rejected_at: tuple[int, ...], outcome: Outcome, room: int, cut_at: int
) -> None:
    """None at the first character; never at one place and then another, as damage does; and none
    where a board's longest line may end, for the answer there is the same.
    """
    pacing = Pacing(prompt=b"> ", line_cancel=b"\x15", line_s=0.01, full_sign=b"\b")
    text = b'10 PRINT "0123456789ABCDEF"'
    core = Typed(text, pacing)
    now, received, attempt = 0.0, b"", 0
    while not core.done:
        step = core.step(now, received)
        received = b""
        if step.write == text:
            taken = rejected_at[attempt]
            attempt += 1
            received = text[:taken] + b"\b"
        elif step.write:
            received = b"\r\n> "
        now = max(now + 0.01, step.wake or 0.0) if not received else now + 0.01
    assert (core.outcome, core.room, core.cut_at) == (outcome, room, cut_at)
