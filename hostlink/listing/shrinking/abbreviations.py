"""Abbreviate keywords to the fewest letters that the board reads as the word, and a mark.

The board takes the first keyword in its table that matches an abbreviation (Palo Alto Tiny BASIC,
Dr. Dobb's Journal, May 1976), so the shortest form of a word depends on the words before it.
"""

from __future__ import annotations

from functools import lru_cache

from hostlink.listing.reading import Reader
from hostlink.listing.rules import Language, Rules
from hostlink.listing.tokens import keywords


@lru_cache(maxsize=32)
def short_forms(language: Language) -> dict[str, str]:
    """Return the shortest form of each keyword that can be abbreviated."""
    mark = language.abbreviation_mark
    table = keywords(language)
    forms: dict[str, str] = {}
    for word in table if mark else ():
        for length in range(1, len(word) - len(mark)):
            start = word[:length]
            if next(other for other in table if other.startswith(start)) == word:
                forms[word] = start + mark
                break
    return forms


def abbreviated(text: str, reader: Reader, rules: Rules) -> str:
    """Abbreviate the keywords of a line; change nothing if the board stores keywords as tokens."""
    forms = short_forms(reader.language)
    if not forms or rules.storage.kind != "text":
        return text
    spans = reader.spans(text)
    if any(span.word == "DATA" for span in spans):
        return text
    short = {
        at: (forms[span.word],)
        for at, span in enumerate(spans)
        if span.word in forms and len(forms[span.word]) < len(span.text)
    }
    return reader.with_pieces([span.text for span in spans], short)
