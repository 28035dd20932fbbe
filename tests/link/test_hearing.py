"""What a board is doing, told from what it sent and how long it has been quiet."""

from __future__ import annotations

import dataclasses

import pytest

from hostlink.link.hearing import ASKS_AFTER_S, MAY_ASK_AFTER_S, Hearing
from hostlink.link.pacing import Pacing

PACING = Pacing(prompt=b"> ", line_s=0.01, latency_s=0.02)
QUIET_S = PACING.quiet_s


def heard(data: bytes, pacing: Pacing = PACING) -> Hearing:
    """A line went out at 10.0 s; this came at 12.0 s."""
    hearing = Hearing(pacing)
    hearing.begin(10.0)
    if data:
        hearing.take(12.0, data)
    return hearing


@pytest.mark.parametrize(
    ("data", "stray", "shown"),
    [
        (b"\r\nA\r\n> ", b"", True),
        (b"> ", b"", True),
        (b"\n\r> ", b"", True),
        (b"\r\nA> ", b"", False),
        (b"\r\n> 5", b"", False),
        (b"\r\n> 5", b"5", True),
        (b"\r\n> 55", b"5", False),
        (b"\r\n> 55", b"55", True),
        (b"\r\n>  5", b" 5", True),
        (b"\r\n> 6", b"5", False),
        (b"\r\n>", b"5", False),
    ],
)
def test_the_prompt_counts_at_the_start_of_a_row(data: bytes, stray: bytes, shown: bool) -> None:
    """When the line has been quiet; also behind it what a board has kept of an untaken answer."""
    assert heard(data).prompt_at(stray) == (pytest.approx(12.0 + QUIET_S) if shown else None)


def test_a_board_that_prompts_before_it_is_ready_is_given_its_time() -> None:
    """The guard of the profile, where that is longer than the quiet time."""
    pacing = dataclasses.replace(PACING, line_done="after-prompt", after_prompt_s=0.5)
    assert heard(b"\r\n> ", pacing).prompt_at() == pytest.approx(12.5)
    assert heard(b"\r\n> ", dataclasses.replace(PACING, after_prompt_s=0.5)).prompt_at() == (
        pytest.approx(12.0 + QUIET_S)
    )


@pytest.mark.parametrize(
    ("data", "echo", "done_at"),
    [
        (b"\r\nA\r\n", True, 13.0),
        (b"\r\nA", True, None),
        (b"", True, None),
        (b"", False, 11.0),
    ],
)
def test_a_board_without_a_prompt_is_done_when_its_last_row_has_ended(
    data: bytes, echo: bool, done_at: float | None
) -> None:
    """A second later; with echo not before its own line end was heard."""
    pacing = dataclasses.replace(PACING, prompt=b"", echo=echo)
    assert heard(data, pacing).prompt_at() == done_at


@pytest.mark.parametrize(
    ("data", "row", "plainly"),
    [
        (b"\r\n? ", b"? ", True),
        (b"\n\r?", b"?", True),
        (b"\r\nNAME:", b"NAME:", True),
        (b"\r\nNAME", b"NAME", False),
        (b"\r\nWHAT?\r\n", b"", False),
        (b"", b"", False),
    ],
)
def test_a_question_asks_sooner_than_silence(data: bytes, row: bytes, plainly: bool) -> None:
    """What looks like one is taken for one; any other silence may be work as well."""
    hearing = heard(data)
    assert (hearing.row, hearing.asks_plainly) == (row, plainly)
    since = 12.0 if data else 10.0
    assert hearing.asks_at == since + (ASKS_AFTER_S if plainly else MAY_ASK_AFTER_S)


@pytest.mark.parametrize(
    ("data", "damaged"),
    [(b"d", True), (b"?", False), (b"\n", False), (b"", False), (b"de", False), (b"\nd", False)],
)
def test_a_line_end_heard_as_a_character_is_known(data: bytes, damaged: bool) -> None:
    """One byte, and it ends no line: the echo of a line end that was damaged on its way."""
    assert heard(data).is_line_end_damaged is damaged


def test_only_the_end_is_kept() -> None:
    """A program that prints for hours fills no memory."""
    hearing = heard(b"A" * 100_000 + b"\r\n? ")
    assert hearing.row == b"? "
    assert len(hearing._kept) <= 1024
