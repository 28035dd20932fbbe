"""Ask whether to stop a running program for a job that needs the board's prompt."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any

from hostlink.errors import LinkError, LinkReason

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.job import Job


def stop_question(
    app: DeskApp, job: Job[Any], watch: Callable[[Job[Any]], object]
) -> Callable[[], object] | None:
    """Return a function that asks to stop the program that made a job fail.

    None if the job failed for another reason. watch: called with the job that is begun again.
    """
    error, again = job.error, job.after_stop
    if again is None or not isinstance(error, LinkError) or error.reason is not LinkReason.RUNNING:
        return None
    return partial(_ask, app, error, job.then, lambda: watch(again()))


def _ask(app: DeskApp, error: LinkError, then: str, go_on: Callable[[], object]) -> None:
    from hostlink.app.screens.dialogues import ask

    ask(
        app,
        error.what,
        ("stop", f"Stop it and {then}", go_on),
        leave="Leave it running",
        why=f"{error.kept} Stopping may lose its variables; the program stays.",
    )
