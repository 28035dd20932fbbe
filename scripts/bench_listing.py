"""The listing workshop: deep review, shrink at its strongest, renumber, and check codes.

A fixed listing of 999 bytes for the practice board, with texts, remarks, loops, calls and jumps, so
that every step has something to do; and the same kind of lines 1,000 and 10,000 times, to see that
time grows in step with the listing. Times are of this process alone (CPU time), each the median of
several runs, parsing included, so that other programs on the machine do not decide. The two long
listings are run in turn, the small one ten times as often: what slows the machine for a while, or a
round of Python's garbage collector, then falls on both.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace

from bench_report import Row, Section, Target

from hostlink.board.profile.file import find_profile
from hostlink.listing import Listing, Rules, measure, review
from hostlink.listing.checkcodes import codes_of
from hostlink.listing.renumber import renumber
from hostlink.listing.shrinking.shrink import shrink

RUNS = 21
FEW_RUNS = 5
FULL = 999  # bytes
LIMIT_MS = 10.0
SMALL, LARGE = 1_000, 10_000  # lines
GROWTH = 2.0  # a line of the large listing may take so many times a line of the small one

ROWS = (
    "REM ROUND {k}: THE HARBOUR LAMP",
    "LET A = {k} + A",
    'PRINT "LAMP" ; A ; " ON"',
    "IF A > {k} THEN GOTO {jump}",
    "GOSUB {call}",
    "FOR I = 1 TO 3",
    "PRINT I",
    "NEXT I",
)
CALLED = ("REM SUBROUTINE", "LET B = B + 1", "RETURN")


def a_listing(lines: int) -> str:
    """A listing of about so many lines; every jump goes to a line that is there."""
    main = max(1, lines - len(CALLED) - 1)
    call = 10 * (main + 2)
    rows = [
        f"{10 * at} " + ROWS[(at - 1) % len(ROWS)].format(k=at, jump=10 * (at + 1), call=call)
        for at in range(1, main + 1)
    ]
    rows.append(f"{10 * (main + 1)} END")
    rows += [f"{call + 10 * at} {row}" for at, row in enumerate(CALLED)]
    return "".join(row + "\n" for row in rows)


def full_listing(rules: Rules) -> str:
    """The longest of these listings that takes no more than 999 bytes."""
    lines = len(ROWS)
    while measure(Listing.from_text(a_listing(lines + 1)), rules).total <= FULL:
        lines += 1
    return a_listing(lines)


def works(rules: Rules) -> dict[str, Callable[[str], object]]:
    """What is timed: from text to outcome."""
    return {
        "review": lambda text: review(Listing.from_text(text), rules, deep=True),
        "shrink": lambda text: shrink(Listing.from_text(text), rules),
        "renumber": lambda text: renumber(Listing.from_text(text), rules, start=1, step=1),
        "check codes": lambda text: codes_of(Listing.from_text(text), rules),
    }


def cpu_seconds(work: Callable[[str], object], text: str, runs: int) -> float:
    """The median CPU seconds of some runs, after one that warms up."""
    work(text)
    times: list[float] = []
    for _ in range(runs):
        began = time.process_time()
        work(text)
        times.append(time.process_time() - began)
    return statistics.median(times)


def cpu_seconds_in_turn(
    work: Callable[[str], object], small: str, large: str, runs: int
) -> tuple[float, float]:
    """The median CPU seconds of a small listing and of a large one; see the top."""
    pairs = [
        (cpu_seconds(work, small, LARGE // SMALL), cpu_seconds(work, large, 1)) for _ in range(runs)
    ]
    return statistics.median(one for one, _ in pairs), statistics.median(two for _, two in pairs)


def run(runs: int = RUNS, few: int = FEW_RUNS) -> Section:
    """Time each work on the three listings."""
    board = find_profile("practice").rules
    # Far more lines than a board holds: only the numbers and the memory are let grow for that.
    form = replace(board.form, last_line=10 * (LARGE + 10))
    rules = replace(board, form=form, storage=replace(board.storage, program_bytes=0))
    full = full_listing(board)
    size = measure(Listing.from_text(full), board).total
    small, large = a_listing(SMALL), a_listing(LARGE)
    measured: dict[str, tuple[float, float, float]] = {}
    for (name, exact), grown in zip(works(board).items(), works(rules).values(), strict=True):
        both = cpu_seconds_in_turn(grown, small, large, few)
        measured[name] = (cpu_seconds(exact, full, runs), *both)
    return section_of(measured, size)


def section_of(measured: dict[str, tuple[float, float, float]], size: int) -> Section:
    """The section from the seconds of each work on the full, the small and the large listing."""
    rows: list[Row] = []
    targets: list[Target] = []
    for name, (full, small, large) in measured.items():
        growth = (large / LARGE) / (small / SMALL)
        rows.append(
            {
                "work": name,
                "bytes": size,
                "full_ms": round(full * 1000, 3),
                f"{SMALL}_lines_ms": round(small * 1000, 1),
                f"{LARGE}_lines_ms": round(large * 1000, 1),
                "growth_a_line": round(growth, 2),
            }
        )
        targets.append(Target.at_most(f"{name} of {size} bytes, ms", full * 1000, LIMIT_MS))
        targets.append(Target.at_most(f"{name}, growth a line", round(growth, 2), GROWTH))
    notes = (f"CPU time, median of {RUNS} runs ({FEW_RUNS} for the long listings).", "")
    return Section("listing", rows, targets, notes)
