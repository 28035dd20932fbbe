"""The rows of the screen of a rewritten listing: one made smaller, or adapted to a board."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from hostlink.app.sentences import UNDOABLE
from hostlink.app.widgets.rows import Entry, ListColumn
from hostlink.jobs.adapting import change_rows, need_words
from hostlink.jobs.shrinking import proof_words, prove_shrunk, unreached_words
from hostlink.listing import Listing
from hostlink.listing.shrinking.shrink import LEVELS, UNREACHED, Shrunk, shrink
from hostlink.listing.shrinking.unreached import unreached
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.board.profile.model import Profile
    from hostlink.jobs.language_of import Offer
    from hostlink.jobs.proving import Proof

TO_FIT = "until it fits"
WHOLE = "all"


class RewriteRows(Protocol):
    """A rewritten listing as rows of a list. columns: of that list. foot: what the keys do.

    prove: runs both versions, which takes a while; None if there is nothing to prove. proof: the
    result, None until it is known.
    """

    columns: Sequence[ListColumn]
    foot: str
    prove: Callable[[], Proof] | None
    proof: Proof | None

    def head(self) -> str:
        """Return the heading."""

    def entries(self) -> list[Entry]:
        """Return the rows of the list: one for each change, or each choice."""

    def detail(self, key: str) -> str:
        """Return the details of a row."""

    def text(self, key: str) -> str:
        """Return the listing that choosing a row gives."""


_COMPARING = "Both versions are being run and compared."
_NEW_LISTING = "The new listing:"


class Shrinking:
    """A listing made smaller, level by level.

    The last level also leaves out unreached lines, and runs both versions to prove that.
    """

    columns: Sequence[ListColumn] = (
        ListColumn("how far"),
        ListColumn("saves", right=True),
        ListColumn("in all", right=True, extra=True),
        ListColumn("then", right=True),
        ListColumn("", -1),
    )
    foot = f"Each level includes those above it. {UNDOABLE} Escape cancels."

    def __init__(self, listing: Listing, profile: Profile) -> None:
        self._listing, self._profile = listing, profile
        self.unreached = unreached(listing, profile.rules)
        self.prove = self._prove if self.unreached else None
        self.proof: Proof | None = None
        self._made: dict[str, Shrunk] = {}
        self.most = self.made("everything")

    @property
    def saves(self) -> bool:
        """Return whether any byte can be saved."""
        return self.most.after < self.most.before or bool(self.unreached)

    def _prove(self) -> Proof:
        return prove_shrunk(self._listing, self.made(UNREACHED).listing, self._profile, None)

    def head(self) -> str:
        """Return the heading: the present size, the limit, and how many bytes are over it."""
        limit, before = self.most.limit, self.most.before
        size = f"{before:,} of {plural(limit, 'byte')}" if limit else plural(before, "byte")
        if limit and before > limit:
            size += f": {plural(before - limit, 'byte')} over"
        if limit and self.most.after > limit:
            size += f", and still {plural(self.most.after - limit, 'byte')} over at its smallest"
        return f"Make it smaller: {size}"

    def entries(self) -> list[Entry]:
        """Return a row for each level; if the listing is too big, first one that makes it fit."""
        entries: list[Entry] = []
        limit, now = self.most.limit, self.most.before
        if limit and now > limit:
            fitting = self.made(TO_FIT)
            if fitting.after <= limit:
                saved = fitting.before - fitting.after
                entries.append(self._entry(TO_FIT, saved, saved, fitting.after))
        for step in self.most.steps:
            now -= step.saved
            entries.append(self._entry(step.level, step.saved, self.most.before - now, now))
        if self.unreached:
            then = self.made(UNREACHED).after
            entries.append(self._entry(UNREACHED, now - then, self.most.before - then, then))
        return entries

    def _entry(self, level: str, saves: int, in_all: int, then: int) -> Entry:
        limit = self.most.limit
        room = ""
        if limit:
            room = f"{limit - then:,} free" if then <= limit else f"{then - limit:,} over"
        return Entry(level, (level, f"{saves:,}", f"{in_all:,}", f"{then:,}", room))

    def made(self, level: str) -> Shrunk:
        """Return the result of shrinking up to one level, until it fits, or by every level."""
        if level not in self._made:
            to_fit = level == TO_FIT
            self._made[level] = shrink(
                self._listing,
                self._profile.rules,
                level if level in LEVELS else "everything",
                to_fit=to_fit,
                size_words=self._profile.size_words,
                without=self.unreached if level == UNREACHED else (),
            )
        return self._made[level]

    def detail(self, key: str) -> str:
        """Return what a level does, and the new listing."""
        made = self.made(key)
        does = LEVELS.get(key, "One level after another, and no more lines than needed.")
        words = [f"{key}: {does}" if key in LEVELS else does]
        if key == UNREACHED:
            words = [
                unreached_words(self._listing, self.unreached, self._profile.rules),
                proof_words(self.proof) if self.proof else _COMPARING,
            ]
        words += [
            f"{step.level}: {plural(step.saved, 'byte')} in {plural(step.lines, 'line')}"
            for step in made.steps
            if key == TO_FIT and step.saved
        ]
        return "\n".join([*words, *made.notes, "", _NEW_LISTING, made.listing.text()])

    def text(self, key: str) -> str:
        """Return a level's listing; keep unreached lines if the output differs without them."""
        differs = self.proof is not None and self.proof.result == "differs"
        return self.made("everything" if key == UNREACHED and differs else key).listing.text()


class Adapting:
    """A listing adapted to a board: each change with its reason and cost, then what it needs.

    foot: what Enter does.
    """

    columns: Sequence[ListColumn] = (
        ListColumn("line", right=True),
        ListColumn("bytes", right=True),
        ListColumn("why", -1),
    )

    def __init__(self, offer: Offer, foot: str, prove: Callable[[], Proof]) -> None:
        self._offer, self.foot = offer, foot
        self.prove: Callable[[], Proof] | None = prove
        self.proof: Proof | None = None

    def head(self) -> str:
        """Return the heading: how many lines change, and the new size."""
        made = self._offer.made
        limit = f" of {made.limit:,}" if made.limit else ""
        over = "" if made.fits else f", {plural(made.after - made.limit, 'byte')} over"
        return (
            f"Adapt to {self._offer.target.name}: {plural(len(made.changes), 'line')} changed, "
            f"then {made.after:,}{limit} bytes{over}"
        )

    def entries(self) -> list[Entry]:
        """Return the whole listing, the changes, and what has no equivalent."""
        made = self._offer.made
        rows = [Entry(WHOLE, (WHOLE, f"{made.after - made.before:+,}", "the whole listing"))]
        rows += [
            Entry(f"change {at}", (str(each.number), f"{each.cost_bytes:+,}", "; ".join(each.why)))
            for at, each in enumerate(made.changes)
        ]
        rows += [
            Entry(f"need {at}", (str(each.lines[0]), "", f"left as it is: {each.what}"))
            for at, each in enumerate(made.needs)
        ]
        return rows

    def detail(self, key: str) -> str:
        """Return a change, what is needed, or the whole listing with its proof."""
        made = self._offer.made
        kind, _, at = key.partition(" ")
        if kind == "change":
            return "\n".join(change_rows(made.changes[int(at)]))
        if kind == "need":
            return need_words(made.needs[int(at)])
        proof = self.proof.says if self.proof else _COMPARING
        rows = [self._offer.says, *made.notes, proof, "", _NEW_LISTING, made.listing.text()]
        return "\n".join(rows)

    def text(self, key: str) -> str:  # noqa: ARG002 - any row means the whole
        """Return the adapted listing."""
        return self._offer.made.listing.text()
