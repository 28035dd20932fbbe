"""Measure hostlink: `bench.py [SECTION...] [--json | --write] [--full]`; without a section all.

Run it with the project's Python: `scripts/start.py --python scripts/bench.py link`. Each section
prints one table and its targets, or with --json one object a line: section, rows, targets. With
--write everything is measured, the largest archive too, and becomes the tables of
scripts/pictures/figures.md. Exit status 1 where a target does not hold.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import sys
from collections.abc import Sequence
from datetime import date

import bench_page
from bench_report import Section

from hostlink.errors import HostlinkError

# Name of a section to what it measures. Its module is bench_NAME and has a function `run`,
# and `run_full` where there is more to measure than most runs should wait for.
SECTIONS = {
    "archive": "an archive of decades: opening, searching, keeping, its size",
    "boards": "twelve boards loaded at the same time against one",
    "link": "load times against the wire's own bound, over all kinds of wire",
    "recognise": "from an open port to a known kind, over all kinds and speeds",
    "firmware": "writing and reading back pages against the protocol's own minimum",
    "practice": "statements a second beside bwbasic, and the memory of a long trace",
    "listing": "review, shrink, renumber and check codes of a full program, and of 10,000 lines",
    "app": "the app: first paint, a large archive, a board that floods, keys",
    "runs": "finding by what was printed, and keys while 100,000 numbers are drawn",
    "start": "how long the command line takes to start",
}


def run_section(name: str, *, full: bool = False) -> Section:
    """Import the section's module, which other sections need not pay for, and run it."""
    module = importlib.import_module(f"bench_{name}")
    run = module.run_full if full and hasattr(module, "run_full") else module.run
    section: Section = run()
    return section


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the sections asked for; 0 where every target holds, else 1."""
    parser = argparse.ArgumentParser(
        prog="bench.py",
        description="Measure hostlink. Exit status 1 where a target does not hold.",
        epilog="Sections: " + "; ".join(f"{name}: {about}" for name, about in SECTIONS.items()),
    )
    parser.add_argument("sections", nargs="*", metavar="SECTION", help="default: all of them")
    parser.add_argument("--json", action="store_true", help="one JSON object for each section")
    parser.add_argument(
        "--full", action="store_true", help="the largest archive too (half an hour, 10 GB of disk)"
    )
    parser.add_argument(
        "--write",
        action="store_true",
        help="put the targets of all sections into the page of figures; measures as --full does",
    )
    options = parser.parse_args(arguments)
    if options.write and options.sections:
        parser.error("--write needs the figures of all sections")
    for name in options.sections:
        if name not in SECTIONS:
            parser.error(f'there is no section "{name}"; there are {", ".join(SECTIONS)}')
    holds = True
    measured: list[Section] = []
    for name in options.sections or SECTIONS:
        gc.collect()
        gc.freeze()  # what sections before this one left is not gone through again in its time
        try:
            section = run_section(name, full=options.full or options.write)
        except (HostlinkError, RuntimeError) as error:
            print(f"{name}: could not be measured: {error}", file=sys.stderr)
            holds = False
            continue
        measured.append(section)
        holds = holds and section.holds
        print(section.as_json() if options.json else section.as_text(), flush=True)
    if options.write and len(measured) == len(SECTIONS):
        bench_page.put(bench_page.figures(measured, bench_page.machine(date.today())))
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
