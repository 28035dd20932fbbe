"""What the steps of mending share: rows of a source, and the notes of what was done to them."""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection
from dataclasses import dataclass, field, replace

from hostlink.listing.rules import Language, Rules
from hostlink.listing.tokens import keywords, scan

NUMBERED = re.compile(r"[ \t]*[0-9]")
_COMMANDS = frozenset(
    (
        *("CLEAR", "CONT", "DATA", "DIM", "END", "FOR", "GOSUB", "GOTO", "IF", "INPUT", "LET"),
        *("LIST", "LOAD", "NEW", "NEXT", "POKE", "PRINT", "READ", "REM", "RETURN", "RUN", "SAVE"),
        "STOP",
    )
)


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a source: its place from 1, its text, and its line end."""

    at: int
    text: str
    end: str = "\n"

    @property
    def blank(self) -> bool:
        """Whether it holds nothing to see."""
        return not self.text.strip()

    @property
    def numbered(self) -> bool:
        """Whether it begins with a number."""
        return NUMBERED.match(self.text) is not None


@dataclass(frozen=True, slots=True)
class Mend:
    """One repair. line: the row in the source, from 1. kind: what sort of repair, a plain name.

    before, after: the row before and after; two rows that were joined are parted by LF in before.
    sentence: what was done, for people.
    """

    line: int
    kind: str
    before: str
    after: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something that may be damage and may be meant; it was left as it is. Fields as in Mend."""

    line: int
    kind: str
    text: str
    sentence: str


@dataclass(slots=True)
class Notes:
    """The rules to mend by, what must be left out, and what was done and doubted so far."""

    rules: Rules | None = None
    left_out: Collection[tuple[int, str]] = ()
    mends: list[Mend] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)

    @property
    def language(self) -> Language:
        """The board's language, or the commonest where no rules are given."""
        return self.rules.language if self.rules else _COMMON

    def allows(self, at: int, kind: str) -> bool:
        """Whether a repair is to be made."""
        return (at, kind) not in self.left_out

    def kept(self, at: int) -> bool:
        """Whether the user keeps something of a row: then the row itself must stay."""
        return any(at == line for line, _ in self.left_out)

    def change(self, row: Row, kind: str, text: str, sentence: str) -> Row:
        """The row with its new text, noted; the row as it was where nothing changes."""
        if text == row.text or not self.allows(row.at, kind):
            return row
        self.mends.append(Mend(row.at, kind, row.text, text, sentence))
        return replace(row, text=text)

    def doubt(self, row: Row, kind: str, sentence: str) -> None:
        """Note what is left as it is."""
        self.doubts.append(Doubt(row.at, kind, row.text, sentence))

    def is_command(self, text: str) -> bool:
        """Whether a row without a number looks like one typed at the prompt, such as RUN."""
        bare = text.strip()
        word = "".join(itertools.takewhile(str.isalpha, bare)).upper()
        known = word in _COMMANDS or word in keywords(self.language)
        return known and (bare == bare.upper() or " " not in bare)


_COMMON = Language()


def guarded(text: str, language: Language) -> bytearray:
    """For each character of a row: 2 in quoted text, 1 in a remark, 0 elsewhere."""
    mask = bytearray(len(text))
    for span in scan(text, language):
        if span.kind in ("quoted", "remark"):
            mark = b"\2" if span.kind == "quoted" else b"\1"
            mask[span.start : span.end] = mark * len(span.text)
    return mask


def open_quote(text: str, language: Language) -> bool:
    """Whether a row ends inside quoted text that nothing closes."""
    spans = scan(text, language)
    if not spans or spans[-1].kind != "quoted":
        return False
    last = spans[-1].text
    return len(last) == 1 or last[-1] != last[0]
