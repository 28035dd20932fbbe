"""Preview a rewritten listing: what changes, why, what it costs, and the result."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget

from hostlink.app.aside import aside
from hostlink.app.screens.rewrites import RewriteRows
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Rows

if TYPE_CHECKING:
    from hostlink.jobs.proving import Proof


class RewriteScreen(Page[str | None]):
    """Preview a rewritten listing; return the text of the accepted row, or None."""

    AUTO_FOCUS = "#rewrites"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "take", "Accept it", tooltip="As the bottom line says"),
        Binding("escape", "leave", "Cancel", tooltip="Nothing is changed"),
    ]

    def __init__(self, rewrite: RewriteRows):
        super().__init__()
        self.rewrite = rewrite

    def head(self) -> str:
        """Return the heading of the rewrite."""
        return self.rewrite.head()

    def foot(self) -> str:
        """Return what the keys do with the rewritten listing."""
        return self.rewrite.foot

    def body(self) -> Iterator[Widget]:
        """Lay out the rows, with the effect of the one at the cursor."""
        yield from with_detail(Rows(self.rewrite.columns, id="rewrites"), id="rewrite-detail")

    def on_mount(self) -> None:
        self.query_one(Rows).show(self.rewrite.entries())
        if self.rewrite.prove is not None:
            aside(self.app, self.rewrite.prove, self._proven)

    def _proven(self, proof: Proof) -> None:
        self.rewrite.proof = proof
        if self.is_attached:
            self.renew()

    def renew(self) -> None:
        """Show the details of the row at the cursor again."""
        key = self.query_one(Rows).key
        if key:
            self.say("#rewrite-detail", self.rewrite.detail(key))

    def on_rows_moved(self, event: Rows.Moved) -> None:
        event.stop()
        self.renew()
        self.query_one(".side", VerticalScroll).scroll_home(animate=False)

    def action_take(self) -> None:
        key = self.query_one(Rows).key
        if key:
            self.dismiss(self.rewrite.text(key))
