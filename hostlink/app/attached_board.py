"""A board attached to the app: its owner thread, its jobs, and what it sent.

The owner thread only appends to queues, and calls `on_news` when there is something new. The app
then calls `AttachedBoard.drain`, which folds the events into what can be shown and calls the
listeners in the app's thread. So a flood costs the app one drawing per thirtieth of a second, an
idle board costs it none, and no widget is touched from another thread.
"""

from __future__ import annotations

import dataclasses
import threading
import time
from collections import deque
from collections.abc import Callable
from datetime import datetime
from typing import Any, TypeVar

from hostlink.app.job import Job, Sent, event_sentence
from hostlink.archive import Archive
from hostlink.board.dialogue.events import Warned
from hostlink.jobs.console import Console
from hostlink.jobs.events import (
    BoardRecognised,
    BoardReturned,
    BoardVanished,
    Event,
    MemoryLost,
    ProgramFailed,
)
from hostlink.jobs.session.activity import BoardState
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.session import Session
from hostlink.link.owner import Owner

R = TypeVar("R")


@dataclasses.dataclass(frozen=True, slots=True)
class SpokeUnasked:
    """A board sent bytes that nothing had requested."""


@dataclasses.dataclass(frozen=True, slots=True)
class EndedOrRestarted:
    """A program ended or its board restarted; without a known banner both look alike."""


News = MemoryLost | BoardVanished | BoardReturned
_MOST_ROWS = 2_000  # of a board's output that wait to be shown; older ones are dropped
_IDLE_S = 0.02
_LISTEN_S = 0.25


class AttachedBoard:
    """A board whose port the app keeps open, with its owner thread and its jobs.

    on_news: called in any thread when `drain` has something to do. rows: output not shown yet.
    partial: the row of output that has not ended. state: what the board does. news: events of the
    board and its memory not processed yet. faults: errors of its programs not shown yet.
    read_at: the app's time when its memory was last read.
    """

    def __init__(
        self, choice: LinkChoice, archive: Archive, on_news: Callable[[], object] = lambda: None
    ) -> None:
        self.choice = choice
        self.on_news = on_news
        self.archive = archive
        # The owner's thread may read this before self.owner is set, so it is not the owner's.
        self._stop = threading.Event()
        self.jobs: list[Job[Any]] = []
        self.rows: deque[tuple[str, bool]] = deque(maxlen=_MOST_ROWS)
        self.news: deque[News | SpokeUnasked | EndedOrRestarted] = deque()
        self.faults: deque[ProgramFailed] = deque()
        self.read_at: datetime | None = None
        self.partial = ""
        self.state = BoardState()
        self.vanished = False  # in the app's thread, from the news
        self.is_here = False
        self._now: Callable[[], float] = time.monotonic
        self._running: Job[Any] | None = None
        self.owner: Owner[Console] = Owner(
            choice.port, self._open, idle=self._listen, idle_s=_IDLE_S
        )

    @property
    def at_prompt(self) -> bool:
        """Return whether the board waits for a command."""
        return self.state.at_prompt

    @property
    def port(self) -> str:
        """Return the name or address of the port."""
        return self.choice.port

    @property
    def busy(self) -> Job[Any] | None:
        """Return the first job that has not ended, or None."""
        return next((job for job in self.jobs if not job.ended), None)

    @property
    def doing(self) -> str:
        """Return what a job does to the board's memory, as it follows the board's name, or ""."""
        return next((job.doing for job in self.jobs if job.doing and not job.ended), "")

    # --- in the owner's thread ---------------------------------------------------------------

    def _open(self) -> Console:
        return Console(
            self.choice,
            self.archive,
            self._emit,
            lambda row: self._show(row, ours=False),
            cancelled=self._stop.is_set,
            stays=True,
        )

    def _listen(self, console: Console, ends: Callable[[], bool]) -> None:
        console.listen(_LISTEN_S, ends)
        self._mirror(console)

    def _mirror(self, console: Console) -> None:
        """Copy the console's state to where the app's thread may read it."""
        if console.take_unasked():
            self.news.append(SpokeUnasked())
            self.on_news()
        now = (console.is_here, console.partial, console.activity.now)
        if self.state.runs and now[2].at_prompt and not self.choice.profile.talk.banner:
            self.news.append(EndedOrRestarted())
        if now != (self.is_here, self.partial, self.state):
            self.is_here, self.partial, self.state = now
            self.on_news()

    def _show(self, row: str, *, ours: bool) -> None:
        self.rows.append((row, ours))
        self.on_news()

    def _emit(self, event: Event) -> None:
        if isinstance(event, News):
            self.news.append(event)
        if isinstance(event, ProgramFailed):
            self.faults.append(event)
        if isinstance(event, BoardRecognised):
            self.choice = dataclasses.replace(
                self.choice, profile=event.profile, baud=0, is_guess=False
            )
        job = self._running
        if job is not None:
            job.incoming.append((self._now(), event))
        if isinstance(event, Warned) and (job is None or not job.shown):
            self._show(event_sentence(event), ours=True)
        self.on_news()

    # --- in the app's thread -----------------------------------------------------------------

    def talk(self, name: str, work: Callable[[Console], R]) -> Job[R]:
        """Queue work on the console, such as typing a line, for the owner thread."""
        return self._give(name, work, shown=False)

    def talk_at_prompt(
        self,
        name: str,
        work: Callable[[Console], R],
        *,
        then: str,
        shown: bool = False,
        doing: str = "",
    ) -> Job[R]:
        """Queue work on the console that needs the prompt; parameters as of `do`."""

        def freed(console: Console, may_stop: bool) -> R:
            console.free(may_stop=may_stop)
            return work(console)

        return self._give_at_prompt(name, freed, then=then, shown=shown, doing=doing)

    def do(
        self,
        name: str,
        work: Callable[[Session, Archive], R],
        *,
        shown: bool = True,
        then: str = "go on",
        doing: str = "",
        sends: Sent | None = None,
    ) -> Job[R]:
        """Queue a job for the owner thread. shown: whether to show its progress.

        If a program runs, the job fails without typing anything; `Job.after_stop` then queues it
        again with consent to stop the program. then: what the user wants, as it follows "Stop it
        and"; "" never asks. doing: see the property `doing`. sends: the listing that replaces what
        is in memory.
        """

        def lent(console: Console, may_stop: bool) -> R:
            with console.lend(may_stop=may_stop) as session:
                self._now = session.wire.now
                return work(session, self.archive)

        return self._give_at_prompt(name, lent, then=then, shown=shown, doing=doing, sends=sends)

    def _give_at_prompt(
        self,
        name: str,
        work: Callable[[Console, bool], R],
        *,
        then: str,
        shown: bool,
        doing: str,
        sends: Sent | None = None,
        may_stop: bool = False,
    ) -> Job[R]:
        """Queue work that needs the prompt, and that may have consent to stop a running program."""
        job = self._give(name, lambda console: work(console, may_stop), shown=shown, doing=doing)
        job.sends = sends
        if then and not may_stop:
            job.then = then
            job.after_stop = lambda: self._give_at_prompt(
                name, work, then=then, shown=shown, doing=doing, sends=sends, may_stop=True
            )
        return job

    def _give(
        self, name: str, work: Callable[[Console], R], *, shown: bool, doing: str = ""
    ) -> Job[R]:
        job: Job[R] = Job(name, self, shown=shown)
        job.doing = doing
        self.jobs.append(job)

        def piece(console: Console) -> R:
            self._running = job
            try:
                return work(console)
            finally:
                self._running = None
                self._mirror(console)

        job.future = self.owner.submit(piece)
        job.future.add_done_callback(lambda _: self.on_news())
        return job

    def cancel(self) -> None:
        """Ask all jobs on this board to stop."""
        self._stop.set()
        self.owner.cancel()

    def drain(self) -> None:
        """Process new events and call the listeners."""
        for job in list(self.jobs):
            if not job.drain():
                continue
            if job.ended:
                self.jobs.remove(job)
                if not self.jobs:
                    self._stop.clear()
                    self.owner.go_on()
                for ended in list(job.on_end):
                    ended(job)
            for changed in list(job.on_change):
                changed(job)

    @property
    def failure(self) -> BaseException | None:
        """Return why the port could not be opened or was given up; None while it is open."""
        return self.owner.trouble

    def close(self, timeout_s: float = 5.0) -> bool:
        """Stop all jobs and close the port; return whether that was done in time."""
        self.cancel()
        return self.owner.close(timeout_s)
