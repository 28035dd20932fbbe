"""When to read again, when to stop: the rule that loads and saves share, case by case."""

from __future__ import annotations

import dataclasses

import pytest

from hostlink.board.dialogue.next_step import MOST_CAPTURES, MOST_READINGS, Case, Next, next_step

SETTLED = Case(readings=3, votes=3, needed=3)


def test_everything_in_order_is_done() -> None:
    """Enough votes, nothing in doubt."""
    assert next_step(SETTLED) is Next.DONE


@pytest.mark.parametrize(
    ("change", "most"),
    [
        ({"votes": 2}, MOST_READINGS),
        ({"fresh": False}, MOST_READINGS),
        ({"steady": False}, MOST_READINGS),
        ({"complete": False}, MOST_READINGS),
        ({"in_doubt": True}, MOST_CAPTURES),
        ({"in_doubt": True, "votes": 2}, MOST_READINGS),
        ({"in_doubt": True, "fresh": False}, MOST_READINGS),
        ({"in_doubt": True, "steady": False, "complete": False}, MOST_CAPTURES),
    ],
)
def test_each_thing_that_is_open_calls_for_another_reading(
    change: dict[str, object], most: int
) -> None:
    """Up to a limit of its own: lines that are in doubt in spite of enough votes are given up
    first."""
    case = dataclasses.replace(SETTLED, **change)  # type: ignore[arg-type]
    assert next_step(dataclasses.replace(case, readings=most - 1)) is Next.READ_AGAIN
    assert next_step(dataclasses.replace(case, readings=most)) is Next.GIVE_UP


def test_what_is_settled_late_is_done_all_the_same() -> None:
    """The limits are for what is open."""
    assert next_step(dataclasses.replace(SETTLED, readings=MOST_READINGS)) is Next.DONE
