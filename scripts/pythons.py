"""The Pythons of this computer that hostlink supports, found and asked for what they are.

A name proves nothing: a command called python3.12 may belong to pyenv and refuse to run, or lead
somewhere else. So each candidate is run once, and what it answers counts.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

Minor = tuple[int, int]
SUPPORTED: tuple[Minor, ...] = ((3, 11), (3, 12), (3, 13), (3, 14))
# The tests that run on each Python, about a minute of them: none of real terminals, browsers,
# simulated chips and foreign interpreters; of these folders no runs of many seeds, of every cut, of
# hostile text and of killed processes; of the app the main ways.
CORE = (
    "tests/app/test_boards.py",
    "tests/app/test_jobs.py",
    "tests/archive",
    "tests/board",
    "tests/cli",
    "tests/firmware",
    "tests/jobs",
    "tests/library",
    "tests/link",
    "tests/listing",
    "tests/practice",
    "tests/publish",
)
APART = (
    "tests/archive/test_durability.py",
    "tests/archive/test_flips.py",
    "tests/archive/test_search_hits.py",
    "tests/archive/test_ten_archives.py",
    "tests/board/test_faulty_wire.py",
    "tests/board/test_foreign.py",
    "tests/board/test_survey.py",
    "tests/cli/test_advice.py",
    "tests/cli/test_bad_input.py",
    "tests/cli/test_ended.py",
    "tests/cli/test_firmware.py",
    "tests/cli/test_firmware_advice.py",
    "tests/cli/test_hostile.py",
    "tests/cli/test_interrupt.py",
    "tests/cli/test_labels.py",
    "tests/firmware/test_plan.py",
    "tests/jobs/class_register/test_twelve_boards.py",
    "tests/jobs/promises",
    "tests/jobs/test_firmware.py",
    "tests/jobs/test_firmware_way_back.py",
    "tests/listing/test_adapting_proof.py",
    "tests/listing/test_properties.py",
    "tests/listing/test_shrink_proof.py",
    "tests/listing/test_speed.py",
    "tests/practice/test_basic_fuzz.py",
    "tests/publish/test_browser.py",
)
# What a Python between the oldest and the newest runs of it: what leans most on the standard
# library (files, database, sockets, threads, terminals). Plain computing that is right on both
# neighbours is right there too.
BETWEEN = (
    "tests/app/test_boards.py",
    "tests/app/test_jobs.py",
    "tests/archive",
    "tests/cli",
    "tests/link",
)
# What else is run where covered lines are counted: the tests that alone reach some of them.
COVERING = (
    "tests/cli/test_bad_input.py",
    "tests/cli/test_ended.py",
    "tests/cli/test_firmware.py",
    "tests/cli/test_hostile.py",
    "tests/cli/test_labels.py",
    "tests/jobs/class_register/test_twelve_boards.py",
    "tests/jobs/promises",
    "tests/jobs/test_firmware.py",
    "tests/jobs/test_firmware_way_back.py",
    "tests/kinds",
)
# From here on Python tells lines by sys.monitoring (PEP 669), which costs next to nothing; before,
# counting them doubles the time of the tests.
COUNTS_QUICKLY: Minor = (3, 12)
ANSWER_S = 30.0  # a bound for an interpreter that never answers

# The file is the one behind an environment, since that of an environment goes away with it.
QUESTION = """
import importlib.util, json, sys
print(json.dumps({
    "version": sys.version_info[:3],
    "final": sys.version_info.releaselevel == "final",
    "kind": sys.implementation.name,
    "file": getattr(sys, "_base_executable", None) or sys.executable,
    "makes_environments": importlib.util.find_spec("ensurepip") is not None,
}))
"""


@dataclass(frozen=True, order=True)
class Interpreter:
    """A Python that can make environments. version: three numbers. file: its path."""

    version: tuple[int, int, int]
    file: str

    @property
    def minor(self) -> Minor:
        return self.version[:2]

    def __str__(self) -> str:
        return ".".join(map(str, self.version))


def core_arguments(*more: str, between: bool = False) -> list[str]:
    """Return pytest's arguments for the tests that run on each Python, and for more of them.

    between: for a Python that is neither the oldest nor the newest here.
    """
    apart = (path for path in APART if path not in more)
    return ["-q", *(BETWEEN if between else CORE), *more, *(f"--ignore={path}" for path in apart)]


def is_between(minor: Minor, minors: Iterable[Minor]) -> bool:
    """Return whether a version is neither the oldest nor the newest of some."""
    return min(minors := {minor, *minors}) < minor < max(minors)


def counts_lines(minors: Iterable[Minor], own: Minor) -> Minor:
    """Choose the version on which covered lines are counted: the newest, if that is quick."""
    return max((minor for minor in {*minors, own} if minor >= COUNTS_QUICKLY), default=own)


def summary(own: Minor, ran: Iterable[Interpreter], found: Iterable[Minor]) -> str:
    """Say in one line on which Pythons the tests ran, and which supported ones are not here.

    own: the version that runs all tests. ran: those on which the core of them ran. found: the
    minor versions that are here, whether their tests could be run or not.
    """
    told = {own: "{}.{} (all)".format(*own)}
    found = {own, *found}
    for python in ran:
        part = "part of the core" if is_between(python.minor, found) else "core"
        told[python.minor] = f"{python} ({part})"
    missing = ["{}.{}".format(*minor) for minor in SUPPORTED if minor not in found]
    said = "tested on Python " + ", ".join(told[minor] for minor in sorted(told))
    return said + (f"; not found here: {', '.join(missing)}" if missing else "")


def find(
    wanted: Iterable[Minor] = SUPPORTED, variables: Mapping[str, str] = os.environ
) -> dict[Minor, Interpreter]:
    """Find the newest Python of each wanted minor version, on PATH and among pyenv's versions."""
    wanted = tuple(wanted)
    newest: dict[Minor, Interpreter] = {}
    for file in candidates(wanted, variables):
        found = ask(file)
        if found is None or found.minor not in wanted:
            continue
        if found.minor not in newest or found.version > newest[found.minor].version:
            newest[found.minor] = found
    return dict(sorted(newest.items()))


def candidates(wanted: Iterable[Minor], variables: Mapping[str, str]) -> Iterator[str]:
    """List files that may be a wanted Python, each once, whatever links lead to it."""
    names = ["python3", "python", *(f"python{major}.{minor}" for major, minor in wanted)]
    end = ".exe" if sys.platform == "win32" else ""
    folders = [Path(entry) for entry in variables.get("PATH", "").split(os.pathsep) if entry]
    pyenv = Path(variables.get("PYENV_ROOT") or Path.home() / ".pyenv") / "versions"
    if pyenv.is_dir():
        folders += sorted(version / "bin" for version in pyenv.iterdir())
    seen: set[Path] = set()
    for file in (
        Path(sys.executable),
        *(folder / (name + end) for folder in folders for name in names),
    ):
        try:
            real = file.resolve(strict=True)
        except (OSError, RuntimeError):
            continue
        if real not in seen and os.access(file, os.X_OK):
            seen.add(real)
            yield str(file)


def ask(file: str) -> Interpreter | None:
    """Run a file as a Python; None where it is none, no final CPython, or makes no environments."""
    try:
        done = subprocess.run(
            [file, "-I", "-c", QUESTION],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=ANSWER_S,
            check=False,
        )
        told = json.loads(done.stdout)
        usable = told["kind"] == "cpython" and told["final"] and told["makes_environments"]
        major, minor, patch = told["version"]
        return Interpreter((major, minor, patch), str(told["file"])) if usable else None
    except (OSError, subprocess.TimeoutExpired, ValueError, KeyError, TypeError):
        return None
