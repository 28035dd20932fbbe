"""Look for what the promises say cannot happen: `soak.py [--jobs N] [--kills N]`.

Bounded and seeded; prints one table and its targets, or with --json one object: section, rows,
targets. Exit status 1 where a target does not hold. Without options a short form that takes some
30 seconds. `--full` is 100,000 virtual jobs, 500 kills and 200,000 inputs of each kind, and takes
hours. Run it with the project's Python: `scripts/start.py --python scripts/soak.py`.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import soak_archive
import soak_fuzz
import soak_jobs
from bench_report import Row, Section, Target
from soak_jobs import Outcome

SHORT = {"jobs": 300, "kills": 20, "fuzz": 300}
FULL = {"jobs": 100_000, "kills": 500, "fuzz": 200_000}
CHUNK = 50
EACH_S = 60  # between two words of how far it is
# Decision: at least so many of a hundred loads, saves and backups succeed at that much damage.
LEAST_DONE = {"damage 0.1%": 99, "damage 0.5%": 90, "damage 1.0%": 50}
ENOUGH = 100  # jobs, for a share to say anything


def most_undetected(expected: float) -> int:
    """The number of silent errors that chance exceeds once in a thousand runs (Poisson)."""
    term = total = math.exp(-expected)
    count = 0
    while total < 0.999:
        count += 1
        term *= expected / count
        total += term
    return count


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


# --- rows ----------------------------------------------------------------------------------------


def job_rows(outcomes: Sequence[Outcome]) -> list[Row]:
    """One row for each kind of fault, with the share of each kind of job that was done."""
    rows: list[Row] = []
    for fault in soak_jobs.FAULTS:
        some = [each for each in outcomes if each.fault == fault]
        done = {kind: share([each.done for each in some if each.kind == kind])
                for kind in soak_jobs.KINDS}  # fmt: skip
        rows.append(
            {
                "what": fault,
                "trials": len(some),
                **{f"{kind}_%": value for kind, value in done.items()},
                "refused": sum(1 for each in some if each.error),
                "silent": sum(1 for each in some if each.silent),
                "expected": round(sum(each.expected for each in some), 4),
                "lost": sum(1 for each in some if each.lost),
                "hangs": sum(1 for each in some if each.hang),
                "uncaught": sum(1 for each in some if each.uncaught),
            }
        )
    return rows


def share(held: Sequence[bool]) -> float | None:
    """Per cent, None of nothing."""
    return round(100 * sum(held) / len(held), 2) if held else None


def other_row(what: str, trials: int, refused: int, troubles: Sequence[str]) -> Row:
    """A row of a trial that is no virtual job; its troubles count as uncaught."""
    empty = {f"{kind}_%": None for kind in soak_jobs.KINDS}
    return {"what": what, "trials": trials, **empty, "refused": refused, "silent": 0,
            "expected": 0.0, "lost": 0, "hangs": 0, "uncaught": len(troubles)}  # fmt: skip


# --- all of it -----------------------------------------------------------------------------------


def run(jobs: int, kills: int, fuzz: int, workers: int, first: int = 0) -> Section:
    """Everything, the jobs from that seed on. Each trouble is told on stderr as it is found."""
    parts = spread(
        "jobs", soak_jobs.run_jobs, chunks(jobs, CHUNK, first), workers,
        lambda part: [trouble for outcome in part for trouble in outcome.trouble],
    )  # fmt: skip
    outcomes = [outcome for part in parts for outcome in part]
    rows = job_rows(outcomes)
    notes = [
        "Jobs by what was wrong with the board; _%: of a hundred, proven. The rest said why not.",
        "silent: called done and was not, beside what the voting rule lets through on average.",
    ]
    if soak_archive.can_fork():
        found = {"kill -9": soak_archive.kills(kills), "two at once": soak_archive.two_at_once()}
        found.update(soak_archive.refusals(max(1, kills // 100)))
        for what, each in found.items():
            rows.append(other_row(what, each.trials, each.refused, each.troubles))
            tell(what, each.troubles)
        told = found["kill -9"].acknowledged
        notes.append(f"kill -9: {told:,} revisions were acknowledged before a kill.")
    else:
        notes.append("kill -9, refused writes and two at once need a system that can fork.")
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
    return Section("soak", rows, targets_of(rows, outcomes), (*notes, ""))


def targets_of(rows: Sequence[Row], outcomes: Sequence[Outcome]) -> list[Target]:
    def total(name: str) -> float:
        return sum(float(value) for row in rows if isinstance(value := row[name], int | float))

    expected = sum(each.expected for each in outcomes)
    targets = [
        Target.at_most("silent errors", total("silent"), most_undetected(expected)),
        Target.at_most("lost programs", total("lost"), 0),
        Target.at_most("hangs", total("hangs"), 0),
        Target.at_most("uncaught errors, and losses of the archive", total("uncaught"), 0),
    ]
    counted: Counter[str] = Counter()
    done: Counter[str] = Counter()
    for each in outcomes:
        if each.kind != "firmware":
            counted[each.fault] += 1
            done[each.fault] += each.done
    for fault, least in LEAST_DONE.items():
        if counted[fault] >= ENOUGH:
            value = round(100 * done[fault] / counted[fault], 2)
            targets.append(Target.at_least(f"% of jobs done, {fault}", value, least))
    return targets


def main(arguments: Sequence[str] | None = None) -> int:
    """Run it; 0 where every target holds, else 1."""
    parser = argparse.ArgumentParser(prog="soak.py", description=(__doc__ or "").split("\n")[0])
    for name, about in (
        ("jobs", "virtual loads, saves, backups and firmware writes"),
        ("kills", "kills of a working process"),
        ("fuzz", "damaged inputs for each reader"),
    ):
        parser.add_argument(
            f"--{name}", type=int, metavar="N", help=f"{about} (default: {SHORT[name]})"
        )
    parser.add_argument(
        "--first", type=int, default=0, metavar="SEED", help="of the jobs, to go on from there"
    )
    parser.add_argument("--full", action="store_true", help="100,000, 500 and 200,000 of them")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1, metavar="N")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    options = parser.parse_args(arguments)
    usual = FULL if options.full else SHORT
    counts = [usual[name] if (n := getattr(options, name)) is None else n for name in usual]
    section = run(*counts, workers=max(1, options.workers), first=options.first)
    print(section.as_json() if options.json else section.as_text(), flush=True)
    return 0 if section.holds else 1


if __name__ == "__main__":
    sys.exit(main())
