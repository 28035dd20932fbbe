"""What a session knows of restarts of its board."""

from __future__ import annotations

import pytest
from scripted_board import ScriptedBoard

from hostlink.jobs.session.restarts import Restarts
from hostlink.link.attaching import Foresight
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire


def restarts(*, banner: bytes = b"", pulses: bool = True) -> tuple[Restarts, Wire]:
    """Return the knowledge of a freshly opened port, and its wire."""
    clock = VirtualClock()
    wire = Wire(ScriptedBoard(clock, lambda _: b""), clock, banner=banner)
    return Restarts(wire, Foresight(restarts=True, pulses=pulses, why="")), wire


def test_memory_is_lost_from_a_restart_until_a_load_is_proven() -> None:
    """A restart by the opening and one later both count; a later one counts anew."""
    known, wire = restarts()
    known.attached(at_opening=True)
    assert known.memory_is_lost
    known.settle()
    assert not known.memory_is_lost
    wire.health.restarts += 1
    assert known.memory_is_lost
    known.settle()
    assert not known.memory_is_lost


@pytest.mark.parametrize(
    ("banner", "silent_start", "pulses", "at_opening", "expected"),
    [
        (b"READY", False, True, True, True),
        (b"READY", False, True, False, False),
        (b"", True, True, False, False),
        (b"", False, True, False, None),  # it may have restarted unnoticed
        (b"READY", False, False, False, None),  # nothing pulled its restart line
    ],
)
def test_what_an_opening_teaches(
    banner: bytes, silent_start: bool, pulses: bool, at_opening: bool, expected: bool | None
) -> None:
    """A restart that was heard is one; none counts only where one would have been noticed."""
    known, _ = restarts(banner=banner, pulses=pulses)
    assert known.on_opening is None  # the prompt has not been found yet
    known.silent_start = silent_start
    known.attached(at_opening=at_opening)
    assert known.on_opening is expected


def test_the_lesson_of_an_opening_is_given_once() -> None:
    """Again where it could not be noted; never after a job has restarted the board itself."""
    known, _ = restarts(banner=b"READY")
    assert known.take_lesson() is None
    known.attached(at_opening=True)
    assert known.take_lesson() is True
    assert known.take_lesson() is None
    known.return_lesson()
    assert known.take_lesson() is True
    caused, _ = restarts(banner=b"READY")
    caused.caused()
    caused.attached(at_opening=False)
    assert caused.take_lesson() is None


def test_a_job_may_report_the_restarts_so_far_itself() -> None:
    """Then they are no news after it."""
    known, wire = restarts()
    wire.health.restarts = 2
    assert known.told == 0
    known.tell_all()
    assert known.told == known.seen == 2


@pytest.mark.parametrize(
    ("silent_start", "at_opening", "is_empty", "expected"),
    [
        (False, False, True, True),
        (True, False, True, False),  # silent for as long as a start takes: it was not starting
        (False, True, True, False),  # told at the opening
        (False, False, False, False),
    ],
)
def test_an_empty_memory_may_have_been_emptied_by_an_opening_that_was_not_recognised(
    silent_start: bool, at_opening: bool, is_empty: bool, expected: bool
) -> None:
    """Something came that was not the banner. Told once; not after a restart on purpose."""
    known, _ = restarts(banner=b"READY")
    known.silent_start = silent_start
    known.attached(at_opening=at_opening)
    assert known.memory_read(is_empty=is_empty) is expected
    assert not known.memory_read(is_empty=True)
    caused, _ = restarts(banner=b"READY")
    caused.attached(at_opening=False)
    caused.caused()
    assert not caused.memory_read(is_empty=True)
