"""Opening the app from the command line."""

from __future__ import annotations

from pathlib import Path

from hostlink.archive import Archive, archive_path
from hostlink.errors import UsageError


def open_app(
    *,
    port: str = "",
    profile: str = "",
    baud: int = 0,
    archive: Path | None = None,
    opens: str = "",
) -> None:
    """Open the app and stay in it until the person leaves.

    opens: a word for the listing that lies in the editor at first. Raises ArchiveError where the
    archive cannot be opened, UsageError where there is no terminal.
    """
    import sys

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(
            "The app needs a terminal.", advice="`hostlink --help` lists what works without one."
        )
    from hostlink.app.application import DeskApp

    with Archive.open(archive.expanduser() if archive else archive_path()) as opened:
        DeskApp(opened, port=port, profile=profile, baud=baud, opens=opens).run()
