"""Waits follow from what is known of a board, each by the rule that its docstring gives."""

from __future__ import annotations

import pytest

from hostlink.link.pacing import Pacing

FAST = Pacing(baud=1_000_000, line_s=0.0, latency_s=0.0)


@pytest.mark.parametrize(
    ("pacing", "quiet_s"),
    [
        (Pacing(baud=9600, line_s=0.05, latency_s=0.02), 0.15),  # three line times
        (Pacing(baud=9600, line_s=0.0, latency_s=0.02), 0.04),  # twice the bridge's latency
        (Pacing(baud=300, line_s=0.0, latency_s=0.02), 4 * 10 / 300),  # four byte times
        (FAST, 0.03),  # never less, however fast everything is
    ],
    ids=["line", "latency", "bytes", "least"],
)
def test_the_line_must_be_still_for_the_longest_of_four_times(
    pacing: Pacing, quiet_s: float
) -> None:
    """Three line times, twice the latency, four byte times, 30 ms."""
    assert pacing.quiet_s == pytest.approx(quiet_s)


@pytest.mark.parametrize(
    ("pacing", "patience_s"),
    [
        (FAST, 0.03 + 40 * 10 / 1_000_000 + 0.4),
        (Pacing(baud=1_000_000, line_s=0.5, latency_s=0.0), 1.5 + 1.0 + 0.0004 + 0.4),
        (Pacing(baud=1_000_000, line_s=0.0, latency_s=0.0, char_s=0.01), 0.03 + 0.4004 + 0.4),
    ],
    ids=["fast", "slow lines", "slow characters"],
)
def test_patience_is_longer_than_the_quiet_by_what_the_board_may_need(
    pacing: Pacing, patience_s: float
) -> None:
    """Two line times, forty characters at the board's speed, and 0.4 s."""
    assert pacing.patience_s == pytest.approx(patience_s)


@pytest.mark.parametrize(
    ("pacing", "gap_s"),
    [
        (Pacing(baud=9600, char_s=0.001), 0.0),  # faster than the wire
        (Pacing(baud=9600, char_s=0.01), 0.011),  # nothing bounds what is under way
        (Pacing(baud=9600, char_s=0.01, echo=True, line_window=8), 0.01),
        (Pacing(baud=9600, char_s=0.01, echo=False, line_window=8), 0.011),
    ],
)
def test_characters_are_held_apart_only_where_the_board_is_slower_than_the_wire(
    pacing: Pacing, gap_s: float
) -> None:
    """Without an echo that bounds them a tenth more, since a byte just in time may be lost."""
    assert pacing.char_gap_s == pytest.approx(gap_s)


@pytest.mark.parametrize(
    ("pacing", "confirms"),
    [
        (Pacing(prompt=b"> "), True),
        (Pacing(prompt=b"", echo=True, line_done="echo"), True),
        (Pacing(prompt=b"", echo=True, line_done="after-prompt"), True),
        (Pacing(prompt=b"", echo=True, line_done="prompt"), False),
        (Pacing(prompt=b"", echo=False, line_done="echo"), False),
    ],
)
def test_a_board_confirms_by_its_prompt_or_by_an_echo_behind_the_storing(
    pacing: Pacing, confirms: bool
) -> None:
    """Without either nothing says that a line is stored."""
    assert pacing.confirms is confirms
