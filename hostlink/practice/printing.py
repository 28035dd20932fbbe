"""PRINT of a practice board's BASIC."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from hostlink.practice.arithmetic import number_shower
from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.expression import read_any, read_expression
from hostlink.practice.kind import KindLanguage
from hostlink.practice.line_text import LineText
from hostlink.practice.ops import Send
from hostlink.practice.state import State, Step, Talk
from hostlink.practice.values import Expression

_LAST_COLUMN = 255  # of TAB on large BASICs, from memory


@dataclass(frozen=True, slots=True)
class _Tab:
    """TAB: blanks up to a column, which is 0 at the start of a row."""

    column: Expression


Item: TypeAlias = "bytes | Expression | _Tab | None"


def read_print_statement(text: LineText) -> Step:
    """Read PRINT items: a quoted text (bytes), an expression, a `_Tab`, or None for a comma.

    If a semicolon may only end a PRINT, what follows one fails after the rest was shown.
    """
    semicolon = text.language.semicolon
    wrong: Complaint | None = None
    items: list[Item] = []
    ended = True
    while not text.ends():
        if text.take(","):
            items.append(None)
            ended = False
        elif semicolon != "none" and text.take(";"):
            ended = False
            if semicolon == "ends" and not text.ends():
                wrong = text.puzzled()
                text.at = len(text.text)
        elif items and ended:
            raise text.puzzled()
        else:
            strings = "strings" in text.language.means
            quoted = not strings and text.peek() in text.language.quotes
            items.append(text.quoted().encode("latin-1") if quoted else _read_item(text))
            ended = True
    if not items and not text.peek() and not text.language.bare_print:
        return lambda state: b"" if state.command == "run" else state.end
    show = _showing(items, text.language, ended=ended)
    return show if wrong is None else lambda state: _failing(show(state), wrong)


def _read_item(text: LineText) -> Item:
    if not ("TAB" in text.language.functions and text.take("TAB(")):
        return read_any(text)
    column = read_expression(text)
    text.need(")")
    return _Tab(column)


def _showing(items: list[Item], language: KindLanguage, *, ended: bool) -> Callable[[State], bytes]:
    """Return a function that shows the items of PRINT."""
    number = number_shower(language)
    zone = language.comma_columns
    blank = language.blank.encode("latin-1")

    def show(state: State) -> bytes:
        column = state.column
        parts = []
        for item in items:
            if item is None:
                part = blank * (zone - column % zone) if zone else b""
            elif isinstance(item, bytes):
                part = item
            elif isinstance(item, _Tab):
                wanted = int(item.column(state))
                if wanted > _LAST_COLUMN:
                    raise Complaint(Reason.RANDOM)
                part = blank * (wanted - column)
            else:
                value = item(state)
                is_number = not isinstance(value, str)
                part = number(value) if is_number else value.encode("latin-1", "replace")
            parts.append(part)
            column += len(part)
        state.column = 0 if ended else column
        if ended:
            parts.append(state.end)
        return b"".join(parts)

    return show


def _failing(shown: bytes, complaint: Complaint) -> Talk:
    """Show what was read of a statement, then complain about the rest."""
    yield Send(shown)
    raise complaint.again()
