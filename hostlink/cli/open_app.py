"""Opening the app from the command line."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def can_open_app() -> bool:
    """Whether a person sits at both ends: the app draws on a terminal and reads its keys."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def open_from_environment() -> None:
    """Open the app as `hostlink` alone does; the usual variables choose port and archive."""
    from hostlink.app.start import open_app
    from hostlink.errors import UsageError

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
