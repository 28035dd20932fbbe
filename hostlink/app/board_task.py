"""One job of several at once: what is done with a board, how far it is, and how it ended."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hostlink.app.actions.table import way_to
from hostlink.app.ways import shown_error
from hostlink.jobs.backup import BackedUp
from hostlink.jobs.loading import Loaded
from hostlink.jobs.saving import Saved
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.job import Job


@dataclass(slots=True)
class BoardTask:
    """The last job on a board. name: of the board or learner. words: how the job ended.

    alone: starts the same job for this board alone, with its questions, or None.
    """

    name: str
    job: Job[Any]
    alone: Callable[[], object] | None = None
    words: str = ""
    failed: bool = False

    @property
    def lines(self) -> str:
        """Return how many of the lines were sent, "" for a job that sends none."""
        sent, all_lines = self.job.progress.sent_lines, self.job.progress.all_lines
        return f"{sent:,} of {plural(all_lines, 'line')}" if all_lines else ""

    @property
    def progress(self) -> str:
        """Return how far the job has come, or how it ended."""
        if self.job.ended:
            return self.words
        return ": ".join(filter(None, (self.job.progress.phase, self.lines)))

    def start(self, app: DeskApp, changed: Callable[[], None]) -> BoardTask:
        """Follow the job, tell how it ends, return this task. changed: called at each change."""

        def ended(job: Job[Any]) -> None:
            self.failed = job.error is not None
            if job.error is None:
                self.words = _done(app, job.attached, job.result)
            else:
                self.words = f"Failed: {shown_error(job.error).words()}"
                if job.progress.differs:
                    app.desk.readings.unknown_now(job.attached)
                app.desk.readings.give_up_closed(job.attached)
            app.tell(f"{self.name}: {self.words}", board=self.job.attached)
            changed()

        self.job.on_end.append(ended)
        self.job.on_change.append(lambda _: changed())
        return self


def _done(app: DeskApp, attached: AttachedBoard, result: object) -> str:
    """Record what the board holds after a job; return the result in words."""
    if isinstance(result, BackedUp):
        return f"{result.kept_words} {result.unread_words}".rstrip()
    if isinstance(result, Loaded):
        app.desk.transfers.after_load(attached, result)
        return f"{result.words}."
    assert isinstance(result, Saved)
    app.desk.transfers.after_save(attached, result)
    return f"{result.revision.spec} {result.proof}{'' if result.is_new else ', nothing new'}."


def not_yet(stop: str) -> str:
    """Return the advice to wait for the boards, or to stop them. stop: the action that does."""
    return f"Wait until the boards have finished, or press {way_to(stop)}."
