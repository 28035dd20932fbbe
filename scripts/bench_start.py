"""How long the command line takes to start, against a bare Python in the same run.

All commands are run in turn, RUNS times, so that a busy machine slows all of them alike; the
median counts, after a first run of each that compiles the source. `hostlink programs` runs on a
small archive in a temporary folder. Each command is run once more under `-X importtime`, which
names every module it loads.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from bench_python import compiled_environment
from bench_report import Row, Section, Target

RUNS = 15
HELP_LIMIT, PROGRAMS_LIMIT = 5, 12  # times a bare Python
UNWANTED = "textual"
PROGRAMS = 3

BARE = ("-c", "pass")
HELP = ("-m", "hostlink", "--help")
SHOW_PROGRAMS = ("-m", "hostlink", "programs")
COMMANDS = {"python -c pass": BARE, "hostlink --help": HELP, "hostlink programs": SHOW_PROGRAMS}


def run_once(arguments: Sequence[str], archive: Path) -> float:
    """Wall seconds of one run. Raises RuntimeError where the command fails."""
    began = time.perf_counter()
    ran = _python(arguments, archive)
    seconds = time.perf_counter() - began
    if ran.returncode:
        raise RuntimeError(f"{' '.join(arguments)} ended with {ran.returncode}: {ran.stderr}")
    return seconds


def loads(arguments: Sequence[str], archive: Path, package: str = UNWANTED) -> bool:
    """Whether a command loads a package or any of its modules."""
    ran = _python(("-X", "importtime", *arguments), archive)
    names = [row.rpartition("|")[2].strip() for row in ran.stderr.splitlines()]
    if ran.returncode or "hostlink" not in names:
        raise RuntimeError(f"{' '.join(arguments)} could not be looked into: {ran.stderr[-400:]}")
    return any(name.split(".")[0] == package for name in names)


def _python(arguments: Sequence[str], archive: Path) -> subprocess.CompletedProcess[str]:
    environment = {
        **compiled_environment(archive.parent),
        "HOSTLINK_ARCHIVE": str(archive),
        "NO_COLOR": "1",
    }
    return subprocess.run(
        [sys.executable, *arguments],
        env=environment,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        encoding="utf-8",
        errors="replace",
        timeout=60,
        check=False,
    )


def fill(archive: Path, folder: Path) -> None:
    """Make an archive with a few programs in it, by the practice board and the command line."""
    for number in range(1, PROGRAMS + 1):
        listing = folder / f"bench{number}.bas"
        listing.write_text(f'10 PRINT "BENCH {number}"\n20 GOTO 10\n', encoding="ascii")
        board = "practice://bench?fresh&time=virtual"
        load = ("-m", "hostlink", "load", str(listing), "--port", board)
        ran = _python(load, archive)
        if ran.returncode:
            raise RuntimeError(f"the archive could not be filled: {ran.stderr}")


def run(runs: int = RUNS) -> Section:
    """Time every command and look for modules that have no business there."""
    with tempfile.TemporaryDirectory(prefix="hostlink-bench-") as name:
        folder = Path(name)
        archive = folder / "archive.sqlite"
        fill(archive, folder)
        times: dict[str, list[float]] = {command: [] for command in COMMANDS}
        for _ in range(runs + 1):
            for command, arguments in COMMANDS.items():
                times[command].append(run_once(arguments, archive))
        loading = [command for command, a in COMMANDS.items() if a != BARE and loads(a, archive)]
    medians = {command: statistics.median(held[1:]) for command, held in times.items()}
    return section_of(medians, loading, runs)


def section_of(medians: dict[str, float], loading: Sequence[str], runs: int) -> Section:
    """The section from median seconds by command and the commands that load textual."""
    bare = medians["python -c pass"]
    rows: list[Row] = [
        {
            "command": command,
            "median_ms": round(seconds * 1000, 3),
            "times_bare": round(seconds / bare, 3),
            f"loads_{UNWANTED}": command in loading,
        }
        for command, seconds in medians.items()
    ]
    targets = [
        Target.at_most(f"{command}, times a bare Python", round(medians[command] / bare, 3), limit)
        for command, limit in (
            ("hostlink --help", HELP_LIMIT),
            ("hostlink programs", PROGRAMS_LIMIT),
        )
    ]
    targets.append(Target.at_most(f"commands that load {UNWANTED}", len(loading), 0))
    return Section("start", rows, targets, (f"Median of {runs} runs taken in turn.", ""))
