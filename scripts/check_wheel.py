"""The step of scripts/check.py that builds a wheel and does the main job with it elsewhere."""

from __future__ import annotations

import tempfile
from pathlib import Path

import environment
from check_run import ROOT, passes

# Run by the Python of a clean environment: what was installed must be found, and from there.
LOOK = """
import sys
from pathlib import Path
import hostlink, hostlink.shipped
package = Path(hostlink.__file__).parent
assert Path(sys.prefix) in package.parents, f"{package} is not the installed one"
def listing(folder):
    found = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    assert found, f"nothing in {folder}"
    return found
root = Path(sys.argv[1])
assert hostlink.shipped.library_folder() == package.resolve() / "library"
for here, there in (
    (package / "library", root / "library"),
    (package / "board" / "profiles", root / "hostlink" / "board" / "profiles"),
):
    assert listing(here) == listing(there), f"{here} is not like {there}"
    print(len(listing(here)), "files as in", there.relative_to(root))
"""


def wheel(python: str, base_python: str) -> str:
    """Build the source archive, from it the wheel, install that elsewhere, and run it there.

    python: that of the tests' environment, with hatchling and pip. base_python: the one behind it.
    """
    with tempfile.TemporaryDirectory(prefix="hostlink-wheel-") as name:
        folder = Path(name).resolve()
        if problem := passes([python, "-m", "hatchling", "build", "-t", "sdist", "-d", name]):
            return f"source archive: {problem}"
        build = [python, "-m", "pip", "wheel", "--quiet", "--no-deps"]
        build += ["--no-build-isolation", "-w", name, *map(str, folder.glob("*.tar.gz"))]
        if problem := passes(build):
            return f"wheel: {problem}"
        return installed_wheel(python, base_python, folder, next(folder.glob("*.whl")))


def installed_wheel(tools: str, base_python: str, folder: Path, built: Path) -> str:
    """Install a wheel in a new environment under `folder` and do the main job with it."""
    clean = environment.Environment(folder)
    python, hostlink = str(clean.python), str(clean.script("hostlink"))
    make = [base_python, "-m", "venv", "--without-pip", str(clean.folder)]
    pip = [tools, "-m", "pip", "--python", python, "install", "--quiet", str(built)]
    apart = {
        "HOSTLINK_ARCHIVE": str(folder / "archive.db"),
        "HOSTLINK_PRACTICE": str(folder / "practice"),
        "HOSTLINK_PORT": "practice://wheel?time=virtual",
        "PYTHONPATH": "",
    }
    for what, command in (
        ("environment", make),
        ("install", pip),
        ("files", [python, "-c", LOOK, str(ROOT)]),
        ("hostlink --help", [hostlink, "--help"]),
        ("hostlink load", [hostlink, "load", "shipped:tide", "--run"]),
        ("hostlink save", [hostlink, "save", "tide"]),
        ("hostlink programs", [hostlink, "programs"]),
        ("hostlink archive prove", [hostlink, "archive", "prove"]),
    ):
        if problem := passes(command, folder, apart):
            return f"{what}: {problem}"
    return ""
