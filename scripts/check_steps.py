"""The steps of scripts/check.py: each is one function that returns "" if all is good, else why not.

The environment is ready when they run. Whatever a tool prints is shown as it comes.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

import check_pack
import check_wheel
import environment
import pythons
from check_run import ROOT, compile_tests, passes, run_pytest

DESCRIPTION = "Make the test environment and run everything that must hold, as CI does."

# What the tests use of the system: two foreign BASIC interpreters and programs written for them, a
# browser and what reads its printed pages and QR codes, a terminal to be driven, shells that
# complete words, transliteration rules and the USB names that some values are checked against;
# compilers and a simulator for the microcontroller program of tests/avr_board.
DEBIAN_PACKAGES = (
    "bwbasic",
    "chromium",
    "fish",
    "icu-devtools",
    "poppler-utils",
    "python-ply-doc",
    "python3-ply",
    "tmux",
    "usb.ids",
    "zbar-tools",
    "zsh",
    *("avr-libc", "gcc", "gcc-avr", "libc6-dev", "libelf-dev", "libsimavr-dev"),
)

SYSTEMS = ("linux", "darwin", "win32")

# Packages of which the tests must pass so many of a hundred lines.
COVERED = ("listing", "link", "board", "archive", "jobs")
LEAST_COVERED = 95
COUNT_LINES = ("--cov", "--cov-report=")
BY_MONITORING = {"COVERAGE_CORE": "sysmon"}


@dataclass
class Checks:
    """What the steps share: the environment, the options, and what is said at the end."""

    place: environment.Environment
    ci: bool = False
    pytest_arguments: list[str] = field(default_factory=list)
    pytest_summary: str = ""
    pythons_summary: str = ""
    compiling: subprocess.Popen[bytes] | None = None  # of the tests
    others: Future[list[Other]] | None = None  # made ready beside the first steps

    @property
    def python(self) -> str:
        return str(self.place.python)


@dataclass(frozen=True)
class Other:
    """Another Python with its environment. arguments: pytest's. problem: why it is not ready."""

    python: pythons.Interpreter
    place: environment.Environment
    arguments: list[str]
    problem: str


@dataclass(frozen=True)
class Outcome:
    """How one step went. seconds: wall time."""

    name: str
    problem: str
    seconds: float


def system_packages(checks: Checks) -> str:
    """Install the Debian packages that the tests use, where they are missing and --ci asks."""
    if not checks.ci:
        return ""
    if shutil.which("dpkg-query") is None:
        return "not Debian: install by hand " + ", ".join(DEBIAN_PACKAGES)
    missing = [name for name in DEBIAN_PACKAGES if not is_installed(name)]
    if not missing:
        print("all there: " + ", ".join(DEBIAN_PACKAGES))
        return ""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return "not root, so run: sudo apt-get install " + " ".join(missing)
    quiet = {"DEBIAN_FRONTEND": "noninteractive"}
    if problem := passes(["apt-get", "update", "-q"], variables=quiet):
        print(f"apt-get update: {problem}; trying with the list of packages at hand")
    install = ["apt-get", "install", "-q", "-y", "--no-install-recommends", *missing]
    return passes(install, variables=quiet)


def is_installed(package: str) -> bool:
    """Tell whether a Debian package is installed, not merely known."""
    query = ["dpkg-query", "-W", "-f", "${db:Status-Status}", package]
    return subprocess.run(query, capture_output=True, text=True, check=False).stdout == "installed"


def ruff_check(checks: Checks) -> str:
    """Lint."""
    return passes([checks.python, "-m", "ruff", "check", "."])


def ruff_format(checks: Checks) -> str:
    """Look whether the formatter would change anything."""
    return passes([checks.python, "-m", "ruff", "format", "--check", "."])


def mypy(checks: Checks) -> str:
    """Check the types of the package, strictly, as each system would run it.

    All at once, and each with a cache of its own: one alone would be made anew for each system.
    """

    def look(system: str) -> str:
        cache = f".mypy_cache/{system}"
        return passes([checks.python, "-m", "mypy", "--platform", system, "--cache-dir", cache])

    with ThreadPoolExecutor() as pool:
        found = dict(zip(SYSTEMS, pool.map(look, SYSTEMS), strict=True))
    return "; ".join(f"{problem} for {system}" for system, problem in found.items() if problem)


def imports(checks: Checks) -> str:
    """Hold the import contracts of pyproject.toml, and that nothing is imported in a circle."""
    lint = str(checks.place.script("lint-imports"))
    circles = passes([lint, "scripts/circles.toml"])
    return circles or passes([lint])


def pytest(checks: Checks) -> str:
    """Run the tests on all processors; in CI a skip is a failure, since all is installed.

    Without --ci the slow ones are left out, unless pytest was given arguments. One worker more than
    there are processors, since about a third of the time is waiting for ports and terminals; one
    that has nothing left takes work from the others. In CI, where no other Python here counts
    covered lines more quickly, this run does it.
    """
    (ROOT / ".coverage").unlink(missing_ok=True)
    if checks.compiling is not None:
        checks.compiling.wait()
    own, arguments = checks.place.version, checks.pytest_arguments
    quick = not checks.ci and not arguments
    if checks.ci and not arguments and pythons.counts_lines(pythons.find(), own) == own:
        arguments = list(COUNT_LINES)
    problem, checks.pytest_summary = run_pytest(checks.python, arguments, ci=checks.ci, quick=quick)
    return problem


def other_pythons(checks: Checks) -> str:
    """Run the core of the tests on each other supported Python that this computer has.

    The newest one counts the lines that it passes.
    """
    if checks.pytest_arguments:
        print("not run: pytest was given arguments, so all tests were not asked for")
        return ""
    own = checks.place.version
    others = ready_others(checks) if checks.others is None else checks.others.result()
    problems, ran = [], []
    for each in others:
        print(f"\nPython {each.python}: {each.place.folder.name}, made with {each.python.file}")
        problem = each.problem
        if not problem:
            ran.append(each.python)
            variables = BY_MONITORING if COUNT_LINES[0] in each.arguments else {}
            problem, _ = run_pytest(
                str(each.place.python),
                each.arguments,
                ci=checks.ci,
                quick=True,
                variables=variables,
            )
        if problem:
            problems.append(f"Python {each.python}: {problem}")
    checks.pythons_summary = pythons.summary(own, ran, [each.python.minor for each in others])
    print(checks.pythons_summary)
    return "; ".join(problems)


def ready_others(checks: Checks) -> list[Other]:
    """Make an environment for each other Python, like `.venv`, and compile its tests there.

    All at once, since most of that is waiting for the package index.
    """
    own = checks.place.version
    found = pythons.find(minor for minor in pythons.SUPPORTED if minor != own)
    counting = pythons.counts_lines(found, own)

    def ready(python: pythons.Interpreter) -> Other:
        minor = python.minor
        name = ".venv-{}.{}".format(*minor)
        place = environment.Environment(ROOT, base_python=python.file, version=minor, name=name)
        counts = minor == counting
        between = pythons.is_between(minor, {own, *found}) and not counts
        tests = pythons.core_arguments(*(pythons.COVERING if counts else ()), between=between)
        problem = unready(place)
        if not problem and (compiling := compile_tests(str(place.python), minor, tests)):
            compiling.wait()
        return Other(python, place, [*tests, *(COUNT_LINES if counts else ())], problem)

    with ThreadPoolExecutor() as pool:
        return list(pool.map(ready, found.values()))


def unready(place: environment.Environment) -> str:
    """Make an environment for the tests ready; return why that failed, "" if it did not."""
    try:
        place.prepare("test")
    except environment.SetupError as error:
        return str(error)
    return ""


def coverage(checks: Checks) -> str:
    """Hold the core packages to the share of lines that the tests pass."""
    if checks.pytest_arguments:
        print("not judged: pytest was given arguments, so it may not have run everything")
        return ""
    if not (ROOT / ".coverage").exists():
        return "the steps pytest and other-pythons have to be run before"
    short = []
    for package in COVERED:
        print(f"hostlink.{package}", flush=True)
        report = [checks.python, "-m", "coverage", "report", f"--fail-under={LEAST_COVERED}"]
        if passes([*report, f"--include=hostlink/{package}/*"]):
            short.append(package)
    return f"less than {LEAST_COVERED} %: {', '.join(short)}" if short else ""


STEPS: dict[str, Callable[[Checks], str]] = {
    "system-packages": system_packages,
    "ruff-check": ruff_check,
    "ruff-format": ruff_format,
    "mypy": mypy,
    "imports": imports,
    "pytest": pytest,
    "other-pythons": other_pythons,
    "coverage": coverage,
    "wheel": lambda checks: check_wheel.wheel(checks.python, checks.place.base_python),
    "pack": lambda checks: check_pack.pack(checks.python),
}


# Slow, and rarely the ones that find something: with --ci, or asked for by --only.
IN_CI = ("system-packages", "other-pythons", "coverage", "pack")


def steps_to_take(only: Sequence[str] | None, *, ci: bool) -> list[str]:
    """Return the steps of this run in their order. only: those asked for by name, if any."""
    return [name for name in STEPS if (name in only if only else ci or name not in IN_CI)]


def take(names: Sequence[str], checks: Checks) -> list[Outcome]:
    """Run the named steps in order; one that fails, or cannot be started, stops no other."""
    outcomes = []
    for name in names:
        print(f"\n--- {name}", flush=True)
        began = time.monotonic()
        try:
            problem = STEPS[name](checks)
        except OSError as error:
            problem = f"could not be run: {error}"
        outcomes.append(Outcome(name, problem, time.monotonic() - began))
    return outcomes


def table(outcomes: Sequence[Outcome]) -> str:
    """Return the closing table, one line a step."""
    width = max(len(outcome.name) for outcome in outcomes)
    rows = [
        f"{outcome.name:{width}}  {outcome.seconds:6.1f} s  {outcome.problem or 'good'}"
        for outcome in outcomes
    ]
    return "\n".join(rows)


def options(arguments: Sequence[str]) -> tuple[argparse.Namespace, list[str]]:
    """Split the arguments into our options and, after --, pytest's."""
    ours, theirs = list(arguments), []
    if "--" in ours:
        at = ours.index("--")
        ours, theirs = ours[:at], ours[at + 1 :]
    parser = argparse.ArgumentParser(description=DESCRIPTION)
    parser.add_argument(
        "--only", action="append", choices=list(STEPS), help="run this step (may be repeated)"
    )
    parser.add_argument(
        "--ci",
        action="store_true",
        help=f"install system packages, run the slow tests and {', '.join(IN_CI[1:])} too; "
        "a skipped test is a failure",
    )
    parser.epilog = "Arguments after -- go to pytest."
    return parser.parse_args(ours), theirs


def main(arguments: Sequence[str]) -> int:
    """Set up, run the steps, print the table. Returns 0 only if every step is good."""
    chosen, pytest_arguments = options(arguments)
    checks = Checks(environment.Environment(ROOT), chosen.ci, pytest_arguments)
    began = time.monotonic()
    try:
        checks.place.prepare("check")
    except environment.SetupError as error:
        print(error, file=sys.stderr)
        return 1
    ready = Outcome("environment", "", time.monotonic() - began)
    names = steps_to_take(chosen.only, ci=chosen.ci)
    if "pytest" in names:
        checks.compiling = compile_tests(checks.python, checks.place.version)
    with ThreadPoolExecutor() as beside:
        if "other-pythons" in names and not pytest_arguments:
            checks.others = beside.submit(ready_others, checks)
        outcomes = [ready, *take(names, checks)]
    failed = sum(1 for outcome in outcomes if outcome.problem)
    total = time.monotonic() - began
    if not chosen.only and not chosen.ci:
        print(f"\nwith --ci only: the slow tests, {', '.join(IN_CI)}")
    print(f"\n--- in all {total:.0f} s, {failed} of {len(outcomes)} steps failed")
    print(table(outcomes))
    if checks.pythons_summary:
        print(checks.pythons_summary)
    if checks.pytest_summary:
        print(f"===== {checks.pytest_summary} =====")
    return 1 if failed else 0
