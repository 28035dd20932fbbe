"""Opening the app when hostlink is called without a command."""

from __future__ import annotations

import os
from pathlib import Path

import click

from hostlink.cli.options import BAUD
from hostlink.errors import UsageError


def open_from_environment() -> None:
    """Open the app, with port, profile, speed and archive from the environment."""
    from hostlink.app.start import open_app

    archive = os.environ.get("HOSTLINK_ARCHIVE", "").strip()
    baud = os.environ.get("HOSTLINK_BAUD", "").strip()
    try:
        speed = BAUD.convert(baud, None, None) if baud else 0
    except click.BadParameter as wrong:
        raise UsageError(
            f'HOSTLINK_BAUD is "{baud[:20]}", which is not a speed.',
            advice="Give it a speed in baud, 50 to 4000000.",
        ) from wrong
    open_app(
        port=os.environ.get("HOSTLINK_PORT", "").strip(),
        profile=os.environ.get("HOSTLINK_PROFILE", "").strip(),
        baud=speed,
        archive=Path(archive) if archive else None,
    )
