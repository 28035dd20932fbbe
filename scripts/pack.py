"""Make a pack: a folder, say on a USB stick, from which hostlink starts without a network.

    python3 scripts/start.py --pack FOLDER [FILE ...]

In it: the project, the wheels of everything that hostlink needs on Linux, macOS and Windows, a
start.py, a starter to double-click for each system, a duplicate of your archive (archive.sqlite3),
your programs as listings, and the files that you name (firmware images, say). Every wheel is pure
Python, so that one pack serves all systems and Pythons. On the other computer `python3 start.py
ARGS` does what scripts/start.py does; the first start sets hostlink up in the user's data folder.

Making a pack needs the network; the folder appears when it is whole.
"""

from __future__ import annotations

import itertools
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from email.parser import HeaderParser
from pathlib import Path
from zipfile import ZipFile

import pythons
import wheels
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name, parse_wheel_filename

ROOT = Path(__file__).resolve().parent.parent
# What is copied: what the source archive holds, see [tool.hatch.build.targets.sdist].
PROJECT = ("hostlink", "library", "scripts", "tests", "README.md", "DEVELOPERS.md", "LICENSE")
STARTERS = ("start.py", "hostlink.cmd", "hostlink.command", "hostlink.desktop")
UNWANTED = shutil.ignore_patterns("__pycache__", "*.egg-info", ".*_cache", ".hypothesis")
# For which systems and Pythons the wheels must suffice: what markers may ask for (PEP 508).
SYSTEMS = (
    {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix"},
    {"sys_platform": "darwin", "platform_system": "Darwin", "os_name": "posix"},
    {"sys_platform": "win32", "platform_system": "Windows", "os_name": "nt"},
)
PYTHONS = tuple("{}.{}".format(*minor) for minor in pythons.SUPPORTED)


class PackError(Exception):
    """The pack cannot be made; the message says why and what to do."""


def targets() -> Iterator[dict[str, str]]:
    """Return the environment, in the sense of markers, of each system with each Python."""
    for system, version in itertools.product(SYSTEMS, PYTHONS):
        yield {
            **system,
            "python_version": version,
            "python_full_version": f"{version}.0",
            "implementation_name": "cpython",
            "platform_python_implementation": "CPython",
            "extra": "",
        }


def needed_by(wheel: Path) -> Iterator[Requirement]:
    """Return what a wheel requires on one target at least, without its marker."""
    with ZipFile(wheel) as opened:
        name = next(each for each in opened.namelist() if each.endswith(".dist-info/METADATA"))
        metadata = HeaderParser().parsestr(opened.read(name).decode("utf-8"))
    for text in metadata.get_all("Requires-Dist", []):
        requirement = Requirement(text)
        marker = requirement.marker
        if marker is None or any(marker.evaluate(target) for target in targets()):
            requirement.marker = None
            yield requirement


def lacking(folder: Path) -> list[str]:
    """Return the requirements of the wheels in a folder that no wheel in it meets."""
    held = defaultdict(list)
    for wheel in folder.glob("*.whl"):
        name, version, _, _ = parse_wheel_filename(wheel.name)
        held[name].append(version)
    missing = {
        str(requirement)
        for wheel in folder.glob("*.whl")
        for requirement in needed_by(wheel)
        if not any(requirement.specifier.filter(held[canonicalize_name(requirement.name)]))
    }
    return sorted(missing)


def not_pure(folder: Path) -> list[str]:
    """Return the names of the wheels that are for one system or one Python only."""
    return [
        wheel.name
        for wheel in sorted(folder.glob("*.whl"))
        if not any(
            (tag.abi, tag.platform) == ("none", "any") and tag.interpreter.startswith("py3")
            for tag in parse_wheel_filename(wheel.name)[3]
        )
    ]


def gather(folder: Path) -> None:
    """Build the wheel of hostlink in a folder, and download all that it needs beside it."""
    folder.mkdir()
    python = [sys.executable, "-m"]
    _run([*python, "hatchling", "build", "-t", "wheel", "-d", str(folder)], "built")
    wanted = [str(next(folder.glob("*.whl")))]
    download = [*python, "pip", "download", "--quiet", "--no-input", "--dest", str(folder)]
    download += ["--disable-pip-version-check", "--only-binary", ":all:", "--find-links"]
    download += [str(folder), "--python-version", PYTHONS[0]]
    download += ["--implementation", "py", "--abi", "none", "--platform", "any"]
    while wanted:
        # pip takes markers for the system that it runs on, whatever it is told of platforms.
        _run([*download, *wanted], "downloaded")
        before, wanted = wanted, lacking(folder)
        if wanted == before:
            raise PackError(f"No wheel meets {', '.join(wanted)}. Nothing was made.")
    if names := not_pure(folder):
        raise PackError(f"Not for every system: {', '.join(names)}. Nothing was made.")


def _run(command: Sequence[str], done: str) -> None:
    """Run a tool; raise PackError where it fails, with the last thing that it said."""
    ran = subprocess.run(
        command, cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    if ran.returncode != 0:
        said = (ran.stderr.strip() or ran.stdout.strip() or "no reason was given").splitlines()
        raise PackError(
            f"The wheels could not be {done} ({said[-1]}). Nothing was made. Making a pack needs "
            "the network."
        )


def copy_project(folder: Path) -> None:
    """Copy the project into a folder, with the starters at its top."""
    for name in (*PROJECT, "pyproject.toml"):
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=UNWANTED)
        else:
            shutil.copy(source, folder / name)
    for name in STARTERS:
        shutil.copy(ROOT / "scripts" / name, folder / name)


def copy_yours(folder: Path, files: Sequence[Path]) -> list[str]:
    """Copy what is the user's own; return a sentence on each part."""
    from hostlink.archive import Archive
    from hostlink.archive.database.place import archive_path
    from hostlink.cli.entry import run_line
    from hostlink.jobs.giving import chosen_programs

    told = []
    if archive_path().exists():
        # Status 1 says that something in it is damaged: what is whole is there, and was told.
        run_line(["archive", "duplicate", str(folder / wheels.ARCHIVE), "--quiet"])
        with Archive.open(archive_path(), create=False, read_only=True) as archive:
            chosen = chosen_programs(archive)
        names = ", with the names of learners" if chosen.passed_over else ""
        told.append(f"Your archive is in it as {wheels.ARCHIVE}{names}.")
        if chosen.materials:
            run_line(["give", "-o", str(folder / "listings"), "--quiet"])
            told.append("Its programs are in the folder listings.")
    for file in files:
        copy = shutil.copytree if file.is_dir() else shutil.copy
        (folder / "files").mkdir(exist_ok=True)
        copy(file, folder / "files" / file.name)
    if files:
        told.append(f"In the folder files: {', '.join(file.name for file in files)}.")
    return told


def check(target: Path, files: Sequence[Path]) -> None:
    """Raise PackError where the folder cannot be made, or a named file is not there or twice."""
    if target.exists():
        raise PackError(
            f"{target} already exists. Nothing was changed. Name a new folder, or delete that "
            "one first."
        )
    if not target.parent.is_dir():
        raise PackError(f"There is no folder {target.parent}. Nothing was made.")
    if any(target.is_relative_to(ROOT / name) for name in PROJECT):
        raise PackError(f"{target} is a part of what is packed. Name a folder elsewhere.")
    if around := [str(file) for file in files if target.resolve().is_relative_to(file.resolve())]:
        raise PackError(f"{', '.join(around)} holds the pack itself. Name a folder elsewhere.")
    names = [file.name.casefold() for file in files]  # a stick knows no other letters
    if twice := sorted({name for name in names if names.count(name) > 1}):
        raise PackError(f"Two files are called {', '.join(twice)}. Nothing was made.")
    if missing := [str(file) for file in files if not file.exists()]:
        raise PackError(f"There is no {', '.join(missing)}. Nothing was made.")


def make(target: Path, files: Sequence[Path]) -> list[str]:
    """Make the pack; return sentences on what is in it. Raises PackError, and leaves nothing."""
    check(target, files)
    with tempfile.TemporaryDirectory(prefix=f"{target.name}-", dir=target.parent) as made:
        part = Path(made) / target.name
        part.mkdir()
        copy_project(part)
        gather(part / wheels.FOLDER)
        told = copy_yours(part, files)
        wheels.seal(part)
        part.rename(target)
    count = len(list((target / wheels.FOLDER).glob("*.whl")))
    return [f"The pack is in {target}, with {count} wheels, all for every system.", *told]


def main(arguments: Sequence[str]) -> int:
    """Make a pack; returns an exit status."""
    if not arguments or arguments[0].startswith("-"):
        print("Name a new folder: start.py --pack FOLDER [FILE ...]", file=sys.stderr)
        return 2
    paths = [Path(each).expanduser() for each in arguments]
    # ".." has no name of its own, and resolve() would give a link that of another file.
    target, *files = (Path(os.path.abspath(each)) for each in paths)  # noqa: PTH100
    for name in {"SIGTERM", "SIGHUP"}.intersection(dir(signal)):  # a terminal that is closed
        signal.signal(getattr(signal, name), signal.default_int_handler)
    try:
        for sentence in make(target, files):
            print(sentence)
    except PackError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped. Nothing was left behind.", file=sys.stderr)
        return 130
    except OSError as error:
        print(f"The pack could not be written: {error}. Nothing was left behind.", file=sys.stderr)
        return 1
    print(
        "On the other computer open a terminal in that folder and type python3 start.py (on "
        "Windows: py start.py); or double-click in it hostlink.cmd on Windows, hostlink.command on "
        "macOS, hostlink.desktop on Linux."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
