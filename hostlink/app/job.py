"""One job on an attached board: how far it has come, and in the end its result or its error."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Generic, TypeVar

from hostlink.app.ways import KEYS
from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Waiting, Warned
from hostlink.jobs.event_words import Told, event_words
from hostlink.jobs.events import (
    AlreadyKept,
    BackupKept,
    BoardAnswered,
    BoardReturned,
    BoardVanished,
    Event,
    KeptAs,
    MemoryLost,
    PageProven,
    PagesRead,
    Rescued,
    RowPrinted,
)

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard

R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Sent:
    """A listing that a job sends: its lines by number, and its size on the board in bytes."""

    lines: Mapping[int, str]
    size: int


_NEWS = Warned | Rescued | BoardAnswered
_SHOWN_ABOVE = BoardVanished | BoardReturned  # the sentence about the board says it already
_MOST_TOLD = 200  # sentences of one job that are kept to be shown


@dataclass(slots=True)
class Progress:
    """How far a job has come. Bytes and lines are those confirmed; times in seconds of the link.

    sent: the numbers of the lines confirmed since the memory was cleared. done_pages, all_pages: of
    flash, in this phase. read_pages: how many were read, from the first; proven_pages: the numbers
    of those written and read back; last_page: the last page read or written. differs: memory may
    differ from what was known before the job. told: sentences worth reading, in order, each with
    whether it is news that must not be missed. kept: the revisions that the job kept listings as,
    until the desk has noted them.
    """

    phase: str = "Waiting for its turn"
    line: int | None = None
    sent_lines: int = 0
    all_lines: int = 0
    sent_bytes: int = 0
    all_bytes: int = 0
    repairs: int = 0
    detail: str = ""
    sent: set[int] = field(default_factory=set)
    done_pages: int = 0
    all_pages: int = 0
    read_pages: int = 0
    proven_pages: set[int] = field(default_factory=set)
    last_page: int | None = None
    differs: bool = False
    told: list[tuple[str, bool]] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    first_at: float | None = None
    last_at: float = 0.0

    @property
    def rate(self) -> float | None:
        """Return the bytes per second since sending began, None if too little was sent."""
        if self.first_at is None or self.last_at <= self.first_at or not self.sent_bytes:
            return None
        return self.sent_bytes / (self.last_at - self.first_at)

    def left_s(self, wire_rate: float) -> float | None:
        """Return the seconds until everything is sent and read back once, or None if unknown.

        For pages of flash: until this phase ends. Sending is taken to go on at the rate so far.
        wire_rate: bytes a second at which the board is read back.
        """
        if self.all_pages:
            spent_s = self.last_at - (self.first_at or 0.0)
            return spent_s * (self.all_pages - self.done_pages) / self.done_pages
        rate = self.rate
        reading_s = self.all_bytes / wire_rate
        return (self.all_bytes - self.sent_bytes) / rate + reading_s if rate else None

    @property
    def is_read_back(self) -> bool:
        """Return whether what was sent is being read back."""
        return bool(self.sent) and self.phase.startswith("Reading back")

    @property
    def noteworthy(self) -> bool:
        """Return whether there is news that the user must have time to read."""
        return any(news for _, news in self.told)

    def take(self, at: float, event: Event) -> None:
        """Update the progress from an event. at: its time in seconds of the link's clock."""
        if isinstance(event, Phase):
            self.phase, self.detail = event.text, ""
            self.first_at, self.last_at = at, at
            self.sent_bytes = self.sent_lines = self.all_lines = self.all_pages = 0
            if event.text.startswith("Clearing"):
                self.sent.clear()
                self.differs = True
            self._tell(event.words, news=False)
        elif isinstance(event, LineSent):
            self.line, self.detail = event.number, ""
            self.sent.add(event.number)
            self.sent_lines, self.all_lines = event.sent_lines, event.all_lines
            self.sent_bytes, self.all_bytes = event.sent_bytes, event.all_bytes
            self.last_at = at
        elif isinstance(event, Captured | Waiting):  # true only while it goes on
            self.detail = event_words(event, KEYS)
        elif isinstance(event, PagesRead | PageProven):
            self.detail = event_words(event, KEYS)
            self.done_pages, self.all_pages, self.last_at = event.done, event.pages, at
            if isinstance(event, PagesRead):
                self.read_pages, self.last_page = event.done, event.done - 1
            else:
                self.last_page = event.page
                self.proven_pages.add(event.page)
        elif isinstance(event, RowPrinted):
            self._tell(event.text, news=False)
        elif isinstance(event, _NEWS | LineRepaired | AlreadyKept | KeptAs | BackupKept):
            if isinstance(event, LineRepaired):
                self.repairs += 1
                self.sent.discard(event.number or 0)
            elif isinstance(event, KeptAs):
                self.kept.append(event.spec)
            self.differs = self.differs or isinstance(event, Rescued)
            is_news = isinstance(event, _NEWS) and not isinstance(event, _SHOWN_ABOVE)
            self._tell(event_sentence(event), news=is_news)

    def _tell(self, sentence: str, *, news: bool = True) -> None:
        self.told.append((sentence, news))
        del self.told[:-_MOST_TOLD]


class Job(Generic[R]):
    """A job on one board: its name, its progress, and finally its result or error."""

    def __init__(self, name: str, attached: AttachedBoard, *, shown: bool = True) -> None:
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
        self.stop_question = ""  # asked before it is stopped; "" to stop it at once
        self.then = ""  # what the user wants, after "Stop it and"
        self.sends: Sent | None = None
        self.doing = ""  # what happens to the board meanwhile, such as "is being loaded with TIDE"
        self.after_stop: Callable[[], Job[R]] | None = None  # does it again, with consent to stop
        self.incoming: deque[tuple[float, Event]] = deque()

    def stop(self) -> None:
        """Ask the job to stop; it stops at a safe point and reports the state of the board."""
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


def event_sentence(event: Told) -> str:
    """Return an event as a sentence; the desk itself offers to put back a lost program."""
    return event.text if isinstance(event, MemoryLost) else event_words(event, KEYS)
