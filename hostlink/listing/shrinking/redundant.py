"""Remove words and remarks without which a program runs the same."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.listing.mending.spacing import closed_up
from hostlink.listing.reading import Reader, join_pieces, solid
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span


def without_remark(text: str, reader: Reader, *, may_go: bool) -> str | None:
    """Return the text of a line without its remark, or None if nothing else is in the line.

    may_go: whether the whole line may be removed; if not, the bare remark word stays.
    """
    language = reader.language
    spans = reader.spans(text)
    remarks = {word.upper().replace(" ", "") for word in language.remarks}
    place = next((at for at, span in enumerate(spans) if span.word in remarks), None)
    if place is None or any(span.word == "DATA" for span in spans[:place]):
        return text
    word = spans[place]
    before = solid(spans[:place])
    while before and language.separator and before[-1].text == language.separator:
        before.pop()
    if not before:
        return None if may_go else word.text
    between = text[before[-1].end : word.start]
    if language.separator and language.separator in between:
        return text[: before[-1].end]
    if not word.word.isalpha():  # a mark such as ' needs no separator in front of it
        return text[: before[-1].end]
    if before[-1].word in ("THEN", "ELSE"):
        return text[: word.end]
    return text  # not a remark, only its letters, as in a name after another word


def without_words(text: str, reader: Reader) -> str:
    """Return the text of a line without each LET, THEN and GOTO that may be omitted.

    If a word is removed, insignificant blanks of the line are removed too.
    """
    spans = solid(reader.spans(text))
    words = {span.word for span in spans}
    if not words & {"LET", "THEN"} or words & {"ELSE", "DATA"}:
        return text
    for place in range(len(spans) - 1, -1, -1):
        if _is_spare(spans, place, reader.language):
            shorter = _cut(text, spans, place)
            left = [*spans[:place], *spans[place + 1 :]]
            if reader.reads_as(shorter, [(span.kind, span.word or span.text) for span in left]):
                text = closed_up(shorter, reader)
                spans = solid(reader.spans(text))
    return text


def without_end(text: str, reader: Reader, *, may_go: bool) -> str | None:
    """Return a program's last line without a final END, or None if the line has nothing else.

    may_go: whether the whole line may be removed.
    """
    language = reader.language
    spans = solid(reader.spans(text))
    if "END" not in language.optional or not spans or spans[-1].word != "END":
        return text
    before = spans[:-1]
    while before and language.separator and before[-1].text == language.separator:
        before.pop()
    if not before:
        return None if may_go else text
    return text[: before[-1].end] if len(before) < len(spans) - 1 else text


def _is_spare(spans: Sequence[Span], place: int, language: Language) -> bool:
    """Return whether the word at an index of the spans may be omitted."""
    word = spans[place].word
    after = spans[place + 1] if place + 1 < len(spans) else None
    if word not in ("LET", "THEN", "GOTO") or after is None:
        return False
    assigns = (after.kind == "name" or after.text == "@") and place + 2 < len(spans)
    assigns = assigns and spans[place + 2].text in ("=", "(")
    if word == "LET":
        return "LET" in language.optional and assigns
    if word == "THEN":
        starts = after.kind == "word" and after.word in language.statements
        return "THEN" in language.optional and (starts or assigns)
    if place == 0 or spans[place - 1].word != "THEN" or "THEN" not in language.jumps:
        return False
    if after.kind != "number" or not after.text.isdecimal():
        return False
    return place + 2 == len(spans) or spans[place + 2].text == (language.separator or None)


def _cut(text: str, spans: Sequence[Span], place: int) -> str:
    """Return a text without one span and the blanks after it, keeping words apart."""
    left, right = text[: spans[place].start], text[spans[place + 1].start :]
    return join_pieces(left, right)
