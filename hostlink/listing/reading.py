"""Check that the board still reads a changed line as the same words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, scan

Statement = tuple[Span, ...]


def solid(spans: Sequence[Span]) -> list[Span]:
    """Return the spans that are not blanks."""
    return [span for span in spans if span.kind != "blank"]


def meaning(spans: Sequence[Span]) -> list[tuple[str, str]]:
    """Return what a board reads: kind and text of each span, without blanks, keywords in full."""
    return [(span.kind, span.word or span.text) for span in spans if span.kind != "blank"]


@dataclass(slots=True)
class Reader:
    """Splits lines into spans and remembers the result for each text."""

    language: Language
    _seen: dict[str, tuple[Span, ...]] = field(default_factory=dict)

    def spans(self, text: str) -> tuple[Span, ...]:
        """Return the spans of a text."""
        found = self._seen.get(text)
        if found is None:
            found = self._seen[text] = scan(text, self.language)
        return found

    def reads_as(self, text: str, wanted: list[tuple[str, str]]) -> bool:
        """Return whether a text has the meaning `wanted` (see `meaning`)."""
        return meaning(self.spans(text)) == wanted

    def with_pieces(self, pieces: list[str], options: Mapping[int, Sequence[str]]) -> str:
        """Return the pieces of a line joined, with other pieces where it still means the same.

        options: by index, the pieces to try, the best first. All best ones are tried at once, then
        place by place, because together they may form a new word.
        """
        wanted = meaning(self.spans("".join(pieces)))
        best = [options.get(at, (piece,))[0] for at, piece in enumerate(pieces)]
        if self.reads_as("".join(best), wanted):
            return "".join(best)
        kept = list(pieces)
        for at, some in options.items():
            for piece in (*some, pieces[at]):
                kept[at] = piece
                if self.reads_as("".join(kept), wanted):
                    break
        return "".join(kept)

    def statements(self, text: str) -> list[Statement]:
        """Return the statements of a line that are not empty, without blanks and separators."""
        separator = self.language.separator
        statements: list[list[Span]] = [[]]
        for span in self.spans(text):
            if separator and span.kind == "symbol" and span.text == separator:
                statements.append([])
            elif span.kind != "blank":
                statements[-1].append(span)
        return [tuple(spans) for spans in statements if spans]


def is_open(spans: Sequence[Span]) -> bool:
    """Return whether a line ends inside quoted text that is not closed."""
    if not spans or spans[-1].kind != "quoted":
        return False
    text = spans[-1].text
    return len(text) == 1 or text[-1] != text[0]


def join_pieces(left: str, right: str) -> str:
    """Join two pieces of a line, with a blank if they would otherwise form one word."""
    apart = left[-1:].isalnum() and right[:1].isalnum()
    return f"{left} {right}" if apart else left + right
