"""The page of figures: what the sections measured, of which version, on which machine.

A figure says something of the version that it was measured on. `too_old` tells where the code is a
later one; a test asks it.
"""

from __future__ import annotations

import os
import platform
import re
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from bench_report import Section

import hostlink

PAGE = Path(__file__).resolve().with_name("pictures") / "figures.md"
MARKS = BEGIN, END = "<!-- figures: made by scripts/bench.py --write -->", "<!-- end of figures -->"


def machine(today: date) -> str:
    """What was measured and where, in one line: version, processor, memory, system, Python, day."""
    words = [f"hostlink {hostlink.__version__}", f"{os.cpu_count()} × {_processor()}"]
    if hasattr(os, "sysconf"):
        size = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
        words.append(f"{size / 2**30:.0f} GiB of memory")
    words.append(f"{platform.system()} {platform.release().split('-')[0]}")
    words.append(f"Python {platform.python_version()}")
    return f"{', '.join(words)}; {today.isoformat()}."


def _processor() -> str:
    """The processor's name where the system tells it, else its kind."""
    try:
        rows = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        rows = []
    names = (row.partition(":")[2].strip() for row in rows if row.startswith("model name"))
    return next(names, "") or platform.processor() or platform.machine()


def figures(sections: Sequence[Section], measured_on: str) -> str:
    """Every target beside what was measured, and the rows that a section shows, in Markdown."""
    lines = [measured_on, "", *_rows(sections)]
    for section in sections:
        if section.shown:
            lines += ["", *_shown(section)]
    return "\n".join(lines) + "\n"


def _shown(section: Section) -> Iterator[str]:
    yield f"| {' | '.join(section.shown.values())} |"
    yield "|" + "---:|" * len(section.shown)
    for row in section.rows:
        cells = (row[column] for column in section.shown)
        told = (f"{cell:,.3g}" if isinstance(cell, float) else f"{cell:,}" for cell in cells)
        yield f"| {' | '.join(told)} |"


def _rows(sections: Sequence[Section]) -> Iterator[str]:
    yield "| section | target | measured | limit | |"
    yield "|---|---|---:|---:|---|"
    for section in sections:
        for target in section.targets:
            name = target.name.replace("|", "\\|")
            holds = "holds" if target.holds else "**falls short**"
            yield f"| {section.name} | {name} | {target.value:.3g} | {target.limit:g} | {holds} |"


def put(table: str, page: Path = PAGE, marks: tuple[str, str] = MARKS) -> None:
    """Put a table between its two marks of the page. Raises RuntimeError where they are not."""
    text = page.read_text(encoding="utf-8")
    head, begin, rest = text.partition(marks[0])
    _, end, tail = rest.partition(marks[1])
    if not begin or not end:
        raise RuntimeError(f"{page.name} has no marks for the figures.")
    page.write_text(f"{head}{begin}\n\n{table}\n{end}{tail}", encoding="utf-8", newline="\n")


def too_old(page: str, version: str) -> str:
    """Why the figures of a page need to be measured again; "" where they do not.

    page: its text. version: the code's own. A patch (the third number) changes no figure.
    """
    _, _, rest = page.partition(BEGIN)
    found = re.match(r"\s*hostlink (\d+\.\d+)\.\d+, ", rest)
    if found is None:
        return "the figures do not say which version they were measured on"
    if version.split(".")[:2] != found[1].split("."):
        return (
            f"the figures are of version {found[1]}, the code is {version}: "
            "bench.py --write measures them again"
        )
    return ""
