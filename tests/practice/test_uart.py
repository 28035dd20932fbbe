"""The serial line as a chip sees it: byte times, and what the wrong speed makes of bytes."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.practice.uart import byte_time, heard_at_other_speed, speeds_match

SPEEDS = [300, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200]


def test_a_byte_takes_ten_bit_times() -> None:
    """8N1 at 9600 baud: 1.0417 ms (CHECK: 10 bits / 9600)."""
    assert byte_time(9600) == pytest.approx(0.0010417, abs=1e-7)
    assert byte_time(300) == pytest.approx(1 / 30)


@pytest.mark.parametrize(
    ("sent", "heard", "clear"),
    [
        (9600, 9600, True),
        (115200, 117647, True),  # what a 16 MHz chip makes of 115200: 2.1 % fast
        (115200, 111111, True),  # and with the coarser divider 3.5 % slow
        (230400, 250000, False),  # 8.5 %
        (9600, 19200, False),
        (57600, 38400, False),
    ],
)
def test_speeds_are_understood_within_the_receivers_tolerance(
    sent: int, heard: int, clear: bool
) -> None:
    """Beyond about 4.5 % the last data bit is misread.

    Errors of 16 MHz: ATmega328P data sheet 8271H, table 20-1 (formula); tolerance: DS40002061A
    table 20-2, +4.58 / -4.64 % in all for eight data bits.
    """
    assert speeds_match(sent, heard) is clear


@settings(deadline=None, derandomize=True)
@given(data=st.binary(max_size=40), baud=st.sampled_from(SPEEDS))
def test_at_the_right_speed_every_byte_is_heard_as_sent(data: bytes, baud: int) -> None:
    """Sampling the same speed in the middle of each bit gives back exactly what was sent."""
    assert bytes(byte for _, byte in heard_at_other_speed(data, baud, baud)) == data


@settings(deadline=None, derandomize=True)
@given(data=st.binary(max_size=20), sent=st.sampled_from(SPEEDS), heard=st.sampled_from(SPEEDS))
def test_what_is_misheard_is_bytes_in_order_of_time(data: bytes, sent: int, heard: int) -> None:
    """At any pair of speeds: whole bytes, later and later, and none long after the end."""
    moments = list(heard_at_other_speed(data, sent, heard))
    assert all(0 <= byte <= 255 for _, byte in moments)
    assert [at for at, _ in moments] == sorted(at for at, _ in moments)
    if moments:
        assert moments[-1][0] <= len(data) * byte_time(sent) + byte_time(heard)


def test_a_slow_byte_is_several_fast_ones() -> None:
    """A byte at 9600 is heard at 57600 once for each falling edge that is not within a byte."""
    # U is 0x55: every bit differs from its neighbour, so there are five falling edges.
    assert len(list(heard_at_other_speed(b"U", 9600, 57600))) == 5
    # A zero byte is nine low bits in one: one falling edge, read as zero.
    assert [byte for _, byte in heard_at_other_speed(b"\x00", 9600, 57600)] == [0]


def test_fast_bytes_are_fewer_slow_ones() -> None:
    """A run at 57600 is over before a receiver at 9600 has read many of them."""
    heard = list(heard_at_other_speed(b"HELLO WORLD", 57600, 9600))
    assert 1 <= len(heard) <= 2
