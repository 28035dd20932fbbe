"""One of many jobs at once: what is done with a board, how far it is, and how it ended."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from hostlink.app.actions.table import way_to
from hostlink.app.sentences import WAIT_FOR_BOARDS
from hostlink.app.ways import shown_error
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.job import Job


@dataclass(slots=True)
class BoardTask:
    """What was last done with a board. name: of the board or learner. words: how it ended.

    alone: does the same again, with its questions; None if nothing does.
    """

    name: str
    job: Job[Any]
    alone: Callable[[], object] | None = None
    words: str = ""
    failed: bool = False

    @property
    def progress(self) -> str:
        """Return how far it is, or how it ended."""
        if self.job.ended:
            return self.words
        progress = self.job.progress
        lines = f": {progress.sent_lines:,} of {plural(progress.all_lines, 'line')}"
        return progress.phase + (lines if progress.all_lines else "")

    def start(
        self, app: DeskApp, done: Callable[[Any], str], changed: Callable[[], None]
    ) -> BoardTask:
        """Tell how the job ends. done: its result in words. changed: called at each news."""

        def ended(job: Job[Any]) -> None:
            self.failed = job.error is not None
            if job.error is None:
                self.words = done(job.result)
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


def not_yet(stop: str) -> str:
    """Return the sentence that boards are still at work. stop: the action that stops them."""
    return f"{WAIT_FOR_BOARDS} {way_to(stop)}."
