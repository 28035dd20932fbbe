"""The screen of repairs to a pasted listing: each can be undone, and doubts are listed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.sentences import AT_CURSOR, EDITOR_STAYS, INTO_EDITOR
from hostlink.app.widgets.page import Page, with_detail
from hostlink.app.widgets.rows import Entry, ListColumn, Rows
from hostlink.listing import Mend, Rules, mend
from hostlink.words import plural

_MOST_OPEN = 3  # repairs of a kind; more of them are folded at first
_MOST_DETAILED = 20  # repairs of a kind whose rows are shown before and after


class MendScreen(Page[str | None]):
    """Show the repairs by kind; return the text with the accepted ones, or None if rejected."""

    AUTO_FOCUS = "#mends"
    FOOT = (
        "Space undoes or redoes a repair; Right unfolds a kind, Left folds it. "
        f"Enter {INTO_EDITOR}; nothing is sent. Escape cancels."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("mending.turn", "Undo or redo a repair", AT_CURSOR),
        screen_key("mending.unfold", "Unfold", "Each repair of the kind", action="fold(False)"),
        screen_key("mending.fold", "Fold", "The kind in one row", action="fold(True)"),
        Binding("enter", "take", "Accept it", tooltip="Into the editor", priority=True),
        Binding("escape", "leave", "Cancel", tooltip=EDITOR_STAYS),
    ]

    def __init__(self, text: str, rules: Rules) -> None:
        super().__init__()
        self._text, self._rules = text, rules
        self._all = mend(text, rules).mends
        self._without: set[int] = set()
        self._kinds: dict[str, list[int]] = defaultdict(list)  # places in _all
        for at, one in enumerate(self._all):
            self._kinds[one.kind].append(at)
        self._folded = {kind for kind, its in self._kinds.items() if len(its) > _MOST_OPEN}

    def body(self) -> Iterator[Widget]:
        """Lay out the list of repairs, with the details of the chosen one."""
        rows = Rows(
            [
                ListColumn("made"),
                ListColumn("row", right=True),
                ListColumn("repair, and the new row", -1),
            ],
            id="mends",
        )
        yield from with_detail(rows, id="mend-detail")

    def on_mount(self) -> None:
        self._show()

    @property
    def mended(self) -> str:
        """Return the text with the repairs that were not undone."""
        left_out = [self._all[at] for at in self._without]
        return mend(self._text, self._rules, without=left_out).text

    def _show(self) -> None:
        made = len(self._all) - len(self._without)
        doubts = len(mend(self._text, self._rules).doubts)
        head = f"Mending: {made:,} of {plural(len(self._all), 'repair')} made"
        if doubts:
            head += f", {plural(doubts, 'doubt')} left as {'it is' if doubts == 1 else 'they are'}"
        self.set_head(head)
        self.query_one(Rows).show([entry for kind in self._kinds for entry in self._entries(kind)])
        self.detail()

    def _entries(self, kind: str) -> Iterator[Entry]:
        """Yield the row of a kind, then those of its repairs; the key of a repair is its place."""
        its = self._kinds[kind]
        if len(its) == 1:
            one = self._all[its[0]]
            words = f"{one.sentence}  {_result(one)}"
            yield Entry(str(its[0]), (self._made(its), f"{one.line:,}", words))
            return
        sentences = {self._all[at].sentence for at in its}
        words = sentences.pop() if len(sentences) == 1 else kind.replace("-", " ")
        yield Entry(kind, (self._made(its), "", f"{words} ({plural(len(its), 'row')})"))
        if kind not in self._folded:
            for at in its:
                one = self._all[at]
                yield Entry(str(at), (self._made([at]), f"{one.line:,}", f"  {_result(one)}"))

    def _made(self, its: list[int]) -> str:
        undone = self._without.intersection(its)
        return "yes" if not undone else "no" if len(undone) == len(its) else "some"

    def _chosen(self) -> list[int]:
        """Return the places of the repairs in the row at the cursor."""
        key = self.query_one(Rows).key
        return self._kinds[key] if key in self._kinds else [int(key)] if key else []

    def detail(self) -> None:
        """Show the repairs in the row at the cursor in full, and all doubts."""
        parts = []
        for at in self._chosen()[:_MOST_DETAILED]:
            one = self._all[at]
            parts.append(f"{one.sentence}\nbefore\n{one.before}\nafter\n{one.after}")
        doubts = mend(self._text, self._rules).doubts
        if doubts:
            told = "\n".join(f"row {each.line}: {each.sentence}" for each in doubts)
            parts.append(f"Not changed; please check:\n{told}")
        self.say("#mend-detail", "\n\n".join(parts))

    def on_rows_chosen(self, event: Rows.Chosen) -> None:
        event.prevent_default().stop()
        self.action_turn()

    def action_turn(self) -> None:
        its = set(self._chosen())
        if its <= self._without:
            self._without -= its
        else:
            self._without |= its
        self._show()

    def action_fold(self, fold: bool) -> None:
        rows = self.query_one(Rows)
        if not rows.key:
            return
        kind = rows.key if rows.key in self._kinds else self._all[int(rows.key)].kind
        self._folded = self._folded | {kind} if fold else self._folded - {kind}
        if len(self._kinds[kind]) > 1:
            rows.cursor = next(at for at, one in enumerate(rows.entries) if one.key == kind)
            self._show()

    def action_take(self) -> None:
        self.dismiss(self.mended)


def _result(one: Mend) -> str:
    """Return in one line what a row became."""
    return " / ".join(one.after.split("\n")) or "(the row is removed)"
