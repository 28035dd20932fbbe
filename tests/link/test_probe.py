"""A probe sends once, listens until the line is quiet, and knows when each byte came."""

from __future__ import annotations

import pytest

from hostlink.link.probe import MOST_BYTES, Probe

BYTE_S = 0.01


def probe(out: bytes = b"A\r", *, quiet_s: float = 0.5, longest_s: float = 3.0) -> Probe:
    """A probe that has sent its bytes at second 10; they take 10 ms each."""
    made = Probe(out, BYTE_S, quiet_s=quiet_s, longest_s=longest_s)
    step = made.step(10.0, b"")
    assert step.write == out
    return made


def test_what_is_sent_goes_out_once_and_the_listening_begins_behind_it() -> None:
    """Two bytes take 20 ms; half a second of quiet after them ends it, without an answer."""
    made = Probe(b"A\r", BYTE_S, quiet_s=0.5, longest_s=3.0)
    step = made.step(10.0, b"")
    assert (step.write, step.wake) == (b"A\r", pytest.approx(10.52))
    assert made.step(10.51, b"").write == b""
    assert not made.done
    made.step(10.52, b"")
    assert (made.done, made.heard, made.overdue) == (True, b"", False)


def test_each_arrival_begins_the_quiet_anew() -> None:
    """The quiet counts from the last byte, and the next look is due at its end."""
    made = probe()
    assert made.step(10.4, b"A").wake == pytest.approx(10.9)
    assert made.step(10.8, b"\r\n").wake == pytest.approx(11.3)
    made.step(11.29, b"")
    assert not made.done
    made.step(11.3, b"")
    assert made.done
    assert made.heard == b"A\r\n"
    assert not made.overdue


def test_what_comes_while_it_still_sends_does_not_shorten_the_quiet() -> None:
    """Ten bytes take 0.1 s: an echo of the first is no reason to end earlier."""
    made = probe(b"0123456789")
    assert made.step(10.01, b"0").wake == pytest.approx(10.6)


def test_a_board_that_never_stops_is_overdue() -> None:
    """After the longest time it ends in the middle of what comes."""
    made = probe(longest_s=1.0)
    step = made.step(10.9, b"x")
    assert step.wake == pytest.approx(11.02)
    made.step(11.02, b"y")
    assert made.done
    assert made.overdue


def test_a_board_that_has_stopped_is_not_overdue() -> None:
    """Ended by quiet, before its time was over."""
    quiet = probe(quiet_s=0.1, longest_s=1.0)
    quiet.step(10.2, b"x")
    quiet.step(10.3, b"")
    assert (quiet.done, quiet.overdue) == (True, False)


def test_a_flood_is_cut_off() -> None:
    """No more is kept than that many bytes and what came with the last of them."""
    made = probe()
    made.step(10.1, b"x" * MOST_BYTES)
    assert not made.done
    made.step(10.1, b"x")
    assert (made.done, made.overdue) == (True, True)


def test_the_moment_of_each_byte_is_counted_from_the_sending() -> None:
    """A byte came with the piece that holds it; one that never came has no moment."""
    made = probe()
    made.step(10.25, b"ab")
    made.step(10.5, b"c")
    moments = [made.moment_of(place) for place in range(3)]
    assert moments == [pytest.approx(0.25), pytest.approx(0.25), pytest.approx(0.5)]
    with pytest.raises(IndexError):
        made.moment_of(3)
