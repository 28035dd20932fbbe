"""Small screens in front of the others: questions and errors. The safe answer has the focus."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.timer import Timer
from textual.widget import Widget
from textual.widgets import Button, Input, Static

from hostlink.app.actions.table import BY_ID
from hostlink.app.layout import HEIGHTS
from hostlink.app.sentences import LEAVE_BOARD, LEAVE_IT
from hostlink.app.ways import error_rows
from hostlink.app.widgets.text_line import TextLine
from hostlink.errors import HostlinkError, NotKnownError
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

R = TypeVar("R")
EARLY = "Keys pressed now do nothing; in a moment they answer this."
_BOX_PERCENT = 92  # of the screen's rows, as in the stylesheet
STOPS = dataclasses.replace(BY_ID["interrupt"].binding, action="app.work('interrupt')", show=False)
"""The key that stops a job or a program, which works while a box is open too."""


def beginning_here() -> str:
    """Return the sentence that says in which folder a plain file name is."""
    return f"A name without a folder is one in {safe(str(Path.cwd()))}."


def paragraph(text: str, *, name: str = "part") -> Static:
    """Return a paragraph of plain text."""
    return Static(Content(safe(text, keep="\n")), classes=name, markup=False)


class Box(ModalScreen[R]):
    """A box in front of a screen: its words, and below them buttons or lines for the answer.

    The words scroll if the screen is too low for all of them.
    """

    VERTICAL_BREAKPOINTS = HEIGHTS
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Leave it", show=False),
        Binding("pageup", "read(-1)", "Read further up", show=False),
        Binding("pagedown", "read(1)", "Read further down", show=False),
        STOPS,
    ]

    about = ""  # in a sentence
    _early_s = 0.0
    _early: Timer | None = None

    def __init__(self) -> None:
        super().__init__(classes="dialogue")

    def take_no_key(self, seconds: float) -> None:
        """Ignore keys, and say so, until none has come for some seconds after the drawing."""
        self._early_s = seconds
        self.set_class(bool(seconds), "-early")

    def ignores_key(self) -> bool:
        """Return whether a key that comes now is to be ignored, and wait for the next pause."""
        if self._early is not None:
            self._wait_for_pause()
        return self.has_class("-early")

    def _wait_for_pause(self) -> None:
        if self._early is not None:
            self._early.stop()
        self._early = self.set_timer(self._early_s, self._take_keys)

    def _take_keys(self) -> None:
        self._early = None
        self.remove_class("-early")
        self._fit()

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            with VerticalScroll(id="asked", can_focus=False):
                yield from self._words()
            yield Static(EARLY, id="early", classes="quiet", markup=False)
            yield Static("Page Down shows more.", id="reads-on", classes="quiet", markup=False)
            yield from self._answered_by()

    def _words(self) -> Iterator[Widget]:
        """Lay out what is asked or said."""
        raise NotImplementedError

    def _answered_by(self) -> Iterator[Widget]:
        """Lay out the buttons or lines that take the answer."""
        raise NotImplementedError

    def on_mount(self) -> None:
        self.call_after_refresh(self._fit)
        if self.has_class("-early"):
            self.call_after_refresh(self._wait_for_pause)

    def on_resize(self) -> None:
        self.call_after_refresh(self._fit)

    def _fit(self) -> None:
        """Give the text all rows that the answers do not need."""
        box, asked = self.query_one("#box"), self.query_one("#asked", VerticalScroll)
        hint = self.query_one("#reads-on")
        taken = sum(
            each.outer_size.height + each.styles.margin.height
            for each in box.children
            if each is not asked and each is not hint
        )
        room = self.size.height * _BOX_PERCENT // 100 - box.gutter.height - taken
        hint.display = asked.virtual_size.height > room
        asked.styles.max_height = max(1, room - hint.display)

    def action_leave(self) -> None:
        """Close the box without an answer."""
        self.dismiss(None)

    def action_read(self, way: int) -> None:
        """Scroll words that are longer than the screen. way: -1 for up, 1 for down."""
        asked = self.query_one("#asked", VerticalScroll)
        asked.scroll_relative(y=way * max(1, asked.size.height - 1), animate=False)


class Ask(Box[str]):
    """A question; its first answer is safe, has the focus, and is chosen by Escape.

    answers: pairs of the returned text and the button's label.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left,up", "app.focus_previous", "Previous answer", show=False),
        Binding("right,down", "app.focus_next", "Next answer", show=False),
    ]

    def __init__(self, question: str, answers: Sequence[tuple[str, str]], *, why: str = "") -> None:
        super().__init__()
        self.question = self.about = question
        self.why, self.answers = why, tuple(answers)

    def _words(self) -> Iterator[Widget]:
        yield paragraph(self.question)
        if self.why:
            yield paragraph(self.why, name="part quiet")

    def _answered_by(self) -> Iterator[Widget]:
        with Vertical(id="choices"):
            for value, says in self.answers:
                yield Button(Content(safe(says)), id=f"answer-{value}")

    def on_mount(self) -> None:
        self.query(Button).first().focus()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.dismiss((event.button.id or "").removeprefix("answer-"))

    def action_leave(self) -> None:
        self.dismiss(self.answers[0][0])


def ask(
    app: App[Any],
    question: str,
    *answers: tuple[str, str, Callable[[], object]],
    leave: str = "Leave it",
    why: str = "",
) -> None:
    """Ask a question and run the action of the chosen answer.

    answers: the id, the button's label and the action of each. leave: the label of the safe
    answer, which only closes the question.
    """
    does = {name: do for name, _, do in answers}

    def answered(answer: str | None) -> None:
        if answer in does:
            does[answer]()

    app.push_screen(
        Ask(question, [("leave", leave), *((name, says) for name, says, _ in answers)], why=why),
        answered,
    )


def ask_to_replace(app: App[Any], error: HostlinkError, go_on: Callable[[], object]) -> None:
    """Ask whether to replace what is already there. error: says what that is."""
    answer = ("replace", "Replace it", go_on)
    ask(app, error.what, answer, leave=LEAVE_IT, why="Nothing has been written yet.")


def ask_to_overwrite(app: App[Any], error: NotKnownError, go_on: Callable[[], object]) -> None:
    """Ask whether to overwrite what cannot be read. error: says what that is."""
    why = f"{error.kept} What cannot be read cannot be kept: overwriting loses it."
    ask(app, error.what, ("overwrite", "Overwrite it anyway", go_on), leave=LEAVE_BOARD, why=why)


def write_file(
    app: DeskApp,
    write: Callable[[bool], R],
    done: Callable[[R], object],
    *,
    replacing: bool = False,
) -> None:
    """Write a file, asking before it replaces one, and call `done` with the result.

    write: writes it, given whether it may replace the file; raises TakenError if it may not.
    """
    from hostlink.jobs.files import TakenError

    try:
        result = write(replacing)
    except TakenError as error:
        ask_to_replace(app, error, lambda: write_file(app, write, done, replacing=True))
    except HostlinkError as error:
        app.show_error(error)
    else:
        done(result)


class AskText(Box["str | None"]):
    """A question answered by one line of text, which may be empty; None if it is cancelled."""

    KEYS: ClassVar[str] = "Enter accepts, Escape cancels."

    def __init__(self, question: str, value: str = "", *, hint: str = "") -> None:
        super().__init__()
        self.question = self.about = question
        self.value, self.hint = value, hint

    def _words(self) -> Iterator[Widget]:
        yield paragraph(self.question)
        yield paragraph(f"{self.hint} {self.KEYS}".strip(), name="part quiet")

    def _answered_by(self) -> Iterator[Widget]:
        yield TextLine(self.value, id="answer")

    def on_mount(self) -> None:
        self.query_one(Input).action_select_all()  # so that typing replaces it

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.dismiss(event.value.strip())


class ErrorDialogue(Box[None]):
    """An error: what happened, what was not lost, what to do."""

    def __init__(self, error: HostlinkError) -> None:
        super().__init__()
        self.error, self.about = error, error.what

    def _words(self) -> Iterator[Widget]:
        yield from map(paragraph, error_rows(self.error))

    def _answered_by(self) -> Iterator[Widget]:
        yield Button("Close", id="close")

    def on_mount(self) -> None:
        self.query_one(Button).focus()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.dismiss()
