"""Look for what the promises say cannot happen: `soak.py [--jobs N] [--kills N]`.

Bounded, and drawn by numbers; prints one table and its targets, or with --json one object: section,
rows, targets. Exit status 1 where a target does not hold. Without options a short form that takes
some 60 seconds. `--full` is 100,000 virtual jobs, 500 kills and 200,000 inputs of each kind, and
takes hours. `--sabotage` breaks one promise after the other and must find each (soak_saboteurs.py).
`--replay NUMBER` does one job again and shows all that was told, `--record FILE` the wire as well.
`--write FILE...` puts what runs printed with --json into the page of figures, added up.
Run it with the project's Python: `scripts/start.py --python scripts/soak.py`.
"""

from __future__ import annotations

import argparse
import dataclasses
import multiprocessing
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any
from unittest.mock import patch

import soak_archive
import soak_fuzz
import soak_jobs
import soak_page
import soak_random
import soak_sabotage
from bench_report import Row, Section
from soak_drawn import FAULTS
from soak_replay import replay
from soak_report import counted, job_rows, notes_of, other_row, targets_of
from soak_saboteurs import SABOTEURS

import hostlink

SHORT = {"jobs": 300, "kills": 20, "fuzz": 300}
FULL = {"jobs": 100_000, "kills": 500, "fuzz": 200_000}
CHUNK = 50
EACH_S = 60  # between two words of how far it is


def tell(what: str, words: Iterable[str]) -> None:
    """Say it on stderr at once: whoever waits for hours of this sees what was found so far."""
    for each in words:
        print(f"{what}: {each}", file=sys.stderr, flush=True)


def spread(
    what: str,
    work: Callable[..., Any],
    calls: Iterable[tuple[Any, ...]],
    workers: int,
    troubles: Callable[[Any], Iterable[str]],
) -> list[Any]:
    """Call in worker processes; results in order of the calls. They take new work as they end.

    What `troubles` finds in a result is told as it comes, and once a minute how far this is.
    """
    each = list(calls)
    if workers == 1:
        return list(followed(what, (work(*call) for call in each), len(each), troubles))
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        futures = [pool.submit(work, *call) for call in each]
        results = (future.result() for future in futures)
        return list(followed(what, results, len(each), troubles))


def followed(
    what: str, results: Iterable[Any], count: int, troubles: Callable[[Any], Iterable[str]]
) -> Iterable[Any]:
    """The results, with their troubles and a word each minute on stderr."""
    told = time.monotonic()
    for number, result in enumerate(results, 1):
        tell(what, troubles(result))
        if time.monotonic() > told + EACH_S:
            told = time.monotonic()
            tell(what, [f"{100 * number // count} % done"])
        yield result


def chunks(count: int, size: int, first: int = 0) -> list[tuple[int, int]]:
    """(first, how many) of each part."""
    return [(first + at, min(size, count - at)) for at in range(0, count, size)]


# --- all of it -----------------------------------------------------------------------------------


def run(jobs: int, kills: int, fuzz: int, workers: int, first: int = 0) -> Section:
    """Everything, the jobs from that number on. Each trouble is told on stderr as it is found."""
    parts = spread(
        "jobs", soak_jobs.run_jobs, chunks(jobs, CHUNK, first), workers,
        lambda part: [text for outcome in part if counted(outcome) for text in outcome.trouble],
    )  # fmt: skip
    outcomes = [outcome for part in parts for outcome in part]
    others, notes = other_trials(kills, fuzz, workers)
    rows = [*job_rows(outcomes), *others]
    return Section("soak", rows, targets_of(outcomes, others), (*notes_of(outcomes), *notes, ""))


def other_trials(kills: int, fuzz: int, workers: int) -> tuple[list[Row], list[str]]:
    """What is no virtual job: a killed process, refused writes, damaged inputs."""
    rows: list[Row] = []
    notes = ["kill -9, refused writes and two at once need a system that can fork."]
    if soak_archive.can_fork():
        found = {"kill -9": soak_archive.kills(kills), "two at once": soak_archive.two_at_once()}
        found.update(soak_archive.refusals(max(1, kills // 100)))
        for what, each in found.items():
            rows.append(other_row(what, each.trials, each.refused, each.troubles))
            tell(what, each.troubles)
        told = found["kill -9"].acknowledged
        notes = [f"kill -9: {told:,} revisions were acknowledged before a kill."]
    calls = []
    for kind in soak_fuzz.KINDS:
        count = fuzz // soak_fuzz.COSTLY.get(kind, 1)
        calls += [(kind, *part) for part in chunks(count, max(CHUNK, count // (4 * workers)))]
    fuzzed = spread("fuzzed", soak_fuzz.fuzz, calls, workers, lambda part: part.troubles)
    for kind in soak_fuzz.KINDS:
        parts = [part for call, part in zip(calls, fuzzed, strict=True) if call[0] == kind]
        bad = [trouble for part in parts for trouble in part.troubles]
        inputs, refused = (sum(getattr(p, name) for p in parts) for name in ("inputs", "refused"))
        rows.append(other_row(f"fuzzed {kind}", inputs, refused, bad))
    return rows, notes


def sabotage(most: int, workers: int, first: int = 0) -> Section:
    """Every saboteur under every fault, each hunted in so many jobs at the most; then nobody."""
    calls = soak_sabotage.calls(first, most)
    found = spread(
        "sabotage", soak_sabotage.hunt, calls, workers,
        lambda each: [] if each.found else [f"{each.saboteur}, {each.fault}: not found"],
    )  # fmt: skip
    calls = soak_sabotage.needed(found, first)
    found += spread(
        "nothing broken", soak_sabotage.unbroken, calls, workers,
        lambda each: each.found.splitlines(),
    )  # fmt: skip
    return soak_sabotage.section(found)


def parsed(arguments: Sequence[str] | None) -> argparse.Namespace:
    """The options. A number that is not given is None, or that of `--full`."""
    parser = argparse.ArgumentParser(prog="soak.py", description=(__doc__ or "").split("\n")[0])
    for name, about in (
        ("jobs", "virtual jobs of every kind; with --sabotage, those for each target"),
        ("kills", "kills of a working process"),
        ("fuzz", "damaged inputs for each reader"),
    ):
        parser.add_argument(
            f"--{name}", type=int, metavar="N", help=f"{about} (default: {SHORT[name]})"
        )
    parser.add_argument(
        "--first", type=int, default=0, metavar="NUMBER", help="of the jobs, to go on from there"
    )
    parser.add_argument("--full", action="store_true", help="100,000, 500 and 200,000 of them")
    parser.add_argument(
        "--kinds", type=int, default=0, metavar="N", help="survey and use N random kinds instead"
    )
    parser.add_argument("--sabotage", action="store_true", help="break each promise; find it")
    parser.add_argument("--replay", type=int, metavar="NUMBER", help="do one job again, in words")
    parser.add_argument("--fault", choices=FAULTS, default="", help="of a job replayed")
    parser.add_argument("--saboteur", choices=list(SABOTEURS), default="", help="in it")
    parser.add_argument("--record", type=Path, metavar="FILE", help="the wire of a job replayed")
    parser.add_argument(
        "--write", type=Path, nargs="+", default=(), metavar="FILE", help="what --json printed"
    )
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, metavar="N")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    return parser.parse_args(arguments)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run it; 0 where every target holds, else 1."""
    options = parsed(arguments)
    # Jobs keep profiles of the boards they met: not among the user's own.
    with (
        tempfile.TemporaryDirectory(prefix="hostlink-soak-") as profiles,
        patch.dict(os.environ, HOSTLINK_PROFILES=profiles),
    ):
        return follow(options)


def follow(options: argparse.Namespace) -> int:
    """Do what the options ask for; status as `main`."""
    workers = max(1, options.workers)
    if options.replay is not None:
        return replay(options.replay, options.fault, options.saboteur, options.record)
    if options.write:
        soak_page.write(options.write)
        return 0
    about = {"version": hostlink.__version__, "first": options.first, "jobs": 0}
    if options.kinds:
        calls = [(number,) for number in range(options.first, options.first + options.kinds)]
        tried = spread("kinds", soak_random.try_kind, calls, workers, lambda each: each.unsaid)
        section = soak_random.section_of(tried)
    elif options.sabotage:
        most = soak_sabotage.MOST_JOBS if options.jobs is None else options.jobs
        section = sabotage(most, workers, options.first)
    else:
        usual = FULL if options.full else SHORT
        counts = [usual[name] if (n := getattr(options, name)) is None else n for name in usual]
        section = run(*counts, workers=workers, first=options.first)
        about["jobs"] = counts[0]
    section = dataclasses.replace(section, about=about)
    print(section.as_json() if options.json else section.as_text(), flush=True)
    return 0 if section.holds else 1


if __name__ == "__main__":
    sys.exit(main())
