"""Rules for PRINT (what separates its items, the blanks of numbers, an open row) and for INPUT.

PRINT is read as items with what the source board shows between them, and written so that the target
board shows the same words. A blank that the source adds to a number is written out if the target
adds none; blanks that only the target adds stay, and the user is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from hostlink.listing.adapting.clauses import PRINT_WORDS, Clause
from hostlink.listing.adapting.rewriting import Pair, Rewrite, rewrites
from hostlink.listing.adapting.signs import is_positive
from hostlink.listing.rules import Language
from hostlink.listing.tokens import Span, scan

JOIN, ROW = 0, -1  # nothing, or a row end; other values are the columns of a zone
_FRONT = {"blank": 2, "field": 2, "signed": 1, "spaced": 1, "bare": 0, "": 0}
_BACK = {"spaced": 1}


@dataclass(frozen=True, slots=True)
class Item:
    """One item of PRINT. text: as written. after: `JOIN`, `ROW`, or the columns of a zone."""

    text: str
    after: int
    quoted: bool


def read_print(clause: Clause, language: Language) -> list[Item] | None:
    """Return the items of a PRINT; None for any other clause, and for PRINT without items."""
    spans = clause.spans(language)
    if len(spans) < 2 or spans[0].word not in PRINT_WORDS:
        return None
    items: list[Item] = []
    held: list[Span] = []
    depth = 0

    def close(after: int) -> None:
        if held:
            text = clause.text[held[0].start : held[-1].end]
            items.append(Item(text, after, len(held) == 1 and held[0].kind == "quoted"))
        elif items:
            items[-1] = replace(items[-1], after=max(items[-1].after, after))
        else:
            items.append(Item('""', after, True))
        held.clear()

    for span in spans[1:]:
        depth += (span.text == "(") - (span.text == ")")
        if depth == 0 and span.text == ",":
            close(language.comma_columns)
        elif depth == 0 and span.text == ";" and language.semicolon != "none":
            close(JOIN)
        else:
            held.append(span)
    if held:
        close(ROW)
    return items


def keeps_row_open(clause: Clause, language: Language) -> bool:
    """Return whether a clause is a PRINT that leaves its row open."""
    return any(item.after != ROW for item in (read_print(clause, language) or [])[-1:])


@rewrites("zones", "PRINT A,B", 'PRINT A;" ";B', "PRINT columns differ here", exact=False)
def _zones(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Write a blank for a zone that the target does not have."""
    items = read_print(clause, pair.source)
    kept = (JOIN, ROW, pair.target.comma_columns)
    if items is None or all(item.after in kept for item in items):
        return None
    out: list[Item] = []
    for item in items:
        zone = [replace(item, after=JOIN), Item('" "', JOIN, True)]
        out += [item] if item.after in kept else zone
    return _written(clause, out, pair.source)


_NO_BLANK = "PRINT puts fewer blanks around numbers"


@rewrites("number-blanks", 'PRINT "A=";A', 'PRINT "A= ";A', _NO_BLANK, exact=False)
def _blanks(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Write out the blanks of numbers that the target does not show."""
    items = read_print(clause, pair.source)
    before, here = _FRONT[pair.source.number], _FRONT[pair.target.number]
    front = before > here
    back = _BACK.get(pair.source.number, 0) > _BACK.get(pair.target.number, 0)
    if items is None or not (front or back):
        return None
    out: list[Item] = []
    apart = not pair.rows_stay_open  # whether a blank or the start of the row stands in front
    for item in items:
        if item.quoted or "$" in item.text or '"' in item.text:
            out.append(item)
            apart = item.after > JOIN or (item.quoted and item.text[-2:-1] == " ")
            continue
        # A number that is never negative has a blank in place of its sign.
        plain = here == 1 and is_positive(scan(item.text, pair.both), pair.positive)
        if front and not (apart or plain):
            out.append(Item('" "', JOIN, True))
        out.append(item)
        apart = item.after > JOIN
        if back and item.after == JOIN:
            out.append(Item('" "', JOIN, True))
            apart = True
    return _written(clause, out, pair.source) if len(out) > len(items) else None


@rewrites("separators", "PRINT A;B", "PRINT A,B", "PRINT separates its items by other signs")
def _separators(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Write the separators of the target, or several PRINT if none of them joins two items."""
    source, target = pair.source, pair.target
    alike = (source.semicolon, source.comma_columns) == (target.semicolon, target.comma_columns)
    items = None if alike else read_print(clause, source)
    return None if items is None else _written(clause, items, target)


def _written(clause: Clause, items: Sequence[Item], language: Language) -> list[Clause] | None:
    """Return the PRINT statements for items in a language, or None if nothing changes."""
    joins = ";" if language.semicolon == "joins" else "," if language.comma_columns == 0 else ""
    last = _open_row(language)
    word = "? " if clause.text.startswith("?") else "PRINT "
    texts, text = [], word
    items = _merged(items)
    for place, item in enumerate(items):
        text += item.text
        if item.after == ROW:
            continue
        if place == len(items) - 1:
            text += last if item.after == JOIN else ","
        elif item.after > JOIN:
            text += ","
        elif joins:
            text += joins
        else:
            texts.append(text + last)
            text = word
    texts.append(text)
    first = clause.with_text(texts[0])
    return None if texts == [clause.text] else [first, *(Clause(more) for more in texts[1:])]


def split_print(clause: Clause, language: Language) -> list[Clause]:
    """Split a long PRINT into two that print the same; return any other clause unchanged."""
    items = read_print(clause, language) or []
    half = next((at for at in range(len(items) // 2, 0, -1) if items[at - 1].after == JOIN), 0)
    if not half:
        return [clause]
    halves = (items[:half], items[half:])
    return [made for each in halves for made in _written(clause, each, language) or ()]


@rewrites("bare-print", "PRINT", 'PRINT ""', "PRINT alone ends the row on one of the boards only")
def _bare_print(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    source, target = pair.source, pair.target
    if source.bare_print == target.bare_print or not (source.bare_print or clause.ends):
        return None
    words = [span.word for span in clause.spans(source)]
    mark = "" if source.bare_print else _open_row(target)
    alone = len(words) == 1 and words[0] in PRINT_WORDS
    return [clause.with_text(f'PRINT ""{mark}')] if alone else None


def _open_row(language: Language) -> str:
    """Return what ends a PRINT whose row stays open."""
    return "," if language.semicolon == "none" else ";"


def _merged(items: Sequence[Item]) -> list[Item]:
    """Return the items with adjacent texts joined."""
    out: list[Item] = []
    for item in items:
        before = out[-1] if out else None
        alike = before and before.quoted and item.quoted and before.after == JOIN
        if before and alike and before.text[0] == item.text[0] == before.text[-1]:
            out[-1] = Item(before.text[:-1] + item.text[1:], item.after, True)
        else:
            out.append(item)
    return out


_NOT_ASKED = "INPUT cannot show a question on this board"


@rewrites("question", 'INPUT "Q",A', 'PRINT "Q";:INPUT A', _NOT_ASKED, exact=False)
def _question(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    """Ask the question of INPUT with a PRINT in front of it."""
    if "input-text" in pair.target.means:
        return None
    spans = clause.spans(pair.source)
    asks = len(spans) > 3 and spans[0].word == "INPUT" and spans[1].kind == "quoted"
    if not asks or spans[2].text not in (",", ";"):
        return None
    last = _open_row(pair.source)
    rest = clause.text[spans[3].start :]
    return [clause.with_text(f"PRINT {spans[1].text}{last}"), Clause(f"INPUT {rest}")]


@rewrites("input-list", "INPUT A,B", "INPUT A: INPUT B", "INPUT takes one variable on this board")
def _input_list(clause: Clause, _: Clause | None, pair: Pair) -> list[Clause] | None:
    names = input_names(clause, pair.source)
    if not names or pair.target.input_list != "none":
        return None
    first, *others = (f"INPUT {name}" for name in names)
    return [clause.with_text(first), *map(Clause, others)]


def input_names(clause: Clause, language: Language) -> list[str]:
    """Return the variables of an INPUT with several of them, none for any other clause."""
    spans = clause.spans(language)
    if not spans or spans[0].word != "INPUT" or spans[-1].kind != "name":
        return []
    names, commas = spans[1::2], spans[2::2]
    plain = all(span.kind == "name" for span in names) and all(c.text == "," for c in commas)
    return [span.text for span in names] if plain and len(names) > 1 else []


PRINTING: tuple[Rewrite, ...] = (_zones, _blanks, _question, _input_list, _separators, _bare_print)
"""The rules for PRINT and INPUT, in the order in which they are tried."""
