"""The soak on the page of figures: what several runs of `soak.py --json` found, added up."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from bench_page import PAGE, put
from soak_drawn import FAULTS

MARKS = "<!-- soak: made by scripts/soak.py --write -->", "<!-- end of soak -->"
OTHER = ("untrue", "hangs", "quiet", "uncaught")
HEADS = "| what | trials | ended in words | silent | expected silent | lost | other troubles |"

Run = Mapping[str, Any]


def write(files: Sequence[Path], page: Path = PAGE) -> None:
    """Put the table of these runs, one JSON object in each file, between the marks of the page."""
    put(table([json.loads(file.read_text(encoding="utf-8")) for file in files]), page, MARKS)


def table(runs: Sequence[Run]) -> str:
    """Each kind of trial in a row, in Markdown, below the versions and the numbers of the jobs."""
    versions = sorted({run["version"] for run in runs})
    sums: dict[str, Counter[str]] = {}
    for run in runs:
        for what, row in counted_rows(run):
            sums.setdefault(what, Counter()).update(row)
    lines = [f"hostlink {', '.join(versions)}; jobs {', '.join(numbers(runs)) or 'none'}.", ""]
    lines += [HEADS, "|---|" + "---:|" * (HEADS.count("|") - 2)]
    for what, row in sums.items():
        other = sum(row[name] for name in OTHER)
        lines.append(
            f"| {what} | {row['trials']:,} | {row['refused']:,} | {row['silent']:,} "
            f"| {row['expected']:.3f} | {row['lost']:,} | {other:,} |"
        )
    return "\n".join(lines) + "\n"


def counted_rows(run: Run) -> Iterator[tuple[str, dict[str, float]]]:
    """Yield what was tried and its figures. Each virtual job stands in two rows and counts once."""
    for row in run["rows"]:
        if run["section"] == "sabotage":
            found = row["found"]
            if row["saboteur"] == "(nobody)":
                yield "saboteurs' jobs, nothing broken", _of(row["jobs"], len(found.splitlines()))
            else:
                yield "saboteurs, each under each fault", _of(1, int(not found))
        elif row["trials"] and not row["what"].startswith("on: "):
            what = f"jobs, {row['what']}" if row["what"] in FAULTS else row["what"]
            yield what, {name: each for name, each in row.items() if isinstance(each, int | float)}


def _of(trials: int, troubles: int) -> dict[str, float]:
    return {"trials": trials, "uncaught": troubles}


def numbers(runs: Iterable[Run]) -> Iterator[str]:
    """Yield the ranges of jobs that were done, in order; those that touch are one."""
    ends: list[list[int]] = []
    for first, count in sorted((run["first"], run["jobs"]) for run in runs if run["jobs"]):
        if ends and first <= ends[-1][1]:
            ends[-1][1] = max(ends[-1][1], first + count)
        else:
            ends.append([first, first + count])
    return (f"{first:,} to {end - 1:,}" for first, end in ends)
