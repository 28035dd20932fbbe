"""Run slow work with files and the archive in a thread of its own, while the app goes on.

Which work runs where:
1. What waits for a board: the thread of that board's owner (hostlink.app.attached_board).
2. Other slow work: a worker thread, begun here and nowhere else.
3. The review of a long text: a process (hostlink.app.review_process), since a key would have to
   wait for a thread that computes; a thread from here only waits for the answer.
4. Everything else, and all that touches a widget: the app's own thread.
"""

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
    newest: str = "",
) -> None:
    """Run slow work in a worker thread, then call `done` with its result in the app's own thread.

    failed: called with a HostlinkError instead of showing it. Any other error is shown as a fault
    in hostlink; the app goes on. doing: shown in the last line meanwhile. newest: a name; of the
    works begun under it, only the last calls `done` or shows an error.
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

    app.run_worker(run, group=newest or "default", exclusive=bool(newest), thread=True)
