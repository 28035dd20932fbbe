"""Boards attached to the app: one owner thread each, whose jobs are folded into what can be shown.

The owner's thread only appends to a queue. `Attached.drain`, called by the app's own timer, takes
events out, folds thousands of them into one state and calls the listeners in the app's thread. So
a flood costs the app one drawing a thirtieth of a second, and no widget is touched from a thread.
"""

from __future__ import annotations

import dataclasses
import threading
import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Generic, TypeVar

from hostlink.app.ways import KEYS
from hostlink.archive import Archive
from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.jobs.console import Console
from hostlink.jobs.event_words import Told, event_words
from hostlink.jobs.events import (
    AlreadyKept,
    BackupKept,
    BoardAnswered,
    BoardRecognised,
    BoardReturned,
    BoardVanished,
    Event,
    KeptAs,
    MemoryLost,
    PageProven,
    PagesRead,
    Rescued,
)
from hostlink.jobs.session.session import LinkChoice, Session
from hostlink.link.owner import Owner

R = TypeVar("R")
News = MemoryLost | BoardVanished | BoardReturned
_MOST_ROWS = 2_000  # of a board's output that wait to be shown; older ones are let go of
_IDLE_S = 0.005
_LISTEN_S = 0.03
_NEWS = LineRepaired | Warned | Rescued | BoardAnswered
_MOST_TOLD = 200  # sentences of one job that are kept to be shown


@dataclass(slots=True)
class Progress:
    """How far a job has come. Bytes and lines are those confirmed; times in seconds of the link.

    told: sentences worth reading, in order, each with whether it is news that must not be missed.
    """

    phase: str = "Waiting for its turn"
    line: int | None = None
    sent_lines: int = 0
    all_lines: int = 0
    sent_bytes: int = 0
    all_bytes: int = 0
    repairs: int = 0
    detail: str = ""
    told: list[tuple[str, bool]] = field(default_factory=list)
    first_at: float | None = None
    last_at: float = 0.0

    @property
    def rate(self) -> float | None:
        """Bytes a second since sending began; None where too little is known."""
        if self.first_at is None or self.last_at <= self.first_at or not self.sent_bytes:
            return None
        return self.sent_bytes / (self.last_at - self.first_at)

    @property
    def left_s(self) -> float | None:
        """Seconds until everything is sent, at the rate so far."""
        rate = self.rate
        return (self.all_bytes - self.sent_bytes) / rate if rate else None

    @property
    def noteworthy(self) -> bool:
        """Return whether there is news that the user must have time to read."""
        return any(news for _, news in self.told)

    def take(self, at: float, event: Event) -> None:
        """Fold one event in. at: when it happened, in seconds of the link's clock."""
        if isinstance(event, Phase):
            self.phase, self.detail = event.text, ""
            self.first_at, self.last_at = at, at
            self.sent_bytes = self.sent_lines = 0
            self._tell(event.words, news=False)
        elif isinstance(event, LineSent):
            self.line = event.number
            self.sent_lines, self.all_lines = event.sent_lines, event.all_lines
            self.sent_bytes, self.all_bytes = event.sent_bytes, event.all_bytes
            self.last_at = at
        elif isinstance(event, Captured | PagesRead | PageProven):
            self.detail = event_words(event, KEYS)
            if isinstance(event, Captured):
                self._tell(self.detail, news=False)
        elif isinstance(event, _NEWS | AlreadyKept | KeptAs | BackupKept):
            self.repairs += isinstance(event, LineRepaired)
            self._tell(_words(event), news=isinstance(event, _NEWS))

    def _tell(self, sentence: str, *, news: bool = True) -> None:
        self.told.append((sentence, news))
        del self.told[:-_MOST_TOLD]


class Job(Generic[R]):
    """One piece of work on a board: its name, its progress, and in the end its answer or error."""

    def __init__(self, name: str, attached: Attached, *, shown: bool = True) -> None:
        self.name = name
        self.attached = attached
        self.shown = shown
        self.progress = Progress()
        self.result: R | None = None
        self.error: BaseException | None = None
        self.ended = False
        self.stopping = False
        self.on_change: list[Callable[[Job[R]], None]] = []
        self.on_end: list[Callable[[Job[R]], None]] = []
        self.future: Future[R] | None = None
        self.incoming: deque[tuple[float, Event]] = deque()

    def stop(self) -> None:
        """Ask the job to stop; it ends in order and reports the condition of the board."""
        if not self.ended:
            self.stopping = True
            self.attached.cancel()

    def drain(self) -> bool:
        """Process new events; return whether there were any. Call in the app's thread only."""
        if self.ended:
            return False
        moved = False
        while self.incoming:
            self.progress.take(*self.incoming.popleft())
            moved = True
        if self.future is not None and self.future.done():
            self.ended = moved = True
            self.error = self.future.exception()
            if self.error is None:
                self.result = self.future.result()
        return moved


class Attached:
    """A board whose port the app keeps open, with its owner thread and its jobs.

    rows: what the board sent and nobody has taken yet; partial: its row that has not ended.
    news: what became of the board and its memory, not yet dealt with. read_at: when what it holds
    was last read, by the app's time of day.
    """

    def __init__(self, choice: LinkChoice, archive: Archive) -> None:
        self.choice = choice
        self.archive = archive
        # The owner's thread may ask before its constructor has returned, so this is our own.
        self._stop = threading.Event()
        self.jobs: list[Job[Any]] = []
        self.rows: deque[tuple[str, bool]] = deque(maxlen=_MOST_ROWS)
        self.news: deque[News] = deque()
        self.read_at: datetime | None = None
        self.partial = ""
        self.at_prompt = False
        self.vanished = False  # in the app's thread, from the news
        self.is_here = False
        self._now: Callable[[], float] = time.monotonic
        self._running: Job[Any] | None = None
        self.owner: Owner[Console] = Owner(
            choice.port, self._open, idle=self._listen, idle_s=_IDLE_S
        )

    @property
    def port(self) -> str:
        """Return the name or address of the port."""
        return self.choice.port

    @property
    def busy(self) -> Job[Any] | None:
        """The first job that has not ended."""
        return next((job for job in self.jobs if not job.ended), None)

    # --- in the owner's thread ---------------------------------------------------------------

    def _open(self) -> Console:
        return Console(
            self.choice,
            self.archive,
            self._emit,
            lambda row: self.rows.append((row, False)),
            cancelled=self._stop.is_set,
            stays=True,
        )

    def _listen(self, console: Console) -> None:
        console.listen(_LISTEN_S)
        self._mirror(console)

    def _mirror(self, console: Console) -> None:
        """What the app's thread may look at."""
        self.is_here = console.is_here
        self.partial = console.partial
        self.at_prompt = console.at_prompt

    def _emit(self, event: Event) -> None:
        if isinstance(event, News):
            self.news.append(event)
        if isinstance(event, BoardRecognised):
            self.choice = dataclasses.replace(
                self.choice, profile=event.profile, baud=0, is_guess=False
            )
        job = self._running
        if job is not None:
            job.incoming.append((self._now(), event))
        if isinstance(event, Warned) and (job is None or not job.shown):
            self.rows.append((_words(event), True))

    # --- in the app's thread -----------------------------------------------------------------

    def talk(self, name: str, work: Callable[[Console], R]) -> Job[R]:
        """Have something done with the console: a line typed, an interrupt."""
        return self._give(name, work, shown=False)

    def do(self, name: str, work: Callable[[Session, Archive], R], *, shown: bool = True) -> Job[R]:
        """Queue a job for the owner thread. shown: whether to show its progress."""

        def lent(console: Console) -> R:
            with console.lend() as session:
                self._now = session.wire.now
                return work(session, self.archive)

        return self._give(name, lent, shown=shown)

    def _give(self, name: str, work: Callable[[Console], R], *, shown: bool) -> Job[R]:
        job: Job[R] = Job(name, self, shown=shown)
        self.jobs.append(job)

        def piece(console: Console) -> R:
            self._running = job
            try:
                return work(console)
            finally:
                self._running = None
                self._mirror(console)

        job.future = self.owner.submit(piece)
        return job

    def cancel(self) -> None:
        """Ask everything on this board to stop."""
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
    def trouble(self) -> BaseException | None:
        """Why the port could not be opened, or was given up for good; None while it is owned."""
        return self.owner.trouble

    def close(self, timeout_s: float = 5.0) -> bool:
        """Stop what is under way and close the port; whether that was done in time."""
        self.cancel()
        return self.owner.close(timeout_s)


def _words(event: Told) -> str:
    """An event in words. How a program that was lost comes back, the desk asks by itself."""
    return event.text if isinstance(event, MemoryLost) else event_words(event, KEYS)
