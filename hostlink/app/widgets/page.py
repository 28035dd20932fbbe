"""The base of all screens but the desk: a heading, a body, and a foot that names the keys."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.layout import HEIGHTS, WIDTHS
from hostlink.app.widgets.foot import Foot
from hostlink.app.widgets.rows import Rows
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

R = TypeVar("R")


class Page(Screen[R]):
    """The base of all screens but the desk; each provides a heading, a body and a foot.

    HEAD, FOOT: a heading and a line of keys that never change; otherwise override `head`, `foot`.
    """

    app: DeskApp
    HORIZONTAL_BREAKPOINTS = WIDTHS
    VERTICAL_BREAKPOINTS = HEIGHTS
    HEAD: ClassVar[str] = ""
    FOOT: ClassVar[str] = ""

    def __init__(self) -> None:
        super().__init__(classes="page")

    def compose(self) -> ComposeResult:
        self.app.clear_notifications()  # of the screen behind
        head = Content(safe(self.head()))
        yield Static(head, id="page-head", classes="heading", markup=False)
        yield from self.body()
        yield Foot(self.foot(), self.BINDINGS, self.app.settings.usable_keys)

    @property
    def about(self) -> str:
        """Return what the screen is about, as a sentence."""
        return f"{self.head()}."

    def head(self) -> str:
        """Return the first heading; `set_head` changes it."""
        return self.HEAD

    def body(self) -> Iterator[Widget]:
        """Lay out what is between heading and foot."""
        raise NotImplementedError

    def foot(self) -> str:
        """Return the foot: what the keys do here."""
        return self.FOOT

    def set_head(self, words: str) -> None:
        """Change the heading."""
        self.say("#page-head", words)

    def say(self, name: str, words: str) -> None:
        """Show plain text in one of the parts. name: its selector, such as "#detail"."""
        self.query_one(name, Static).update(Content(safe(words, keep="\n")))

    def tell(self, words: str) -> None:
        """Show a message here, and on the desk once this screen is closed."""
        self.app.tell(words)
        self.app.notify(words, markup=False)

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        self.detail()

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        """Do for a click on the row at the cursor what Enter does."""
        event.stop()
        for each in self.BINDINGS:
            if isinstance(each, Binding) and each.key == "enter":
                self.call_next(self.app.run_action, each.action, self)

    def detail(self) -> None:
        """Show the row at the cursor of the list in full."""

    def action_leave(self) -> None:
        """Close the screen without a choice."""
        self.dismiss(None)


def with_detail(rows: Rows, *, id: str) -> Iterator[Widget]:
    """Lay out a list, and beside or below it the row at its cursor in full."""
    with Horizontal(classes="across"):
        yield rows
        with VerticalScroll(classes="side"):
            yield Static("", id=id, markup=False)
