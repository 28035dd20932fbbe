"""The progress of jobs that were begun on the desk: it stays usable while they work.

The ruler's track for the board fills as lines are sent, the ledger marks each line of the editor
that was sent and, once the read-back agrees, all of them as proven. In place of the last line
stands a row for each board with a job. News that must not be missed stays there until Escape or the
next job.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from textual.content import Content
from textual.widgets import Static

from hostlink.app.desk.part import DeskPart
from hostlink.app.job_words import job_row
from hostlink.app.widgets.editor import LedgerColumn
from hostlink.app.widgets.ruler import BoardTrack
from hostlink.words import capital, safe

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk
    from hostlink.app.job import Job
    from hostlink.app.texts import KnownContents

_MOST_NEWS = 3


@dataclass(frozen=True, slots=True)
class Sent:
    """A listing that a job sends: its lines by number, and its size on the board in bytes."""

    lines: Mapping[int, str]
    size: int


class JobProgress(DeskPart):
    """Shows the jobs that were begun on the desk."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._jobs: list[Job[Any]] = []
        self._sent: dict[Job[Any], Sent] = {}
        self._news: list[str] = []
        self._proven: tuple[AttachedBoard, KnownContents] | None = None

    def follow(self, job: Job[Any]) -> None:
        """Show a job from now on until it ends."""
        self._news.clear()
        self.desk.show_told("")
        self._jobs.append(job)
        job.on_change.append(self._moved)
        self._moved(job)

    def sends(self, job: Job[Any], text: str) -> None:
        """Note the listing that a job sends, to mark its lines in the editor."""
        from hostlink.listing import Listing, measure

        listing = Listing.from_text(text)
        lines = {number: line.typed for number, line in listing.numbered().items()}
        rules = job.attached.choice.effective.rules
        self._sent[job] = Sent(lines, measure(listing, rules).total)
        self._unmark()

    def check_marks(self) -> None:
        """Take the marks off lines if the current board does not hold what was proven any more."""
        current = self.app.boards.current
        if any(job.attached is current for job in self._sent):
            return
        if self._proven is not None and self._proven[0] is current:
            then, now = self._proven[1], self.desk.states.held(current.port)
            if dataclasses.replace(now, proven_at=then.proven_at) == then:
                return
        self._unmark()

    def _unmark(self) -> None:
        self._proven = None
        self.desk.query_one(LedgerColumn).mark({}, frozenset(), proven=False)

    def clear_news(self) -> None:
        """Let the news of ended jobs go."""
        if self._news:
            self._news.clear()
            self._show()

    def stop(self) -> bool:
        """Stop the job on the current board, asked first or not; return whether there was one."""
        here = [job for job in self._jobs if job.attached is self.app.boards.current]
        for job in here:
            self.stop_job(job)
        return bool(here)

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
            # The result tells the rest: what is left here must not be missed.
            self._news += [text for text, is_news in job.progress.told if is_news]
        if job in self._sent and job.attached is self.app.boards.current:
            self._mark(job, self._sent[job])
        if job.ended:
            self._sent.pop(job, None)
        self._show()

    def _mark(self, job: Job[Any], sent: Sent) -> None:
        """Show on ruler and ledger what of a listing was sent, or is proven."""
        progress = job.progress
        if job.ended and job.error is not None:
            self._unmark()
            return
        if job.ended:
            self._proven = (job.attached, self.desk.states.held(job.attached.port))
        lines = frozenset(sent.lines if job.ended else progress.sent)
        self.desk.query_one(LedgerColumn).mark(sent.lines, lines, proven=job.ended)
        self.desk.readings.show_board()

    def track_of(self, attached: AttachedBoard) -> BoardTrack | None:
        """Return how much of a listing a job has sent to a board; None if none has sent any."""
        job = next((job for job in self._sent if job.attached is attached and not job.ended), None)
        if job is None or not job.progress.sent:
            return None
        sent, progress = self._sent[job], job.progress
        done = sent.size * len(progress.sent & sent.lines.keys()) // len(sent.lines)
        words = "reading back" if progress.is_read_back else f"{done:,} sent"
        return BoardTrack(words, 0, done)

    def _show(self) -> None:
        width = self.desk.size.width - 2
        rows = [safe(job_row(job, width)) for job in self._jobs]
        rows += [f"! {safe(text)}" for text in self._news[-_MOST_NEWS:]]
        static = self.desk.query_one("#jobs", Static)
        static.update(Content("\n".join(capital(row) for row in rows)))
        self.desk.set_class(bool(self._jobs), "-working")
        static.display = bool(rows)
