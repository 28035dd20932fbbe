"""Adapt the shipped and the generated programs between all kinds, run them, and print a table.

    python scripts/adapting_figures.py [--programs N]

Each program is adapted from one kind of board to another, and both are run on practice boards of
their kinds. A generated program is made from its number as seed; it holds what is common to all.
The table is that of the README; the exit status is 1 if a program prints something else.
"""

from __future__ import annotations

import argparse
import importlib.util
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType

from hostlink.board.profile.file import find_profile
from hostlink.jobs.adapting import adapt_for
from hostlink.jobs.listing_source import read_shipped, shipped_programs
from hostlink.jobs.proving import answers_apart, inputs_of, prove
from hostlink.listing import Listing

GENERATOR = Path(__file__).resolve().parent.parent / "tests" / "practice" / "generate.py"
WAYS = (
    ("practice", "capital"),
    ("practice", "token"),
    ("practice", "ready"),
    ("capital", "practice"),
    ("token", "practice"),
)
"""From which kind to which. A program that is not from the practice board is adapted to its kind
first; what does not arrive there is left out."""

Program = tuple[Listing, Sequence[str]]


def shipped() -> dict[str, Program]:
    """Return the shipped programs with their answers."""
    materials = {name: read_shipped(name) for name in shipped_programs()}
    return {name: (each.listing, inputs_of(each) or ()) for name, each in materials.items()}


def generated(count: int) -> dict[str, Program]:
    """Return so many generated programs, by their seeds."""
    make = generator().make_program
    return {str(seed): (Listing.from_text(make(seed)), ()) for seed in range(count)}


def generator() -> ModuleType:
    """Return the module that makes programs."""
    spec = importlib.util.spec_from_file_location("generate", GENERATOR)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["generate"] = module
    spec.loader.exec_module(module)
    return module


def tried(program: Program, source: str, target: str) -> tuple[str, Program]:
    """Adapt and run one program; return "proven", "needs", "open" or "differs", and the result."""
    listing, inputs = program
    made = adapt_for(listing, find_profile(source), find_profile(target))
    result = prove(listing, made, (source, target), inputs).result
    return ("needs" if made.needs else result), (made.listing, inputs)


def counts(programs: dict[str, Program], source: str, target: str) -> Counter[str]:
    """Return how many programs ended how; those that do not reach the source are left out."""
    found: Counter[str] = Counter()
    for program in programs.values():
        begun = program
        if source != "practice":
            reached, (listing, inputs) = tried(program, "practice", source)
            if reached != "proven":
                continue
            alone = find_profile(source).rules.language.input_list == "none"
            begun = listing, answers_apart(inputs) if alone else inputs
        found[tried(begun, source, target)[0]] += 1
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--programs", type=int, default=200, help="how many generated ones")
    count = parser.parse_args(arguments).programs
    sets: dict[str, Callable[[], dict[str, Program]]] = {
        "shipped": shipped,
        "generated": lambda: generated(count),
    }
    all_programs = {name: make() for name, make in sets.items()}
    print(
        "| from | to | programs | same output | needs what the board lacks | not proven | other |"
    )
    print("|---|---|---|---|---|---|---|")
    other = 0
    for source, target in WAYS:
        for name, programs in all_programs.items():
            found = counts(programs, source, target)
            other += found["differs"]
            ends = " | ".join(str(found[end]) for end in ("proven", "needs", "open", "differs"))
            print(f"| {source} | {target} | {found.total()} {name} | {ends} |", flush=True)
    return 1 if other else 0


if __name__ == "__main__":
    sys.exit(main())
