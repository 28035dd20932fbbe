"""What is loaded when: the core stays free of user interfaces, and help needs no screen library."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
# Everything but the two user interfaces and the ways into them: what is new is core until said.
OUTSIDE = {"app", "cli", "__init__", "__main__"}
CORE = sorted(
    found.stem
    for found in (ROOT / "hostlink").iterdir()
    if (found.suffix == ".py" or (found / "__init__.py").exists()) and found.stem not in OUTSIDE
)
INTERFACES = {"textual", "rich", "click", "prompt_toolkit"}

# Imports a module and, in a package, all below it; prints which packages are loaded then.
LOAD = """
import importlib, json, pkgutil, sys
for name in sys.argv[1:]:
    module = importlib.import_module(name)
    for found in pkgutil.walk_packages(getattr(module, "__path__", []), name + "."):
        importlib.import_module(found.name)
print(json.dumps(sorted(name for name in sys.modules if "." not in name)))
"""


def loaded_by(*names: str) -> set[str]:
    """Return the top-level modules that a new Python holds after importing `names` entirely."""
    command = [sys.executable, "-P", "-c", LOAD, *names]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return set(json.loads(done.stdout))


def loaded_by_hostlink(*arguments: str) -> tuple[subprocess.CompletedProcess[str], set[str]]:
    """Run hostlink with arguments; return how it ended and the modules it had loaded."""
    code = (
        "import atexit, sys\n"
        "atexit.register(lambda: print(*sys.modules, sep='\\n', file=sys.stderr))\n"
        "from hostlink.cli import main\n"
        "sys.exit(main())\n"
    )
    command = [sys.executable, "-P", "-c", code, *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done, {line.partition(".")[0] for line in done.stderr.splitlines()}


def test_help_loads_no_screen_library():
    """`hostlink --help` prints its help without loading a library for screens.

    Nor does it load what advice and files need, which takes a tenth of its start.
    """
    done, loaded = loaded_by_hostlink("--help")
    assert done.returncode == 0
    assert "load" in done.stdout
    assert "hostlink" in loaded
    assert not loaded & (INTERFACES - {"click"})
    assert not loaded & {"dataclasses", "pathlib"}


@pytest.mark.one_in(3)
@pytest.mark.parametrize("name", CORE)
def test_core_loads_no_user_interface(name: str):
    """The core loads no library for a user interface, but for what sqlite-utils itself loads."""
    loaded = loaded_by(f"hostlink.{name}")
    assert "hostlink" in loaded
    allowed = loaded_by("sqlite_utils") if "sqlite_utils" in loaded else set()
    assert loaded & INTERFACES <= allowed


def test_the_import_contract_names_all_of_the_core_and_every_interface():
    """The contract in pyproject.toml leaves out no part of the package and no such library."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    (contract,) = [
        each
        for each in settings["tool"]["importlinter"]["contracts"]
        if each["name"] == "the core never imports a user interface"
    ]
    assert sorted(contract["source_modules"]) == [f"hostlink.{name}" for name in CORE]
    assert set(contract["forbidden_modules"]) == INTERFACES
    assert "publish" in CORE


# What the app needs only once its first screen is drawn: most of its start would be theirs.
AFTER_DRAWING = ("archive.records", "archive.store", "board", "jobs", "link", "listing", "practice")


def test_app_draws_before_it_loads_boards_and_archive():
    """The app's first screen is imported without SQLite, boards, listings and jobs."""
    code = (
        "import sys, hostlink.app.application, hostlink.app.desk.desk\n"
        "print(*sys.modules, sep='\\n')\n"
    )
    done = subprocess.run(
        [sys.executable, "-P", "-c", code], capture_output=True, text=True, check=True
    )
    loaded = set(done.stdout.splitlines())
    assert "hostlink.app.desk.transfers" in loaded
    assert not loaded & {"sqlite3", "sqlite_utils", "serial"}
    assert not loaded & {f"hostlink.{name}" for name in AFTER_DRAWING}
