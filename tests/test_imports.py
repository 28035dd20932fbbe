"""What is loaded when: the core stays free of user interfaces, and help needs no screen library."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "hostlink"
CORE = ("errors", "shipped", "listing", "link", "practice", "board", "archive", "firmware", "jobs")
INTERFACES = {"textual", "rich", "click"}

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


def test_help_loads_no_textual():
    """`hostlink --help` prints its help without loading textual."""
    done, loaded = loaded_by_hostlink("--help")
    assert done.returncode == 0
    assert "load" in done.stdout
    assert "hostlink" in loaded
    assert "textual" not in loaded


@pytest.mark.parametrize("name", [n for n in CORE if list(PACKAGE.glob(f"{n}*"))])
def test_core_loads_no_user_interface(name: str):
    """The core loads no textual, rich or click, but for what sqlite-utils itself loads."""
    loaded = loaded_by(f"hostlink.{name}")
    assert "hostlink" in loaded
    allowed = loaded_by("sqlite_utils") if "sqlite_utils" in loaded else set()
    assert loaded & INTERFACES <= allowed
