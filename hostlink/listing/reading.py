"""Reading lines while they are being changed: a change must leave every word as it was read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, scan

Statement = tuple[Span, ...]


def solid(spans: Sequence[Span]) -> list[Span]:
    """The spans without the blanks."""
    return [span for span in spans if span.kind != "blank"]


def meaning(spans: Sequence[Span]) -> list[tuple[str, str]]:
    """What a board reads: kind and text of every span but blanks; a keyword counts in full."""
    return [(span.kind, span.word or span.text) for span in spans if span.kind != "blank"]


@dataclass(slots=True)
class Reader:
    """Takes lines apart, each only once."""

    language: Language
    _seen: dict[str, tuple[Span, ...]] = field(default_factory=dict)

    def spans(self, text: str) -> tuple[Span, ...]:
        """The spans of a text."""
        found = self._seen.get(text)
        if found is None:
            found = self._seen[text] = scan(text, self.language)
        return found

    def reads_as(self, text: str, wanted: list[tuple[str, str]]) -> bool:
        """Whether a text is read as wanted."""
        return meaning(self.spans(text)) == wanted

    def statements(self, text: str) -> list[Statement]:
        """The statements of a line, blanks and separators left out; empty ones too."""
        separator = self.language.separator
        statements: list[list[Span]] = [[]]
        for span in self.spans(text):
            if separator and span.kind == "symbol" and span.text == separator:
                statements.append([])
            elif span.kind != "blank":
                statements[-1].append(span)
        return [tuple(spans) for spans in statements if spans]


def is_open(spans: Sequence[Span]) -> bool:
    """Whether a line ends inside quoted text that nothing closes."""
    if not spans or spans[-1].kind != "quoted":
        return False
    text = spans[-1].text
    return len(text) == 1 or text[-1] != text[0]


def joined(left: str, right: str) -> str:
    """Two pieces of a line, with a blank where they would run together into one word."""
    apart = left[-1:].isalnum() and right[:1].isalnum()
    return f"{left} {right}" if apart else left + right
