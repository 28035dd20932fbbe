"""Show the progress of the desk's jobs, while the desk stays usable.

The ruler's track for the board fills as lines are sent. The ledger marks each line of the editor
that was sent and, once the read-back agrees, all of them as proven. While jobs work, the last line
gives way to a row for each. Important news stays there until Escape or the next job, or until the
board holds a different program of the archive.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from textual.content import Content
from textual.widgets import Static

from hostlink.app.desk.part import DeskPart
from hostlink.app.job_words import job_row
from hostlink.app.widgets.editor import LedgerColumn
from hostlink.app.widgets.ruler import BoardTrack
from hostlink.words import capital, safe

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.board_words import KnownContents
    from hostlink.app.desk.desk import Desk
    from hostlink.app.job import Job, Sent

_MOST_NEWS = 3


def sent_lines(text: str, attached: AttachedBoard) -> Sent:
    """Return what loading a listing into a board sends."""
    from hostlink.app.job import Sent
    from hostlink.listing import Listing, measure

    listing = Listing.from_text(text)
    lines = {number: line.typed for number, line in listing.numbered().items()}
    return Sent(lines, measure(listing, attached.choice.effective.rules).total)


class _News(NamedTuple):
    """News of a job about the board at a port, and what the board was known to hold then."""

    text: str
    port: str
    held: KnownContents | None


class JobProgress(DeskPart):
    """Shows the jobs that were begun on the desk."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._jobs: list[Job[Any]] = []
        self._news: list[_News] = []
        self._proven: dict[str, tuple[Sent, KnownContents]] = {}  # the last loads, by port

    def follow(self, job: Job[Any]) -> None:
        """Show a job until it ends."""
        self._news.clear()
        self.desk.last_line.tell("")
        self._jobs.append(job)
        job.on_change.append(self._moved)
        self._moved(job)

    def check_marks(self) -> None:
        """Mark the lines in the ledger that were sent to the current board or proven on it."""
        current = self.app.boards.current
        ledger = self.desk.query_one(LedgerColumn)
        if current is None:
            ledger.mark({}, frozenset(), proven=False)
        elif (job := self._sending(current)) is not None and job.sends is not None:
            ledger.mark(job.sends.lines, frozenset(job.progress.sent), proven=False)
        else:
            lines = self._proven_lines(current)
            ledger.mark(lines, lines.keys(), proven=True)

    def _proven_lines(self, attached: AttachedBoard) -> Mapping[int, str]:
        """Return the lines of the last load into a board if it still holds them."""
        if attached.port not in self._proven:
            return {}
        sent, then = self._proven[attached.port]
        now = self.desk.states.held(attached.port)
        if dataclasses.replace(now, proven_at=then.proven_at) == then:
            return sent.lines
        if not then.spec:  # nothing tells it from another program of that size
            del self._proven[attached.port]
        return {}

    def _sending(self, attached: AttachedBoard) -> Job[Any] | None:
        """Return the job that is replacing what a board holds, if any."""
        for job in self._jobs:
            if job.attached is attached and job.sends is not None and job.progress.differs:
                return job
        return None

    def clear_news(self) -> None:
        """Discard the news of ended jobs."""
        self._keep_news([])

    def check_news(self) -> None:
        """Remove news of a board that now holds a different program of the archive."""
        self._keep_news([one for one in self._news if not self._is_settled(one)])

    def _keep_news(self, news: list[_News]) -> None:
        if news != self._news:
            self._news = news
            self._show()

    def _is_settled(self, news: _News) -> bool:
        held = self.desk.states.held(news.port)
        then = news.held
        return then is not None and held.spec not in ("", then.spec) and not held.changed

    def stop_job(self, job: Job[Any]) -> None:
        """Stop a job; ask first if it has a question for that."""
        from hostlink.app.screens.dialogues import ask

        def stop() -> None:
            if not job.ended:
                job.stop()
                self._moved(job)

        if job.stop_question and not job.stopping:
            ask(self.app, job.stop_question, ("stop", "Stop it", stop), leave="Let it go on")
        else:
            stop()

    def _moved(self, job: Job[Any]) -> None:
        if job.ended:
            self._jobs.remove(job)
            # The result tells the rest; what stays here must not be missed.
            held = self.desk.states.held(job.attached.port)
            told = [text for text, is_news in job.progress.told if is_news]
            then = held if held.known or job.error else None  # None: it is read next
            self._news += [_News(text, job.attached.port, then) for text in told]
            if job.error is None and job.sends is not None:
                self._proven[job.attached.port] = (job.sends, held)
        if job.sends is not None and job.attached is self.app.boards.current:
            self.check_marks()
            self.sheets.show_here()  # which says what the mark of a line means
            self.desk.readings.show_board()
        self._show()

    def track_of(self, attached: AttachedBoard) -> BoardTrack | None:
        """Return how much of a listing a job has sent to a board; None if none has sent any."""
        job = self._sending(attached)
        if job is None or job.sends is None or not job.progress.sent:
            return None
        sent, progress = job.sends, job.progress
        done = sent.size * len(progress.sent & sent.lines.keys()) // len(sent.lines)
        words = "reading back" if progress.is_read_back else f"{done:,} sent"
        return BoardTrack(words, 0, done)

    def _show(self) -> None:
        width = self.desk.size.width - 2
        rows = [safe(job_row(job, width)) for job in self._jobs]
        rows += [f"! {safe(one.text)}" for one in self._news[-_MOST_NEWS:]]
        static = self.desk.query_one("#jobs", Static)
        static.update(Content("\n".join(capital(row) for row in rows)))
        self.desk.set_class(bool(self._jobs), "-working")
        static.display = bool(rows)
