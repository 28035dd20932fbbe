"""The wheels of a pack: hostlink and all that it needs, for a computer without a network.

A pack is a folder that holds the project and, in `wheels`, everything that pip installs; pack.py
makes it. checksums.txt in there names every wheel with its SHA-256, in the form of `sha256sum`. It
is written last, so that a folder without it is no pack.
"""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path

FOLDER = "wheels"
CHECKSUMS = "checksums.txt"
ARCHIVE = "archive.sqlite3"  # at the top of a pack: a duplicate of who made it


def checksums(root: Path) -> Path:
    """Return where the checksums of the pack at `root` are."""
    return root / FOLDER / CHECKSUMS


def is_pack(root: str | Path) -> bool:
    """Tell whether the folder is a pack."""
    return checksums(Path(root)).is_file()


def seal(root: Path) -> None:
    """Write the checksums of the wheels that are there."""
    found = sorted((root / FOLDER).glob("*.whl"))
    text = "".join(f"{_digest(wheel)}  {wheel.name}\n" for wheel in found)
    checksums(root).write_bytes(text.encode())


def damaged(root: Path) -> list[str]:
    """Return the names of the wheels that are missing or not as they were packed."""
    rows = [row.split() for row in checksums(root).read_text(encoding="utf-8").splitlines()]
    return [name for digest, name in rows if _digest(root / FOLDER / name) != digest]


def installing(root: Path) -> list[str]:
    """Return pip's arguments that install hostlink from the wheels and from nowhere else.

    --isolated leaves out what a user's own settings of pip would add.
    """
    return ["--isolated", "--no-index", "--find-links", str(root / FOLDER), "hostlink"]


def data_folder() -> Path:
    """Return the folder in which hostlink keeps data of this user, as platformdirs has it.

    platformdirs is not installed yet where this is asked; a test compares the two.
    """
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local"
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = os.environ.get("XDG_DATA_HOME", "").strip() or Path.home() / ".local" / "share"
    return Path(base) / "hostlink"


def _digest(file: Path) -> str:
    """Return the SHA-256 of a file, "" where it cannot be read."""
    try:
        return hashlib.sha256(file.read_bytes()).hexdigest()
    except OSError:
        return ""
