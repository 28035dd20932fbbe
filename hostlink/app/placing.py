"""Convert the line ends of a paste, and put numbered lines into a listing by their numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.events import Key

    from hostlink.listing import Line

_READ_S = 0.005  # between two keys of one read, at most; a held key repeats every 25 ms or more
_CORRECTED = 9
"""Lines at most that a correction changes; more may be a program of its own."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A listing into which lines were put. row: the row of the first one, from 0."""

    text: str
    row: int


@dataclass(slots=True)
class _Block:
    """A numbered row and the rows without a number after it; number: None before the first."""

    number: int | None
    rows: list[str]


def with_line_feeds(pasted: str) -> str:
    """Return text that a terminal pasted, with its line ends as line feeds.

    A terminal multiplexer sends CR for each LF, and so two for each CR LF.
    """
    if "\n" not in pasted and "\r" not in pasted.replace("\r\r", ""):
        pasted = pasted.replace("\r\r", "\n")
    return pasted.replace("\r\n", "\n").replace("\r", "\n")


class RowEnd:
    """Finds the second of the two Enter keys as which a pasted CR LF may arrive."""

    def __init__(self) -> None:
        self._typed_at = self._ended_at = 0.0  # the last other key; an Enter right after one

    def is_second(self, event: Key) -> bool:
        """Return whether a key is the second Enter at the end of a pasted row.

        The row's last key and both Enters then come together, faster than anybody types.
        """
        now = event.time
        if event.key != "enter":
            self._typed_at, self._ended_at = now, 0.0
        elif now - self._ended_at < _READ_S:
            self._typed_at, self._ended_at = now, 0.0
            return True
        else:
            self._ended_at = now if now - self._typed_at < _READ_S else 0.0
        return False


def would_mix(here: Mapping[int, Line], pasted: Mapping[int, Line]) -> bool:
    """Return whether pasted lines, put in by their numbers, may mix two programs.

    They may if they begin where the listing begins, as programs do, or if more than _CORRECTED of
    them are new or different. Lines that all go into one gap of the listing are a part of it.
    here, pasted: lines by number.
    """
    changed = {
        number
        for number, line in pasted.items()
        if number not in here or here[number].typed != line.typed
    }
    if not any(min(changed) <= number <= max(changed) for number in here if changed):
        return False
    return min(pasted) <= min(here) or len(changed) > _CORRECTED


def place_lines(text: str, lines: str) -> Placed:
    """Put numbered lines into a listing; each replaces the line that has its number, if any.

    text: the listing. lines: at least one of them has a number; rows without one stay with the
    numbered row before them or, at the start, with the one after them. Of lines with the same
    number the last counts, as on a board.
    """
    new = _blocks(lines)
    if new[0].number is None:
        first = new.pop(0)
        new[0].rows[:0] = first.rows
    coming = {block.number or 0: block for block in new}
    here = _blocks(text)
    last = {block.number: block for block in here}
    replaced = [number for number in coming if number in last]
    for number in replaced:
        last[number].rows[:1] = coming[number].rows
    placed = [last[number] for number in replaced]
    waiting = sorted(coming.keys() - last.keys(), reverse=True)
    result: list[_Block] = []
    for block in here:
        while waiting and (block.number or 0) > waiting[-1]:
            result.append(coming[waiting.pop()])
        result.append(block)
    result += [coming[number] for number in reversed(waiting)]
    mine = {id(block) for block in (*placed, *coming.values())}
    at = next(at for at, block in enumerate(result) if id(block) in mine)
    rows = [row for block in result for row in block.rows]
    before = sum(len(block.rows) for block in result[:at])
    return Placed("\n".join([*rows, ""]), before)


def _blocks(text: str) -> list[_Block]:
    from hostlink.listing import Line

    blocks: list[_Block] = []
    for row in text.removesuffix("\n").split("\n") if text else ():
        number = Line.from_text(row).number
        if number is not None or not blocks:
            blocks.append(_Block(number, []))
        blocks[-1].rows.append(row)
    return blocks
