"""Find and change the references of a line to other lines.

Jumps are references, and so are the numbers after LIST, RUN and RESTORE: RUN 100, LIST 10,50,
LIST 10-50. Only the target of a jump, of RUN and of RESTORE must exist.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from hostlink.listing.parse import Line
from hostlink.listing.reviewing.jumps import Reference, jumps
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, scan

_EXACT = ("RUN", "RESTORE")
_RANGE = ("LIST",)


def references(text: str, language: Language) -> tuple[Reference, ...]:
    """Return all references in the text of a line, in order; ignore quoted text and remarks."""
    upper = text.upper()
    found = list(jumps(text, language))
    if found and "DATA" in upper:
        items = next((s.start for s in scan(text, language) if s.word == "DATA"), len(text))
        found = [reference for reference in found if reference.start < items]
    if any(word in upper for word in (*_EXACT, *_RANGE)):
        spans = [span for span in scan(text, language) if span.kind != "blank"]
        for place, span in enumerate(spans):
            if span.word in _EXACT:
                found.extend(_exact(spans, place))
            elif span.word in _RANGE:
                found.extend(_range(spans, place))
    return tuple(sorted(found, key=lambda reference: reference.start))


def _ends(spans: Sequence[Span], place: int) -> bool:
    """Return whether the statement or expression ends at an index of the spans."""
    return place >= len(spans) or spans[place].text in (":", ";") or spans[place].kind == "remark"


def _plain(spans: Sequence[Span], place: int) -> bool:
    return place < len(spans) and spans[place].kind == "number" and spans[place].text.isdecimal()


def _exact(spans: Sequence[Span], place: int) -> list[Reference]:
    word, at = spans[place].word, place + 1
    if not _plain(spans, at):
        worked_out = (
            at < len(spans) and spans[at].kind in ("name", "symbol") and not _ends(spans, at)
        )
        return [Reference(word, spans[at].start, "", "exact")] if worked_out else []
    if not _ends(spans, at + 1) and spans[at + 1].text in "+-*/^(":
        return [Reference(word, spans[at].start, "", "exact")]
    return [Reference(word, spans[at].start, spans[at].text, "exact")]


def _range(spans: Sequence[Span], place: int) -> list[Reference]:
    """Return the references of LIST a, LIST a,b, LIST a-b, LIST a- and LIST -b."""
    word, at = spans[place].word, place + 1
    found: list[Reference] = []
    if _plain(spans, at):
        found.append(Reference(word, spans[at].start, spans[at].text, "from"))
        at += 1
    if at < len(spans) and spans[at].text in (",", "-") and _plain(spans, at + 1):
        found.append(Reference(word, spans[at + 1].start, spans[at + 1].text, "to"))
        at += 2
    elif at < len(spans) and spans[at].text in (",", "-") and _ends(spans, at + 1):
        at += 1
    if not _ends(spans, at):
        return [Reference(word, spans[place].end, "", "from")]
    return found


def rewritten(line: Line, number: int | None, text: str) -> Line:
    """Return a line with another number and text; keep blanks before and after the number."""
    if line.number is None:
        return Line(text, None, text, line.at)
    digits = len(line.typed) - len(line.body)
    front = line.typed[: len(line.typed[:digits].rstrip("0123456789"))]
    body = line.body[: len(line.body) - len(line.text)] + text
    return Line(f"{front}{number}{body}", number, body, line.at)


def retargeted(
    text: str, found: Sequence[Reference], new_number: Callable[[Reference], int | None]
) -> str:
    """Return a text with new numbers in its references; None leaves one unchanged."""
    pieces: list[str] = []
    at = 0
    for reference in found:
        number = new_number(reference) if reference.digits else None
        if number is None or number == reference.target:
            continue
        pieces += [text[at : reference.start], str(number)]
        at = reference.start + len(reference.digits)
    return "".join([*pieces, text[at:]])
