"""What a job says is held to the truth: where it fails, and where it says that all is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from types import ModuleType

import pytest

from hostlink.archive import Content, Origin

Script = Callable[[str], ModuleType]


def content(text: str) -> Content:
    return Content(text.encode(), text, text, "practice", "latin-1", len(text))


@pytest.fixture
def job(script: Script) -> Iterator[ModuleType]:
    """A job that was not begun: its board is as it was."""
    jobs = script("soak_jobs")
    with jobs.new_archive() as archive:
        made = jobs.VirtualJob(5, archive, kind="firmware", fault="none")
        yield made
        made.witness.close()


@pytest.mark.parametrize(
    ("said", "spoilt", "untrue"),
    [
        ("It is silent. The program on the board was not touched.", "memory", True),
        (
            "It has no name. The program is still on the board.",
            "memory",
            True,
        ),
        ("The program is still on the board. Nothing was kept in the archive.", "memory", True),
        ("Its programs are kept. They are in its memory again.", "memory", True),
        ("Memory holds what it held before.", "", False),
        ("Memory holds what it held before.", "restart", False),  # true when it was put back
        ("Nothing was written.", "flash", True),
        ("Nothing was written.", "memory", False),
        ("At most a part of P5 is on the board.", "memory", False),
    ],
)
def test_what_an_error_says_is_held_to_the_truth(
    script: Script, job: ModuleType, said: str, spoilt: str, untrue: bool
) -> None:
    """The words are hostlink's own; what was done to the board is not."""
    machine = job.truth.machine
    if spoilt == "memory":
        machine.basic._state.memory.replace({})
    elif spoilt == "restart":
        machine._start(0.5, booting=True)
    elif spoilt == "flash":
        machine.chip.flash[7] ^= 1
    found = script("soak_claims").untrue(said, job.truth, job.start, job.witness)
    assert [trouble.kind for trouble in found] == ["untrue"] * untrue


def test_where_an_error_says_something_is_kept_it_is(script: Script, job: ModuleType) -> None:
    """By the number that it names."""
    job.archive.rescue(content("10 A\n"), Origin("rescue"))
    for number, kinds in ((1, []), (2, ["archive"])):
        said = f"Stopped. What it held before is kept as rescue@{number}."
        found = script("soak_claims").untrue(said, job.truth, job.start, job.witness)
        assert [trouble.kind for trouble in found] == kinds


def test_kept_already_means_this_very_program(script: Script, job: ModuleType) -> None:
    """Not another one that the archive holds."""
    rows = "".join(f"{number} {text}\n" for number, text in job.truth.before.items())
    for text in (rows, "10 A\n"):
        kept = job.archive.rescue(content(text), Origin("rescue"))
        job._told(script("hostlink.jobs.events").AlreadyKept(kept.spec))
    assert [trouble.text for trouble in job.outcome.troubles] == [
        "called kept already, but rescue@2 is another program"
    ]
