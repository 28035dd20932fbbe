"""Data shared by the mending steps: the rows of a source, and the record of repairs."""

from __future__ import annotations

import itertools
import re
from collections.abc import Collection
from dataclasses import dataclass, field, replace

from hostlink.listing.reading import is_open
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
    """One row of a source: its position from 1, its text, and its line end."""

    at: int
    text: str
    end: str = "\n"

    @property
    def blank(self) -> bool:
        """Return whether the row is empty or has only blanks."""
        return not self.text.strip()

    @property
    def numbered(self) -> bool:
        """Return whether the row begins with a number."""
        return NUMBERED.match(self.text) is not None


@dataclass(frozen=True, slots=True)
class Mend:
    """One repair. line: the row in the source, from 1. kind: the name of the kind of repair.

    before, after: the row before and after the repair; joined rows are separated by LF in before.
    sentence: description of the repair for the user.
    """

    line: int
    kind: str
    before: str
    after: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Doubt:
    """Possible damage that was left unchanged, since it may be intended. Fields as in Mend."""

    line: int
    kind: str
    text: str
    sentence: str


@dataclass(slots=True)
class Notes:
    """The rules for mending, the repairs not to make, and the repairs and doubts so far."""

    rules: Rules | None = None
    left_out: Collection[tuple[int, str]] = ()
    mends: list[Mend] = field(default_factory=list)
    doubts: list[Doubt] = field(default_factory=list)

    @property
    def language(self) -> Language:
        """Return the board's language, or the most common one if no rules are given."""
        return self.rules.language if self.rules else _COMMON

    def allows(self, at: int, kind: str) -> bool:
        """Return whether a repair is permitted. at: row from 1."""
        return (at, kind) not in self.left_out

    def kept(self, at: int) -> bool:
        """Return whether the user rejected a repair of a row, so that the row must stay."""
        return any(at == line for line, _ in self.left_out)

    def change(self, row: Row, kind: str, text: str, sentence: str) -> Row:
        """Return the row with its new text and record the repair, if allowed and different."""
        if text == row.text or not self.allows(row.at, kind):
            return row
        self.mends.append(Mend(row.at, kind, row.text, text, sentence))
        return replace(row, text=text)

    def doubt(self, row: Row, kind: str, sentence: str) -> None:
        """Record possible damage that is left unchanged."""
        self.doubts.append(Doubt(row.at, kind, row.text, sentence))

    def is_command(self, text: str) -> bool:
        """Return whether a row without a number looks like a direct command, such as RUN."""
        bare = text.strip()
        word = "".join(itertools.takewhile(str.isalpha, bare)).upper()
        known = word in _COMMANDS or word in keywords(self.language)
        return known and (bare == bare.upper() or " " not in bare)


_COMMON = Language()


def quoted_mask(text: str, language: Language) -> bytearray:
    """Return for each character of a row: 2 in quoted text, 1 in a remark, 0 elsewhere."""
    mask = bytearray(len(text))
    for span in scan(text, language):
        if span.kind in ("quoted", "remark"):
            mark = b"\2" if span.kind == "quoted" else b"\1"
            mask[span.start : span.end] = mark * len(span.text)
    return mask


def open_quote(text: str, language: Language) -> bool:
    """Return whether a row ends inside quoted text that is not closed."""
    return is_open(scan(text, language))
