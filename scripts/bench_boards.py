"""Twelve boards loaded at the same time against one, on the wall clock.

Practice boards in real time at 57600 baud, each with its owner thread, all over one archive. The
listing is the fixed one of the link section. What is timed is the whole task: ports opened, what
the boards hold captured, the listing sent and read back. ROUNDS rounds are run in turn, one board
and then twelve; the medians count, since other programs share the processor.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from pathlib import Path

from bench_link import LISTING
from bench_report import Row, Section, Target

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.jobs.listing_source import read_file
from hostlink.jobs.loading import LoadOptions
from hostlink.jobs.many import Result, load_on_each
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.link.opening import PRACTICE_FOLDER_VARIABLE

ROUNDS = 3
BOARDS = 12
BAUD = 57600
LIMIT = 1.2


def timed(boards: int, archive: Archive) -> float:
    """Wall seconds to load that many boards at once. Raises RuntimeError where one fails."""
    profile = find_profile("practice")
    choices = [
        LinkChoice(f"practice://bench-{number}?fresh&baud={BAUD}", profile, BAUD)
        for number in range(boards)
    ]
    material = read_file(LISTING)
    began = time.perf_counter()
    results = load_on_each(choices, archive, material, LoadOptions(), lambda *_: None)
    seconds = time.perf_counter() - began
    _check(results)
    return seconds


def _check(results: list[Result]) -> None:
    for result in results:
        if result.error is not None or result.value is None:
            raise RuntimeError(f"{result.board} was not loaded: {result.error}")


def run(rounds: int = ROUNDS, boards: int = BOARDS) -> Section:
    """Load one board and then all of them, round after round."""
    with tempfile.TemporaryDirectory(prefix="hostlink-bench-") as name:
        folder = Path(name)
        before = os.environ.get(PRACTICE_FOLDER_VARIABLE)
        os.environ[PRACTICE_FOLDER_VARIABLE] = str(folder / "practice")
        try:
            with Archive.open(folder / "archive.sqlite") as archive:
                timed(1, archive)  # what is imported or made only once is not timed
                times = [(timed(1, archive), timed(boards, archive)) for _ in range(rounds)]
        finally:
            if before is None:
                del os.environ[PRACTICE_FOLDER_VARIABLE]
            else:
                os.environ[PRACTICE_FOLDER_VARIABLE] = before
    return section_of([one for one, _ in times], [all_ for _, all_ in times], boards)


def section_of(one: list[float], every: list[float], boards: int) -> Section:
    """The section from wall seconds by round."""
    rows: list[Row] = [
        {
            "round": number,
            "one_board_s": round(alone, 3),
            f"{boards}_boards_s": round(together, 3),
            "ratio": round(together / alone, 3),
        }
        for number, (alone, together) in enumerate(zip(one, every, strict=True), 1)
    ]
    ratio = round(statistics.median(every) / statistics.median(one), 3)
    target = Target.at_most(f"{boards} boards, times one board", ratio, LIMIT)
    notes = (f"Real time, {BAUD} baud, {len(one)} rounds; the medians count.", "")
    return Section("boards", rows, [target], notes)
