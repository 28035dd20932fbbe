"""Showing a job's progress and how it ended: on the desk, or in a view of its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any

from hostlink.app.stop_first import stop_question

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp
    from hostlink.app.job import Job
    from hostlink.app.screens.jobview import JobView

Done = Callable[[Any], str | None]
Failed = Callable[[BaseException], Callable[[], object] | None]


@dataclass
class JobShowing:
    """Shows one job: on the desk if it was begun there, else in a view of its own.

    done, failed, then, follow: see `DeskApp.watch_job`.
    """

    app: DeskApp
    job: Job[Any]
    done: Done
    failed: Failed | None
    then: Callable[[Any], None] | None
    follow: Callable[[Job[Any]], object] | None = None
    _view: JobView | None = None
    _keys: int = 0  # the gate's count when the job was begun

    def begin(self) -> None:
        """Show the job from now on, and its result or its error when it ends."""
        job = self.job
        self._keys = self.app.gate.taken
        follow = self.follow
        if follow is None and self.app.screen is self.app.desk:
            follow = self.app.desk.progress.follow
        if job.shown and follow is None:
            from hostlink.app.screens.jobview import JobView

            self._view = JobView(job)
        job.on_end.append(self._ended)
        if self._view is not None:
            self.app.push_screen(self._view, self._closed)
        elif job.shown and follow is not None:
            follow(job)
            job.on_end.append(self._closed)

    def _ended(self, job: Job[Any]) -> None:
        if job.error is not None:
            if job.progress.differs:
                self.app.desk.readings.unknown_now(job.attached)
            instead = stop_question(self.app, job, self._again)
            is_open = (lambda: True) if instead is None else (lambda: job.attached.state.runs)
            if instead is None and self.failed is not None:
                instead = self.failed(job.error)
            self._show_failure(job.error, instead, is_open)
            return
        with self.app.desk.questions.unasked(self._keys):
            sentence = self.done(job.result)
        if self._view is not None:
            self._view.done = sentence or self._view.done
        if sentence is not None:
            self.app.tell(sentence, board=job.attached)

    def _again(self, job: Job[Any]) -> None:
        replace(self, job=job, _view=None).begin()

    def _closed(self, _: object) -> None:
        if self.then is not None and self.job.ended and self.job.error is None:
            # The user has watched the job's own view until now, so they wait for what follows.
            keys = self._keys if self._view is None else self.app.gate.taken
            with self.app.desk.questions.unasked(keys):
                self.then(self.job.result)

    def _show_failure(
        self,
        error: BaseException,
        instead: Callable[[], object] | None,
        is_open: Callable[[], bool],
    ) -> None:
        """Show how the job failed, or do something else instead. is_open: see `Questions`."""
        show = instead or partial(self.app.show_error, error)
        if self._view is None:
            with self.app.desk.questions.unasked(self._keys, is_open):
                show()
            return
        self._view.instead = instead
