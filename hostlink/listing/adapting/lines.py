"""Divide the clauses of one line among the lines that they need on another board."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.listing.adapting.clauses import Clause, line_text
from hostlink.listing.adapting.hoisting import hoisted
from hostlink.listing.adapting.printing import split_print
from hostlink.listing.adapting.rewriting import Pair
from hostlink.listing.mending.spacing import closed_up
from hostlink.listing.parse import Line
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.references import rewritten
from hostlink.listing.rules import Rules

APART = "these statements need lines of their own"
LENGTH = "the line would be too long"
_PACKED = "no free line number after it; renumber the listing first"


@dataclass(frozen=True, slots=True)
class Made:
    """The lines that replace one line; the original line alone if that is impossible.

    why: reasons for a division into lines. needs: what prevented it.
    """

    lines: tuple[Line, ...]
    why: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()


class LineMaker:
    """Makes lines from clauses for the target of a pair. rules: those of the target."""

    def __init__(self, pair: Pair, rules: Rules) -> None:
        self._language = rules.language
        self._read = pair.both
        self._spare = pair.spare
        self._longest = rules.form.longest_line
        self._reader = Reader(rules.language)

    def lines(self, line: Line, parts: Sequence[Clause], free: range, following: int) -> Made:
        """Return the lines that replace a line.

        free: the line numbers that they may take. following: the next line's number, 0 for none.
        """
        room = self._longest - (len(line.typed) - len(line.text)) if self._longest else 0
        numbers = [line.number or 0, *free]
        texts = self._texts(parts, numbers, room, following)
        if len(numbers) < len(texts):
            return Made((line,), needs=(_PACKED,))
        made = tuple(
            rewritten(line, number, self._fitting(text, room))
            for number, text in zip(numbers, texts, strict=False)
        )
        groups = self._groups(parts, room)
        why = [APART] if any(self._stands_last(group[-1]) for group in groups[:-1]) else []
        why += [LENGTH] if room and len(line_text(parts, self._language)) > room else []
        return Made(made, tuple(why))

    def _texts(
        self, parts: Sequence[Clause], numbers: Sequence[int], room: int, following: int
    ) -> list[str]:
        """Return the texts of the lines for clauses.

        Statements after a condition that cannot share its line go to lines of their own. The
        condition jumps to these, and a jump around them stands in between. numbers: those that the
        lines will have; there may be more texts than numbers.
        """
        groups = self._groups(parts, room)
        at = next((at for at, part in enumerate(parts) if part.condition), len(parts)) + 1
        whole = [part.goes for part in parts[at:]] in ([], [True])
        if self._is_sound(groups, room) or whole or any(part.last for part in parts):
            return [line_text(group, self._language) for group in groups]
        bare = self._language.then_takes in ("both", "line")
        head = self._groups([*parts[:at], Clause(f"GOTO {numbers[-1]}", bare=bare)], room)
        place = len(head) + 1
        target = numbers[place] if place < len(numbers) else numbers[-1]
        head = self._groups([*parts[:at], Clause(f"GOTO {target}", bare=bare)], room)
        onward = f"GOTO {following}" if following else "END"
        rest = self._texts(parts[at:], numbers[place:] or numbers[-1:], room, following)
        return [*(line_text(group, self._language) for group in head), onward, *rest]

    def _is_sound(self, groups: Sequence[Sequence[Clause]], room: int) -> bool:
        """Return whether no statement is cut from its condition, and no such line is too long."""
        torn = any(_is_conditional(group) and not group[-1].last for group in groups[:-1])
        return not torn and not any(_is_conditional(g) and self._is_full(g, room) for g in groups)

    def _fitting(self, text: str, room: int) -> str:
        return closed_up(text, self._reader) if room and len(text) > room else text

    def _groups(self, parts: Sequence[Clause], room: int) -> list[list[Clause]]:
        """Return the clauses grouped by line. room: characters of a line's text, 0 for no limit."""
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
            else:
                halves = split_print(part, self._language), hoisted(part, self._read, self._spare)
                made = next((each for each in halves if len(each) > 1), [])
                waiting += reversed(made)
                group += [] if made else [part]
        return groups

    def _is_full(self, group: Sequence[Clause], room: int) -> bool:
        text = line_text(group, self._language)
        if group[-1].condition:
            text += " GOTO 99999" if self._language.then_takes == "none" else " THEN 99999"
        return 0 < room < len(text) and len(closed_up(text, self._reader)) > room

    def _stands_last(self, clause: Clause) -> bool:
        """Return whether nothing may stand after a clause in its line."""
        if clause.condition:
            return False
        words = {span.word for span in clause.spans(self._language)[:1]}
        ends = words & set(self._language.ends_line)
        return clause.last or not self._language.separator or bool(ends)


def _is_conditional(group: Sequence[Clause]) -> bool:
    return any(clause.condition for clause in group)
