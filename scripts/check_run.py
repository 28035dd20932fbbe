"""Running tools and tests for scripts/check_steps.py: what they print is shown, and judged."""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
NO_VARIABLES: Mapping[str, str] = {}

PYTEST_SUMMARY = re.compile(
    r"^=*\s*((?:no tests ran|\d+ (?:passed|failed|errors?|skipped)).* in .*s.*)"
)
# A test that is left out while tests are collected does not run either.
NOT_RUN = re.compile(r"\b\d+ (?:skipped|deselected)\b")


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


def run_pytest(
    python: str,
    arguments: Sequence[str],
    *,
    ci: bool,
    variables: Mapping[str, str] = NO_VARIABLES,
) -> tuple[str, str]:
    """Run tests on all processors; return what is wrong, "" if nothing, and the closing line."""
    workers = str((os.cpu_count() or 1) + 1)
    command = [python, "-m", "pytest", "-n", workers, "--dist", "worksteal", "-rsfE", *arguments]
    strict = {"HOSTLINK_CI": "1"} if ci else NO_VARIABLES
    status, lines = run(command, variables={**variables, **strict})
    found = [match.group(1) for line in lines if (match := PYTEST_SUMMARY.match(line))]
    summary = found[-1].rstrip("= ") if found else ""
    return pytest_problem(status, summary, ci=ci), summary


def pytest_problem(status: int, summary: str, *, ci: bool) -> str:
    """Judge a pytest run by its status and its closing line; "" means good."""
    if status != 0:
        return f"status {status}" + (" (no test was found)" if status == 5 else "")
    if not summary:
        return "pytest printed no closing line"
    not_run = NOT_RUN.search(summary)
    return f"{not_run.group()}, which CI does not allow" if ci and not_run else ""
