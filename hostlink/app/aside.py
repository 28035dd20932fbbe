"""Work with files and the archive in a thread of its own, so that the app goes on meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from textual.worker import get_current_worker

from hostlink.errors import HostlinkError

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

T = TypeVar("T")


def aside(
    app: DeskApp,
    work: Callable[[], T],
    done: Callable[[T], None],
    failed: Callable[[HostlinkError], None] | None = None,
    *,
    doing: str = "",
) -> None:
    """Run slow work with files in a worker thread, then call `done` with its result.

    failed: called with a HostlinkError, which is shown otherwise. Any other error is shown as a
    fault in hostlink; the app goes on. doing: stands in the last line meanwhile.
    """

    keys = app.gate.taken
    if doing:
        app.tell(doing)

    def shown(then: Callable[[], object]) -> None:
        with app.desk.questions.unasked(keys):
            app.desk.last_line.untell(doing)
            then()

    def run() -> None:
        then: Callable[[], object]
        try:
            then = partial(done, work())
        except HostlinkError as error:
            then = partial(failed or app.show_error, error)
        except Exception as error:  # noqa: BLE001 - shown, and must not end the app
            then = partial(app.show_error, error)
        if not get_current_worker().is_cancelled:
            app.call_from_thread(shown, then)

    app.run_worker(run, name="files", thread=True)
