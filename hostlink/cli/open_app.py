"""Opening the app from the command line."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from hostlink.errors import UsageError


def can_open_app() -> bool:
    """Return whether stdin and stdout are a terminal, which the app needs."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def open_from_environment() -> None:
    """Open the app, with port, profile, speed and archive from the environment."""
    from hostlink.app.start import open_app

    archive = os.environ.get("HOSTLINK_ARCHIVE", "").strip()
    baud = os.environ.get("HOSTLINK_BAUD", "").strip()
    if baud and not baud.isdecimal():
        raise UsageError(f'HOSTLINK_BAUD is "{baud[:20]}", which is no speed.')
    open_app(
        port=os.environ.get("HOSTLINK_PORT", "").strip(),
        profile=os.environ.get("HOSTLINK_PROFILE", "").strip(),
        baud=int(baud or 0),
        archive=Path(archive) if archive else None,
    )
