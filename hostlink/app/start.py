"""Opening the app, and reporting how it ended."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.errors import HostlinkError, Interrupted, UsageError
from hostlink.sentences import PRINTED_ABOVE, REVISIONS_KEPT

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.archive import Archive


def can_open_app() -> bool:
    """Return whether stdin and stdout are a terminal that can draw, which the app needs."""
    return os.environ.get("TERM") != "dumb" and sys.stdin.isatty() and sys.stdout.isatty()


def app_class() -> type[DeskApp]:
    """Import and return the app; keep the garbage collector off until the desk is drawn."""
    gc.disable()
    from hostlink.app.application import DeskApp

    return DeskApp


def open_app(
    *,
    port: str = "",
    profile: str = "",
    baud: int = 0,
    archive: Path | None = None,
    opens: str = "",
) -> None:
    """Run the app until the user leaves it.

    opens: names the listing to open in the editor. Raises ArchiveError if the archive cannot be
    opened, UsageError if there is no terminal, Interrupted if a signal ended the app during a job.
    """
    if not can_open_app():
        raise UsageError(
            "The app needs a terminal that can draw.",
            advice="`hostlink --help` lists what works without one.",
        )
    opened: list[Archive] = []

    def open_archive() -> Archive:
        """Open the archive, after the first drawing: importing SQLite takes longer than that."""
        from hostlink.archive import Archive, archive_path

        usual = archive_path(practice=port.startswith("practice:"))
        opened.append(Archive.open(archive.expanduser() if archive else usual))
        return opened[0]

    app = app_class()(open_archive, port=port, profile=profile, baud=baud, opens=opens)
    try:
        _run(app)
    finally:
        gc.enable()
        for each in opened:
            each.close()
    _raise_failure(app)


def _raise_failure(app: DeskApp) -> None:
    """Raise the error that the app ended with, if any."""
    if app.failed is not None:
        raise app.failed
    if app.return_code:
        raise HostlinkError(
            f"An error ended the app; {PRINTED_ABOVE}.",
            kept=f"{REVISIONS_KEPT} {app.desk.drafts.left_words}".rstrip(),
        )


def _run(app: DeskApp) -> None:
    """Run the app; if it is left or ended during a job, report how that job ended."""
    from hostlink.app.signals import leaving_on_signals
    from hostlink.app.terminal import heed_end

    try:
        with leaving_on_signals(app):
            heed_end()
            app.run()
    except KeyboardInterrupt:
        _end_jobs(app)
        raise
    _end_jobs(app)


def _end_jobs(app: DeskApp) -> None:
    """Stop all jobs and close every port, after the app has ended.

    Raises Interrupted if a job failed because it was stopped.
    """
    app.boards.close()
    for job in app.boards.cut_off:
        job.drain()
    told = [str(job.error) for job in app.boards.cut_off if isinstance(job.error, HostlinkError)]
    if told:
        raise Interrupted("The app was ended during a job.", kept=" ".join(told)) from None
