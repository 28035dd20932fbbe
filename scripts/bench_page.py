"""The README's table of figures: what the sections measured, and on which machine."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from bench_report import Section

PAGE = Path(__file__).resolve().parent.parent / "README.md"
BEGIN, END = "<!-- figures: made by scripts/bench.py --write -->", "<!-- end of figures -->"


def machine(today: date) -> str:
    """The machine that measured, in one line: processor, memory, system, Python, day."""
    words = [f"{os.cpu_count()} × {_processor()}"]
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
    """A Markdown table of every target beside what was measured."""
    return "\n".join([measured_on, "", *_rows(sections)]) + "\n"


def _rows(sections: Sequence[Section]) -> Iterator[str]:
    yield "| section | target | measured | limit | |"
    yield "|---|---|---:|---:|---|"
    for section in sections:
        for target in section.targets:
            name = target.name.replace("|", "\\|")
            holds = "holds" if target.holds else "**falls short**"
            yield f"| {section.name} | {name} | {target.value:.3g} | {target.limit:g} | {holds} |"


def put(table: str, page: Path = PAGE) -> None:
    """Put the table between the two marks of the page. Raises RuntimeError where they are not."""
    text = page.read_text(encoding="utf-8")
    head, begin, rest = text.partition(BEGIN)
    _, end, tail = rest.partition(END)
    if not begin or not end:
        raise RuntimeError(f"{page.name} has no marks for the figures.")
    page.write_text(f"{head}{BEGIN}\n\n{table}\n{END}{tail}", encoding="utf-8", newline="\n")
