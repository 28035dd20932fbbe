"""Find the jumps of a line: plain line numbers, and targets computed at run time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from hostlink.listing.parse import line_number
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, scan

_GOES_ON = frozenset("+-*/^(")  # after a number these continue an expression

Use = Literal["jump", "exact", "from", "to"]


@dataclass(frozen=True, slots=True)
class Reference:
    """A reference to a line in the text of a line.

    word: the keyword before it, such as GOTO or THEN. start: its index in the text, from 0. digits:
    as written, "" if it is computed when the program runs. use: "jump"; "exact" (RUN 100, RESTORE
    100); "from" or "to", an end of a LIST range, which need not exist.
    """

    word: str
    start: int
    digits: str
    use: Use = "jump"

    @property
    def target(self) -> int | None:
        """Return the line number, or None if it is computed at run time."""
        return line_number(self.digits) if self.digits else None


@lru_cache(maxsize=8_192)
def jumps(text: str, language: Language) -> tuple[Reference, ...]:
    """Return the jumps in the text of a line, including lists such as ON X GOTO 10,20,30.

    THEN and ELSE before a statement are not jumps. Quoted text and remarks are ignored.
    """
    words = {word.upper().replace(" ", "") for word in language.jumps}
    if "THEN" in words:
        words.add("ELSE")
    spans = [span for span in scan(text, language) if span.kind != "blank"]
    found: list[Reference] = []
    for place, span in enumerate(spans):
        if span.word in words:
            found.extend(_targets(spans, place, len(text)))
    return tuple(found)


def _targets(spans: Sequence[Span], place: int, end: int) -> list[Reference]:
    """Return the targets that follow the jump word at an index of the spans."""
    word = spans[place].word
    found: list[Reference] = []
    while True:
        span = spans[place + 1] if place + 1 < len(spans) else None
        after = spans[place + 2] if place + 2 < len(spans) else None
        plain = span is not None and span.kind == "number" and span.text.isdecimal()
        if span is not None and plain:
            if after is not None and after.text in _GOES_ON:
                return [*found, Reference(word, span.start, "")]
            found.append(Reference(word, span.start, span.text))
            if after is None or after.text != ",":
                return found
            place += 2
        elif word in ("THEN", "ELSE"):
            return found
        else:
            return [*found, Reference(word, end if span is None else span.start, "")]
