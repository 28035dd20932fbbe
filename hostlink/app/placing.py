"""Putting numbered lines into a listing by their numbers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Placed:
    """A listing into which lines were put.

    lines: how many were put in, replaced: how many of them took the place of a line with the same
    number. row: the row of the first one, from 0.
    """

    text: str
    lines: int
    replaced: int
    row: int


@dataclass(slots=True)
class _Block:
    """A numbered row and the rows without a number after it; number: None before the first."""

    number: int | None
    rows: list[str]


def with_lines(text: str, lines: str) -> Placed:
    """Put numbered lines into a listing: each in place of the line with its number, or in order.

    text: the listing. lines: at least one of them has a number; rows without one stay with the
    numbered row before them, the first ones with that after them.
    """
    blocks = _blocks(text)
    new = _blocks(lines)
    if new[0].number is None:
        first = new.pop(0)
        new[0].rows[:0] = first.rows
    replaced = 0
    for block in new:
        number = block.number or 0
        same = [at for at, one in enumerate(blocks) if one.number == number]
        if same:
            block.rows += blocks[same[-1]].rows[1:]
            blocks[same[-1]] = block
            replaced += 1
            continue
        behind = (at for at, one in enumerate(blocks) if (one.number or 0) > number)
        blocks.insert(next(behind, len(blocks)), block)
    place = min(at for at, one in enumerate(blocks) if any(one is each for each in new))
    rows = [row for block in blocks for row in block.rows]
    before = sum(len(block.rows) for block in blocks[:place])
    return Placed("\n".join([*rows, ""]), len(new), replaced, before)


def _blocks(text: str) -> list[_Block]:
    from hostlink.listing import Line

    blocks: list[_Block] = []
    for row in text.removesuffix("\n").split("\n") if text else ():
        number = Line.from_text(row).number
        if number is not None or not blocks:
            blocks.append(_Block(number, []))
        blocks[-1].rows.append(row)
    return blocks
