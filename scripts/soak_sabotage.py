"""Whether the soak finds what it looks for: each saboteur under each fault of the wire.

The jobs are those of the soak, by their numbers, only that the fault is not drawn. A saboteur is
found by a job that shows the trouble which it is known by, where the very same job without it shows
none at all. Afterwards all jobs that were needed are done once more with nothing broken, and must
be silent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from bench_report import Row, Section, Target
from soak_drawn import FAULTS
from soak_durable import watched_syncs
from soak_jobs import VirtualJob, new_archive
from soak_making import whole
from soak_report import counted
from soak_saboteurs import SABOTEURS, sabotaged

from hostlink.archive import Archive

MOST_JOBS = 200  # in which each must be found


@dataclass(frozen=True, slots=True)
class Hunted:
    """How one saboteur, or nobody, fared under one fault. jobs: until it was found, or all that
    were tried. found: what it was found by, in words, "" where it was not; of nobody all of it."""

    saboteur: str
    fault: str
    jobs: int
    found: str = ""

    @property
    def target(self) -> Target:
        """Found within the jobs it may take, endless where it was not; nothing, of nobody."""
        if not self.saboteur:
            count = len(self.found.splitlines())
            return Target.at_most(f"troubles with nothing broken: {self.fault}", count, 0)
        needed = self.jobs if self.found else math.inf
        name = f"jobs until found: {self.saboteur}, {self.fault}"
        return Target.at_most(name, needed, MOST_JOBS)


def hunt(saboteur: str, fault: str, first: int = 0, most: int = MOST_JOBS) -> Hunted:
    """Run jobs with one promise broken until one shows it, `most` of them at the most."""
    shows = SABOTEURS[saboteur].shows
    with new_archive() as archive:
        for number in range(first, first + most):
            with sabotaged(saboteur):
                outcome = a_job(number, fault, archive).run()
            told = [text for text in outcome.trouble if f": {shows}" in text]
            if told and not outcome.beyond and not a_job_shows(number, fault):
                return Hunted(saboteur, fault, number - first + 1, told[0])
    return Hunted(saboteur, fault, most)


def a_job_shows(number: int, fault: str) -> list[str]:
    """What a job shows where no promise is broken, in words."""
    with new_archive() as archive:
        return a_job(number, fault, archive).run().trouble


def a_job(number: int, fault: str, archive: Archive) -> VirtualJob:
    """The soak's job of that number, under that fault."""
    return VirtualJob(number, archive, **whole(number, fault), syncs=watched_syncs())


def unbroken(fault: str, first: int, count: int) -> Hunted:
    """The same jobs with nothing broken; what they show anyway."""
    found: list[str] = []
    with new_archive() as archive:
        for number in range(first, first + count):
            outcome = a_job(number, fault, archive).run()
            found += outcome.trouble if counted(outcome) else []
    return Hunted("", fault, count, "\n".join(found))


def calls(first: int = 0, most: int = MOST_JOBS) -> list[tuple[str, str, int, int]]:
    """Every saboteur under every fault, for `hunt`."""
    return [(saboteur, fault, first, most) for saboteur in SABOTEURS for fault in FAULTS]


def needed(found: Sequence[Hunted], first: int) -> list[tuple[str, int, int]]:
    """For each fault the jobs that were needed to find every saboteur, for `unbroken`."""
    return [
        (fault, first, max(each.jobs for each in found if each.fault == fault)) for fault in FAULTS
    ]


def section(found: Sequence[Hunted]) -> Section:
    """One row and one target for each saboteur and fault, and for each fault with nobody."""
    rows: list[Row] = [
        {
            "saboteur": each.saboteur or "(nobody)",
            "promise": SABOTEURS[each.saboteur].promise if each.saboteur else None,
            "fault": each.fault,
            "jobs": each.jobs,
            "found": each.found,
        }
        for each in found
    ]
    notes = ["found: what a job showed; the same job without the saboteur showed nothing.", ""]
    return Section("sabotage", rows, [each.target for each in found], notes)
