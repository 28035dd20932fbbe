"""The owner: one thread that has a port for its whole life, and takes work by queue.

Rules:
1. The owner's thread opens what it owns, does all work on it, and closes it. Nobody else does.
2. Work is done in the order in which it was given. Each piece answers through its own future.
3. `cancel` asks the piece under way to stop; the work looks at `cancelled` on every turn of its
   pump. What waits in the queue is not done then either.
4. An error is the answer of the piece that raised it; the thread goes on. If the opening fails,
   each piece is answered with that error.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import AbstractContextManager
from typing import Any, Generic, TypeVar

from hostlink.errors import Interrupted

T = TypeVar("T")
R = TypeVar("R")


class Owner(Generic[T]):
    """A thread that owns what `open_it` gives, for as long as the `with` block lasts.

    open_it: called in the thread; gives a context manager (a job's session, a wire) whose value the
    work is done with. idle: done in the thread whenever nothing is in the queue, at most each
    idle_s seconds; an error it raises is kept in `trouble`, and idling ends. cancelled: the flag of
    `cancel`, for an open_it that looks at it: the thread may run before the owner has a name.
    """

    def __init__(
        self,
        name: str,
        open_it: Callable[[], AbstractContextManager[T]],
        *,
        idle: Callable[[T], object] | None = None,
        idle_s: float = 0.05,
        cancelled: threading.Event | None = None,
    ) -> None:
        self.trouble: BaseException | None = None
        self._open = open_it
        self._idle = idle
        self._idle_s = idle_s
        self._work: queue.Queue[tuple[Callable[[T], Any], Future[Any]] | None] = queue.Queue()
        self._cancelled = cancelled or threading.Event()
        self._closing = False
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._live, name=f"owner of {name}", daemon=True)
        self._thread.start()

    def __enter__(self) -> Owner[T]:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def cancelled(self) -> bool:
        """Whether the work under way is to stop. For the `cancelled` of a wire."""
        return self._cancelled.is_set()

    def submit(self, work: Callable[[T], R]) -> Future[R]:
        """Queue a piece of work; its answer, or its error, comes through the future."""
        answer: Future[R] = Future()
        with self._lock:
            if self._closing:
                answer.set_exception(Interrupted("The port is being closed."))
            else:
                self._work.put((work, answer))
        return answer

    def cancel(self) -> None:
        """Ask what is under way to stop, and let go of what waits."""
        self._cancelled.set()

    def go_on(self) -> None:
        """Take work again after a cancel."""
        self._cancelled.clear()

    def close(self, timeout_s: float = 10.0) -> bool:
        """Do what is queued, close what is owned, end the thread; whether it ended in time."""
        with self._lock:
            if not self._closing:
                self._closing = True
                self._work.put(None)
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    # --- in the thread -----------------------------------------------------------------------

    def _live(self) -> None:
        served = False
        try:
            with self._open() as owned:
                self._serve(owned)
                served = True
        except BaseException as error:  # noqa: BLE001 - handed to whoever waits for an answer
            self.trouble = self.trouble or error
            while not served and (piece := self._work.get()) is not None:
                if piece[1].set_running_or_notify_cancel():
                    piece[1].set_exception(error)

    def _serve(self, owned: T) -> None:
        """Do what is queued, and idle between, until the owner is closed."""
        while True:
            idling = self._idle is not None and self.trouble is None
            try:
                piece = self._work.get(timeout=self._idle_s if idling else None)
            except queue.Empty:
                self._do_idle(owned)
                continue
            if piece is None:
                return
            work, answer = piece
            if not answer.set_running_or_notify_cancel():
                continue
            if self.cancelled:
                answer.set_exception(Interrupted("Stopped before it was begun."))
                continue
            try:
                answer.set_result(work(owned))
            except BaseException as error:  # noqa: BLE001 - it is the answer
                answer.set_exception(error)

    def _do_idle(self, owned: T) -> None:
        assert self._idle is not None
        try:
            self._idle(owned)
        except Exception as error:  # noqa: BLE001 - told through `trouble`, as nobody waits for it
            self.trouble = error
