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
) -> None:
    """Do what may take long, with many files, in a worker's thread; then `done` with its answer.

    failed: what to do with an error of ours in place of showing it.
    """

    def run() -> None:
        try:
            answer = work()
        except HostlinkError as error:
            then = partial(failed or app.show_error, error)
        else:
            then = partial(done, answer)
        if not get_current_worker().is_cancelled:
            app.call_from_thread(then)

    app.run_worker(run, name="files", thread=True)
