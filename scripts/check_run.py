"""Running tools and tests for scripts/check_steps.py: what they print is shown, and judged."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
NO_VARIABLES: Mapping[str, str] = {}

PYTEST_SUMMARY = re.compile(
    r"^=*\s*((?:no tests ran|\d+ (?:passed|failed|errors?|skipped)).* in .*s.*)"
)
# A test that is left out while tests are collected does not run either.
NOT_RUN = re.compile(r"\b\d+ (?:skipped|deselected)\b")
SKIPPED = re.compile(r"\b\d+ skipped\b")
QUICK = ("-m", "not slow")

# Linux keeps the files of this folder in memory, so that no test waits for a disk: a new archive is
# flushed some twenty times, which took 80 ms on the disk of a busy computer and takes 28 ms here.
MEMORY = Path("/dev/shm")
MEMORY_BYTES = 2 << 30


def run(
    command: Sequence[str], folder: Path = ROOT, variables: Mapping[str, str] = NO_VARIABLES
) -> tuple[int, list[str]]:
    """Run a command, showing its output as it comes; return its status and the lines."""
    process = subprocess.Popen(
        list(command),
        cwd=folder,
        env={**os.environ, **variables},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        errors="replace",
    )
    lines = []
    with process:
        assert process.stdout is not None
        for line in process.stdout:
            print(line, end="", flush=True)
            lines.append(line.rstrip("\n"))
    return process.returncode, lines


def passes(
    command: Sequence[str], folder: Path = ROOT, variables: Mapping[str, str] = NO_VARIABLES
) -> str:
    """Run a command; return "" if it succeeded, else what to put in the table."""
    status, _ = run(command, folder, variables)
    return "" if status == 0 else f"status {status}"


@contextmanager
def temporary_folder(memory: Path = MEMORY) -> Iterator[Mapping[str, str]]:
    """Lend the tests a folder in memory where there is one with room; yields TMPDIR, or nothing.

    memory: a folder kept in memory. It has to let programs run, since tests compile some.
    """
    suits = (
        os.access(memory, os.W_OK)
        and shutil.disk_usage(memory).free >= MEMORY_BYTES
        and not os.statvfs(memory).f_flag & os.ST_NOEXEC
    )
    if not suits:
        yield NO_VARIABLES
        return
    with tempfile.TemporaryDirectory(
        prefix="hostlink-tests-", dir=memory, ignore_cleanup_errors=True
    ) as folder:
        Path(folder).chmod(0o755)  # some tests become another user, who has to come through
        yield {"TMPDIR": folder}


def compile_tests(
    python: str, version: tuple[int, int], arguments: Sequence[str] = (), folder: Path = ROOT
) -> subprocess.Popen[bytes] | None:
    """Start to compile the tests beside other steps, in a fresh clone; None where that was done.

    Else each of pytest's workers would compile all of them: 10 s of processor time each. version:
    that of `python`. arguments: pytest's, for some of the tests.
    """
    if any((folder / "tests").glob("__pycache__/*.cpython-{}{}-pytest-*.pyc".format(*version))):
        return None
    return subprocess.Popen(
        [python, "-m", "pytest", "--collect-only", "-q", *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": ""},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def run_pytest(
    python: str,
    arguments: Sequence[str],
    *,
    ci: bool,
    quick: bool = False,
    variables: Mapping[str, str] = NO_VARIABLES,
) -> tuple[str, str]:
    """Run tests on all processors; return what is wrong, "" if nothing, and the closing line.

    quick: without those marked slow, and with fewer examples of each property.
    """
    workers = str((os.cpu_count() or 1) + 2)
    command = [python, "-m", "pytest", "-n", workers, "--dist", "worksteal", "-rsfE", *arguments]
    command += QUICK if quick else ()
    # Compiled files are kept whatever the user's habit: tests start hostlink hundreds of times, and
    # without them a start takes three times as long.
    strict = {"PYTHONDONTWRITEBYTECODE": "", "HOSTLINK_QUICK": str(int(quick))}
    strict |= {"HOSTLINK_CI": "1"} if ci else {}
    with temporary_folder() as temporary:
        status, lines = run(command, variables={**variables, **strict, **temporary})
    found = [match.group(1) for line in lines if (match := PYTEST_SUMMARY.match(line))]
    summary = found[-1].rstrip("= ") if found else ""
    return pytest_problem(status, summary, ci=ci, quick=quick), summary


def pytest_problem(status: int, summary: str, *, ci: bool, quick: bool = False) -> str:
    """Judge a pytest run by its status and its closing line; "" means good."""
    if status != 0:
        return f"status {status}" + (" (no test was found)" if status == 5 else "")
    if not summary:
        return "pytest printed no closing line"
    not_run = (SKIPPED if quick else NOT_RUN).search(summary)
    return f"{not_run.group()}, which CI does not allow" if ci and not_run else ""
