"""A board that stops its listing after a screenful is understood though no profile says so."""

from __future__ import annotations

import pytest
from basic_runs import drive

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.paging import page_prompt_in, with_paging
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.pacing import pacing_of
from hostlink.link.clock import VirtualClock
from hostlink.link.exchange import Exchange
from hostlink.link.wire import Wire
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

PROFILE = find_profile("practice")


def stopped(answer: bytes, *halts: bytes) -> Exchange:
    """An exchange that ended with an answer in which the board fell silent at halts."""
    core = Exchange(b"LIST", pacing_of(PROFILE))
    core.answer = answer
    core.halts = list(halts)
    return core


@pytest.mark.parametrize(
    ("answer", "halts", "shown"),
    [
        (b"10 REM\r\n-- more --\r\n20 REM\r\n+ ", (b"-- more --",), "-- more --"),
        (b"10 REM\r\nmore\r\n20 REM\r\nmore\r\n30 END\r\n+ ", (b"more", b"more"), "more"),
        (b"10 REM\r\n20 REM\r\n+ ", (b"",), ""),  # it stopped without a word
        (b"10 PRI\r\n20 END\r\n+ ", (b"10 PRI",), ""),  # a part of a line
        (b"10 REM\r\nREADY\r\n+ ", (b"READY",), ""),  # no line came behind it
        (b"10 REM\r\na\r\n20 REM\r\nb\r\n30 END\r\n", (b"a", b"b"), ""),  # two texts
        (b"10 REM\r\n\x1b[7m?\r\n20 END\r\n", (b"\x1b[7m?",), ""),  # no printable text
    ],
)
def test_what_a_listing_stops_with_is_told_from_what_is_a_line(
    answer: bytes, halts: tuple[bytes, ...], shown: str
) -> None:
    """Only a text that was shown each time, is no line and has lines behind it is taken."""
    assert page_prompt_in(stopped(answer, *halts)) == shown


def test_a_known_page_prompt_is_not_learnt_anew() -> None:
    """Nor is anything changed where the listing did not stop."""
    core = stopped(b"10 REM\r\nmore\r\n20 END\r\n+ ", b"more")
    paged = with_paging(PROFILE, core, clean=True)
    assert paged is not None
    assert (paged.talk.page_prompt, paged.talk.page_key) == ("more", b"\r")
    assert with_paging(paged, core, clean=True) is None
    assert with_paging(PROFILE, stopped(b"10 REM\r\n+ "), clean=True) is None


def test_what_damage_leaves_of_a_prompt_is_no_page() -> None:
    """A single character, or the prompt without its end; on a damaged wire one stop is none."""
    for shown in (b"+", b"+ ", b"o"):
        core = stopped(b"10 REM\r\n" + shown + b"\r\n20 END\r\n+ ", shown, shown)
        assert with_paging(PROFILE, core, clean=True) is None, shown
    answer = b"10 REM\r\nmore\r\n20 END\r\n+ "
    assert with_paging(PROFILE, stopped(answer, b"more"), clean=False) is None
    assert with_paging(PROFILE, stopped(answer, b"more", b"more"), clean=False) is not None


@pytest.mark.parametrize("page_lines", [5, 23])
@pytest.mark.parametrize("key", [b"\r", b" "])
def test_a_program_of_many_pages_is_captured_by_a_profile_that_knows_of_none(
    page_lines: int, key: bytes
) -> None:
    """Every line is read, none is taken for another, and the next reading does not stop; also
    where nothing but a blank turns the page."""
    machine = Machine(BoardSettings(page_lines=page_lines, page_key=key))
    for number in range(10, 500, 10):
        drive(machine.basic.enter(f'{number} PRINT "LINE {number}"'.encode()))
    clock = VirtualClock()
    wire = Wire(PracticePort(machine, clock, jump=clock.advance_to), clock)
    dialogue = Dialogue(wire, PROFILE)
    dialogue.attach()
    lines = dialogue.capture().lines
    assert sorted(lines) == list(range(10, 500, 10))
    assert dialogue.profile.talk.page_key == key
    before = clock.now()
    assert dialogue.read_listing().lines == lines
    assert clock.now() - before < 2
