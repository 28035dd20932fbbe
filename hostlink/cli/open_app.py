"""Opening the app when hostlink is called without a command."""

from __future__ import annotations

import os
from pathlib import Path

from hostlink.errors import UsageError


def open_from_environment() -> None:
    """Open the app, with port, profile, speed and archive from the environment."""
    from hostlink.app.start import open_app

    archive = os.environ.get("HOSTLINK_ARCHIVE", "").strip()
    baud = os.environ.get("HOSTLINK_BAUD", "").strip()
    if baud and not baud.isdecimal():
        raise UsageError(f'HOSTLINK_BAUD is "{baud[:20]}", which is not a speed.')
    open_app(
        port=os.environ.get("HOSTLINK_PORT", "").strip(),
        profile=os.environ.get("HOSTLINK_PROFILE", "").strip(),
        baud=int(baud or 0),
        archive=Path(archive) if archive else None,
    )
