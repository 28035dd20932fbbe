"""One time limit for a whole job, and a word on what it is waiting for."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from scripted_board import PROMPT, ScriptedBoard

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Captured, Phase, Waiting
from hostlink.board.profile.file import find_profile
from hostlink.errors import LinkError, LinkReason
from hostlink.jobs.events import Event
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.patience import Patience, time_limit_s
from hostlink.jobs.stored_programs import put_into_memory
from hostlink.link.clock import VirtualClock
from hostlink.listing import Listing

TINY = find_profile("tiny")


def test_the_limit_is_that_of_a_slow_line() -> None:
    """Five minutes, and sixty listings of a full memory: 999 bytes take 1.04 s at 9600 baud."""
    talk = dataclasses.replace(TINY.talk, baud=300)
    slow = dataclasses.replace(TINY, talk=talk)
    assert time_limit_s(TINY) == pytest.approx(300 + 60 * 999 * 10 / 9600)
    assert time_limit_s(slow) == pytest.approx(300 + 60 * 999 * 10 / 300)


def watched(patience: Patience, seconds: int) -> None:
    """Let so many seconds pass, looked at each second."""
    for now in range(seconds):
        patience.watch(float(now))


def test_what_is_waited_for_is_told_within_a_minute() -> None:
    """And again, and again; with how long it has been and how long it may be."""
    told: list[Any] = []
    patience = Patience(told.append)
    with patience.limited(600.0, lambda: 0.0):
        patience.emit(Phase("Reading back"))
        watched(patience, 100)
    waits = [event for event in told if isinstance(event, Waiting)]
    assert [event.seconds for event in waits] == [45.0, 90.0]
    assert "Reading back" in waits[0].text
    assert "9 minutes at most" in waits[0].text


def test_reading_the_same_again_is_no_progress() -> None:
    """A reading more does not put the word off."""
    told: list[Any] = []
    patience = Patience(told.append)
    with patience.limited(600.0, lambda: 0.0):
        for now in range(60):
            patience.emit(Captured(now + 1, 3))
            patience.watch(float(now))
    assert [event.seconds for event in told if isinstance(event, Waiting)] == [45.0]


def test_a_wait_is_told_as_often_as_wanted_and_its_limit_in_fitting_units() -> None:
    """Seconds where it is near, nothing where it is hours away."""
    for limit_s, left in ((20.0, " Giving up in 15 s at most."), (9000.0, "")):
        told: list[Any] = []
        patience = Patience(told.append)
        with patience.limited(limit_s, lambda: 0.0, tell_every_s=4.0):
            patience.emit(Phase("Listening"))
            for now in (1.0, 3.0, 5.0):
                patience.watch(now)
        assert [each.text for each in told if isinstance(each, Waiting)] == [
            f"Still at it after 4 s: Listening.{left}"
        ]


def test_a_part_that_says_its_longest_time_gets_it() -> None:
    """From where it begins; one that is shorter than the limit changes nothing."""
    patience = Patience(lambda _: None)
    with patience.limited(10.0, lambda: 0.0):
        patience.emit(Phase("Asking", 2.0))
        patience.watch(1.0)
        patience.emit(Phase("Listening", 30.0))
        patience.watch(9.0)
        patience.watch(38.0)
        with pytest.raises(LinkError, match="Listening"):
            patience.watch(39.5)


def test_a_job_within_a_job_has_the_time_of_the_outer_one() -> None:
    """Limits never add up; after the outer one there is none."""
    patience = Patience(lambda _: None)
    with patience.limited(10.0, lambda: 0.0), patience.limited(900.0, lambda: 5.0):
        patience.watch(10.0)
        with pytest.raises(LinkError) as caught:
            patience.watch(10.5)
        assert caught.value.reason is LinkReason.TOO_LONG
        patience.watch(60.0)  # a minute is left to leave the board in order
        with pytest.raises(LinkError):
            patience.watch(80.0)
    patience.watch(1000.0)


def test_a_part_with_a_shorter_limit_ends_by_that_one() -> None:
    """After it the time of the outer one goes on, and a minute that one of them left stays."""
    patience = Patience(lambda _: None)
    with patience.limited(900.0, lambda: 0.0):
        with pytest.raises(LinkError, match="after 10 s"), patience.limited(10.0, lambda: 5.0):
            patience.watch(15.5)
        patience.watch(899.0)
        with (
            pytest.raises(LinkError, match="after 15 minutes"),
            patience.limited(9.0, lambda: 895.0),
        ):
            patience.watch(901.0)
        patience.watch(960.0)


def test_how_much_time_is_left_is_told_where_it_is_known() -> None:
    """Seconds of the job, and not the limit at which it would be given up; then that it is late."""
    told: list[Event] = []
    patience = Patience(told.append)
    with patience.limited(9000.0, lambda: 0.0):
        patience.emit(Phase("Measuring", about_s=100.0))
        for now in (1.0, 50.0, 130.0):
            patience.watch(now)
    waits = [each.text for each in told if isinstance(each, Waiting)]
    assert waits == [
        "Still at it after 49 s: Measuring. About 51 s are left.",
        "Still at it after 129 s: Measuring. That is longer than usual.",
    ]
    assert told[0] == Phase("Measuring", about_s=100.0)
    assert Phase("Measuring", about_s=99.5).words == "Measuring, about 100 s"


def test_a_program_is_put_back_in_the_time_of_one_program(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also in a job on ten of them."""
    clock = VirtualClock()
    board = ScriptedBoard(clock, lambda line: [(1.0, PROMPT)] if line[0].isdigit() else PROMPT)
    monkeypatch.setattr("hostlink.jobs.session.opening.open_port", lambda *_: (board, clock))
    choice = LinkChoice("socket://slow:4000", TINY)
    with (
        open_session(choice, lambda _: None, archive=archive) as session,
        session.patience.limited(10 * time_limit_s(TINY), clock.now),
    ):
        session.attach()
        listing = Listing.from_text("".join(f"{number} REM\n" for number in range(1, 500)))
        with pytest.raises(LinkError, match="was given up after 6 minutes"):
            put_into_memory(session, listing.numbered())
    assert clock.now() < time_limit_s(TINY) + 60


def test_a_board_that_prompts_before_it_lists_ends_in_bounded_time(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It listed thousands of times in twenty-five minutes; now it is given up, and nothing is
    kept."""
    clock = VirtualClock()
    count = 0

    def late(line: str) -> Any:
        nonlocal count
        count += 1
        row = f"10 PRINT {count}\r\n".encode()
        return [(0.0, PROMPT), (1.5, row)] if line == "LIST" else PROMPT

    board = ScriptedBoard(clock, late)
    monkeypatch.setattr("hostlink.jobs.session.opening.open_port", lambda *_: (board, clock))
    with (
        open_session(
            LinkChoice("socket://late:4000", TINY), lambda _: None, archive=archive
        ) as session,
        pytest.raises(Exception, match=r"not known|do not agree|given up"),
    ):
        save(session, archive, SaveOptions("LATE"))
    assert clock.now() < 600
    assert board.typed.count("LIST") < 100
    assert archive.programs() == []
