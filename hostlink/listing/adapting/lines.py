"""Which lines the clauses of one line need on another board, and their numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.listing.adapting.clauses import Clause, line_text
from hostlink.listing.adapting.printing import halved
from hostlink.listing.mending.spacing import closed_up
from hostlink.listing.parse import Line
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.references import rewritten
from hostlink.listing.rules import Rules

APART = "the statements need lines of their own"
LENGTH = "the line would be too long"
_PACKED = "no free line number behind it; renumber the listing first"
_CONDITIONAL = "a statement that must have a line of its own stands behind a condition"


@dataclass(frozen=True, slots=True)
class Made:
    """The lines for one line, the original if they cannot be made.

    why: what the division into lines comes from. needs: what kept the lines from being made.
    """

    lines: tuple[Line, ...]
    why: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


class LineMaker:
    """Makes lines of clauses for the board with these rules."""

    def __init__(self, rules: Rules) -> None:
        self._language = rules.language
        self._longest = rules.form.longest_line
        self._reader = Reader(rules.language)

    def lines(self, line: Line, parts: Sequence[Clause], free: range) -> Made:
        """Return the lines that stand for a line. free: the line numbers that they may take."""
        room = self._longest - (len(line.typed) - len(line.text)) if self._longest else 0
        groups = self._groups(parts, room)
        if any(map(_is_conditional, groups[:-1])):
            return Made((line,), needs=(_CONDITIONAL,))
        if len(free) < len(groups) - 1:
            return Made((line,), needs=(_PACKED,))
        texts = [self._fitting(line_text(group, self._language), room) for group in groups]
        numbers = [line.number, *free][: len(groups)]
        made = tuple(
            rewritten(line, number, text) for number, text in zip(numbers, texts, strict=True)
        )
        why = [APART] if any(self._stands_last(group[-1]) for group in groups[:-1]) else []
        why += [LENGTH] if room and len(line_text(parts, self._language)) > room else []
        return Made(made, tuple(why))

    def _fitting(self, text: str, room: int) -> str:
        return closed_up(text, self._reader) if room and len(text) > room else text

    def _groups(self, parts: Sequence[Clause], room: int) -> list[list[Clause]]:
        """Return the clauses by the lines that they need.

        room: the characters of a line's text, 0 for any number.
        """
        groups: list[list[Clause]] = [[]]
        waiting = list(reversed(parts))
        while waiting:
            part, group = waiting.pop(), groups[-1]
            if group and self._stands_last(group[-1]):
                groups.append([part])
            elif _is_conditional(group) or not self._is_full([*group, part], room):
                group.append(part)
            elif group:
                groups.append([])
                waiting.append(part)
            elif len(halves := halved(part, self._language)) > 1:
                waiting += reversed(halves)
            else:
                group.append(part)
        return groups

    def _is_full(self, group: Sequence[Clause], room: int) -> bool:
        text = line_text(group, self._language)
        return 0 < room < len(text) and len(closed_up(text, self._reader)) > room

    def _stands_last(self, clause: Clause) -> bool:
        """Return whether nothing may stand behind a clause in its line."""
        if clause.condition:
            return False
        loop = clause.spans(self._language)[0].word == "FOR"
        return not self._language.separator or (
            loop and "one-line-loops" not in self._language.means
        )


def _is_conditional(group: Sequence[Clause]) -> bool:
    return any(clause.condition for clause in group)
