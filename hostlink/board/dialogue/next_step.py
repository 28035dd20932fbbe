"""Decide what to do after one more reading of a program: the rule that loads and saves share."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

MOST_CAPTURES = 24  # readings after which lines in doubt are given up
MOST_READINGS = 3 * MOST_CAPTURES  # in all, also where questions went wrong


class Next(Enum):
    """What to do next."""

    READ_AGAIN = "read again"
    DONE = "done"
    GIVE_UP = "give up"


@dataclass(frozen=True, slots=True)
class Case:
    """What is known after a reading.

    readings: taken in all. votes: readings that tell anything about the program. needed: votes
    required. in_doubt: a line is not settled. fresh: enough readings came after the last question
    that may have been stored as a line. steady: the last reading does not suggest that the question
    changed the board. complete: no unexplained row may hide a line.
    """

    readings: int
    votes: int
    needed: int
    in_doubt: bool = False
    fresh: bool = True
    steady: bool = True
    complete: bool = True


def next_step(case: Case) -> Next:
    """Decide between reading again, the result and giving up.

    Lines in doubt are given up after MOST_CAPTURES readings, everything else after MOST_READINGS.
    """
    enough = case.votes >= case.needed and case.fresh
    if enough and case.steady and case.complete and not case.in_doubt:
        return Next.DONE
    most = MOST_CAPTURES if enough and case.in_doubt else MOST_READINGS
    return Next.GIVE_UP if case.readings >= most else Next.READ_AGAIN
