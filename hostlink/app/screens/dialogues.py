"""Small screens in front of the others: questions and errors. The safe answer has the focus."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Button, Input, Label, Static

from hostlink.app.layout import HEIGHTS, SCREENS_LOOK
from hostlink.app.ways import advised
from hostlink.app.widgets.text_line import TextLine
from hostlink.errors import HostlinkError
from hostlink.words import safe


def part(text: str, *, name: str = "part") -> Static:
    """Return a paragraph of plain text."""
    return Static(Content(safe(text, keep="\n")), classes=name, markup=False)


class Ask(ModalScreen[str]):
    """A question with its answers; the first one is safe, has the focus, and is what Escape says.

    answers: (what is returned, what the button says).
    """

    CSS_PATH = SCREENS_LOOK
    VERTICAL_BREAKPOINTS = HEIGHTS
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "safe", "The safe answer", show=False),
        Binding("left,up", "app.focus_previous", "Answer before", show=False),
        Binding("right,down", "app.focus_next", "Next answer", show=False),
        Binding("pageup", "read(-1)", "Read further up", show=False),
        Binding("pagedown", "read(1)", "Read further down", show=False),
    ]

    def __init__(self, question: str, answers: Sequence[tuple[str, str]], *, why: str = "") -> None:
        super().__init__(classes="dialogue")
        self.question, self.why, self.answers = question, why, tuple(answers)

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            with VerticalScroll(id="asked", can_focus=False):
                yield part(self.question)
                if self.why:
                    yield part(self.why, name="part quiet")
            yield Static("Page down reads on.", id="reads-on", classes="quiet", markup=False)
            with Vertical(id="choices"):
                for value, says in self.answers:
                    yield Button(Content(safe(says)), id=f"answer-{value}")

    def on_mount(self) -> None:
        self.query(Button).first().focus()
        self.call_after_refresh(self._tell_more)

    def on_resize(self) -> None:
        self.call_after_refresh(self._tell_more)

    def _tell_more(self) -> None:
        """Show the hint to read on if the question is longer than the screen."""
        asked = self.query_one("#asked", VerticalScroll)
        self.query_one("#reads-on").display = asked.max_scroll_y > 0

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.dismiss((event.button.id or "").removeprefix("answer-"))

    def action_safe(self) -> None:
        self.dismiss(self.answers[0][0])

    def action_read(self, way: int) -> None:
        """Move through a question that is longer than the screen; up is -1."""
        asked = self.query_one("#asked", VerticalScroll)
        asked.scroll_relative(y=way * max(1, asked.size.height - 1), animate=False)


def ask(
    app: App[Any],
    question: str,
    *answers: tuple[str, str, Callable[[], object]],
    leave: str = "Leave it",
    why: str = "",
) -> None:
    """Ask a question, and do what the chosen answer stands for.

    answers: (its id, what its button says, what it does). leave: what the button of the safe answer
    says, which does nothing.
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
    """Ask whether to replace what is there already. error: says what that is."""
    answer = ("replace", "Replace it", go_on)
    ask(app, error.what, answer, leave="Leave it as it is", why="Nothing was written yet.")


class AskText(ModalScreen[str | None]):
    """A question answered by one line of text; returns None if it is cancelled."""

    CSS_PATH = SCREENS_LOOK
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Leave it", show=False),
    ]

    def __init__(self, question: str, value: str = "", *, hint: str = "") -> None:
        super().__init__(classes="dialogue")
        self.question, self.value, self.hint = question, value, hint

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            yield part(self.question)
            yield TextLine(self.value, id="answer")
            yield part(f"{self.hint} Enter takes it, Escape leaves it.".strip(), name="quiet")

    def on_mount(self) -> None:
        self.query_one(Input).action_select_all()  # what is typed takes the place of what is there

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.dismiss(event.value.strip() or None)

    def action_leave(self) -> None:
        self.dismiss(None)


class Fill(ModalScreen[dict[str, str] | None]):
    """Several lines to fill in; what stands in each by its key, None where it is left.

    lines: key, label, and what stands there at first. hint: what Enter does. path: the key of the
    line that takes a file or folder, which Tab completes; "" for none.
    """

    CSS_PATH = SCREENS_LOOK
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Leave it", show=False),
        Binding("down", "app.focus_next", "Next line", show=False),
        Binding("up", "app.focus_previous", "Line before", show=False),
    ]

    def __init__(
        self, head: str, lines: Sequence[tuple[str, str, str]], *, hint: str, path: str = ""
    ) -> None:
        super().__init__(classes="dialogue")
        self.head, self.lines, self.hint, self.path = head, tuple(lines), hint, path

    def compose(self) -> ComposeResult:
        tab = "Tab goes to the next line."
        if self.path:
            tab = "Tab completes a file name, and goes to the next line."
        with Vertical(id="box"):
            yield part(self.head)
            for key, label, value in self.lines:
                with Horizontal(classes="field"):
                    yield Label(Content(safe(label)), classes="label")
                    yield self._line(key, value)
            yield part(f"{self.hint} {tab} Escape leaves it.", name="quiet")

    def _line(self, key: str, value: str) -> TextLine:
        if key == self.path:
            from hostlink.app.widgets.paths import PathLine

            return PathLine(value, id=f"fill-{key}")
        return TextLine(value, id=f"fill-{key}")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.dismiss(
            {
                key: self.query_one(f"#fill-{key}", TextLine).value.strip()
                for key, _, _ in self.lines
            }
        )

    def action_leave(self) -> None:
        self.dismiss(None)


class ErrorDialogue(ModalScreen[None]):
    """An error: what happened, what was not lost, what to do."""

    CSS_PATH = SCREENS_LOOK
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Close", show=False),
    ]

    def __init__(self, error: HostlinkError) -> None:
        super().__init__(classes="dialogue")
        self.error = error

    def compose(self) -> ComposeResult:
        with Vertical(id="box"):
            for head, text in (
                ("", self.error.what),
                ("Not lost: ", self.error.kept),
                ("What to do: ", advised(self.error.advice)),
            ):
                if text:
                    yield part(f"{head}{text}")
            yield Button("Close", id="close")

    def on_mount(self) -> None:
        self.query_one(Button).focus()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        event.stop()
        self.dismiss()

    def action_leave(self) -> None:
        self.dismiss()
