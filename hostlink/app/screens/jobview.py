"""Show a job that was begun on a screen other than the desk."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Static

from hostlink.app.job_words import figures
from hostlink.app.screens.dialogues import STOPS, paragraph
from hostlink.app.sentences import STOPPING
from hostlink.app.ways import error_rows, shown_error
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.app.job import Job


class JobView(ModalScreen[None]):
    """Shows one job. The view closes by itself after a success that leaves nothing to read.

    done: the message after a success. instead: what to do after a failure instead of showing it.
    Both are set before the view handles the end of the job, which may come as soon as it opens.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Stop the job, or close the view", show=False),
        STOPS,
    ]

    def __init__(self, job: Job[Any]) -> None:
        super().__init__(classes="dialogue")
        self.job = job
        self.done = "Done."
        self.instead: Callable[[], object] | None = None

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            yield paragraph(self.job.name, name="part heading")
            yield Static("", id="phase", markup=False)
            yield Static("", id="figures", markup=False)
            yield VerticalScroll(Static("", id="job-told", markup=False), id="job-log")
            yield Button("Stop", id="stop")

    def on_mount(self) -> None:
        self.query_one(Button).focus()
        self.job.on_change.append(self._moved)
        self._moved(self.job)

    def on_unmount(self) -> None:
        self._let_go()

    def _let_go(self) -> None:
        if self._moved in self.job.on_change:
            self.job.on_change.remove(self._moved)

    def close(self) -> None:
        """Close the view, and show nothing more of its job."""
        self._let_go()
        self.dismiss()

    def _moved(self, job: Job[Any]) -> None:
        progress = job.progress
        phase = STOPPING if job.stopping else progress.phase
        self.query_one("#phase", Static).update(Content(safe(phase)))
        baud = job.attached.choice.effective.talk.baud
        words = "" if job.ended else ", ".join(figures(progress, baud))
        self.query_one("#figures", Static).update(Content(words))
        told = "\n".join(f"{'!' if news else '·'} {safe(text)}" for text, news in progress.told)
        self.query_one("#job-told", Static).update(Content(told))
        log = self.query_one("#job-log", VerticalScroll)
        # The end is known only once the new sentences are laid out.
        self.call_after_refresh(log.scroll_end, animate=False)
        if job.ended:
            self._end(job)

    def _end(self, job: Job[Any]) -> None:
        if job.error is None and not job.progress.noteworthy:
            self.close()
            return
        if self.instead is not None:
            self.close()
            # Called by the app: a question asked here would send its answer to a closed view.
            self.app.call_next(self.instead)
            return
        button = self.query_one(Button)
        button.label = Content("Close")
        if job.error is None:
            self.query_one("#phase", Static).update(Content(safe(self.done)))
            return
        text = "\n".join(safe(row) for row in error_rows(shown_error(job.error)))
        self.query_one("#phase", Static).update(Content(text))

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.action_leave()

    def action_leave(self) -> None:
        """Stop a job that works; close the view of one that has ended."""
        if self.job.ended:
            self.close()
        elif not self.job.stopping:
            self.job.stop()
            self._moved(self.job)
