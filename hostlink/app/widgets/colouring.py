"""Find the parts of a listing's line that have a colour, for the editor and for comparisons."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hostlink.listing import Language

_LONGEST_SCANNED = 2_000  # characters; a longer line is no BASIC that a board could take
_SAME = ("quoted", "remark", "number")


def coloured(typed: str, language: Language | None) -> Iterator[tuple[int, int, str]]:
    """Yield the parts of a line: start, end, and `number`, `keyword`, `quoted`, `remark`, `jump`.

    A jump is the number of a line that a statement goes to. language: None if it is not known yet;
    then only the line number has a colour.
    """
    from hostlink.listing import Line
    from hostlink.listing.tokens import scan

    line = Line.from_text(typed)
    start = len(typed) - len(line.body)
    if line.number is not None:
        yield 0, start, "number"
    if language is None or len(typed) > _LONGEST_SCANNED:
        return
    jumps = set(language.jumps)
    after_jump = False
    for span in scan(line.body, language):
        name: str = span.kind if span.kind in _SAME else ""
        if span.kind == "word":
            name = "keyword"
            after_jump = span.word in jumps
        elif span.kind == "number" and after_jump:
            name = "jump"
        elif span.kind != "blank":
            after_jump = False
        if name:
            yield start + span.start, start + span.end, name
