"""The owner: one thread that holds a port for its whole life and takes work from a queue.

Rules:
1. Only the owner's thread opens, uses and closes the port.
2. Work is done in the order of submission. Each piece reports its result through its own future.
3. `cancel` asks the current piece to stop; the pump checks `cancelled` on every turn. Work that is
   still in the queue is not started then either.
4. An error becomes the result of the piece that raised it, and the thread continues. If opening
   fails, every piece gets that error.
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
    """Run work on one resource in a thread of its own, for as long as the `with` block lasts.

    open_it: called in the thread; returns a context manager (a job's session, a wire) whose value
    is passed to each piece of work. idle: called in the thread while the queue is empty, once every
    idle_s seconds, with a function that tells whether work waits, when it should return; if it
    raises, the error is kept in `trouble` and it is not called again.
    cancelled: the flag that `cancel` sets, for an open_it that must check it: the thread may start
    before the caller has a reference to the owner.
    """

    def __init__(
        self,
        name: str,
        open_it: Callable[[], AbstractContextManager[T]],
        *,
        idle: Callable[[T, Callable[[], bool]], object] | None = None,
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
        """Return whether the current work should stop. Serves as the `cancelled` of a wire."""
        return self._cancelled.is_set()

    def submit(self, work: Callable[[T], R]) -> Future[R]:
        """Queue a piece of work; the future gives its result or its error."""
        answer: Future[R] = Future()
        with self._lock:
            if self._closing:
                answer.set_exception(Interrupted("The port is being closed."))
            else:
                self._work.put((work, answer))
        return answer

    def cancel(self) -> None:
        """Ask the current work to stop, and do not start what is queued."""
        self._cancelled.set()

    def go_on(self) -> None:
        """Accept work again after a cancel."""
        self._cancelled.clear()

    def close(self, timeout_s: float = 10.0) -> bool:
        """Finish the queued work, close the resource and end the thread.

        timeout_s: seconds to wait. Returns whether the thread ended in time.
        """
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
        except BaseException as error:  # noqa: BLE001 - passed to those who wait for a result
            self.trouble = self.trouble or error
            while not served and (piece := self._work.get()) is not None:
                if piece[1].set_running_or_notify_cancel():
                    piece[1].set_exception(error)

    def _serve(self, owned: T) -> None:
        """Do queued work, and call `idle` in between, until the owner is closed."""
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
                answer.set_exception(Interrupted("Stopped before it began."))
                continue
            try:
                answer.set_result(work(owned))
            except BaseException as error:  # noqa: BLE001 - it is the result
                answer.set_exception(error)

    def _has_work(self) -> bool:
        return not self._work.empty()

    def _do_idle(self, owned: T) -> None:
        assert self._idle is not None
        try:
            self._idle(owned, self._has_work)
        except Exception as error:  # noqa: BLE001 - kept in `trouble`, since nobody waits for it
            self.trouble = error
