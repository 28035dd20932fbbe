"""Combine several readings of one program line by line.

The wire has no checksum. Two equal readings are enough only if nothing was noted against the wire
(see evidence.py), because a damaged wire may lose the same byte twice. The rules:

1. A line is settled if one text of it has at least three votes and leads every other by two (by
   three on a damaged wire), or if two readings are needed and both agree. A reading in which a row
   that is not a line stands in the line's place (see `hidden_lines`) does not vote on it. A missing
   line counts as a text that must lead all others and those readings together.
2. An empty reading among full ones means that the question was damaged; it votes on no line. An
   answer of words without lines never votes.
3. Reading may change the board, because a damaged `LIST` may be stored as a line. Older readings
   therefore never outvote a stray line in the last reading, nor a difference in it that another
   reading showed too.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hostlink.board.dialogue.reading import Reading
from hostlink.listing.parse import Line

_CLEAN, _DOUBTFUL = 2, 3  # votes needed, see Evidence.readings_needed
_AFTER_ALL = 1 << 32  # above any line number

Lines = Mapping[int, Line]
Order = Sequence[int | str]  # see Reading.order


@dataclass(frozen=True, slots=True)
class Tally:
    """The combined captures. lines: settled lines by number. unsettled: numbers still in doubt."""

    count: int
    lines: dict[int, Line]
    unsettled: tuple[int, ...]


def voting(readings: Sequence[Reading]) -> list[Reading]:
    """Return the readings that may vote: empty ones are left out if most readings show lines."""
    full = [reading for reading in readings if reading.lines]
    bare = [reading for reading in readings if reading.is_bare]
    return full if len(full) > len(bare) else [r for r in readings if r.lines or r.is_bare]


def tally(captures: Sequence[Lines], need: int, orders: Sequence[Order] = ()) -> Tally:
    """Combine captures (line number to line) under the rules above.

    orders: all rows of each capture as they came, if known.
    """
    numbers = sorted({number for rows in captures for number in rows})
    unread = hidden_lines(orders, numbers) if orders else [set[int]()] * len(captures)
    lines: dict[int, Line] = {}
    unsettled: list[int] = []
    for number in numbers:
        readings = [
            rows.get(number)
            for rows, unclear in zip(captures, unread, strict=True)
            if number in rows or number not in unclear
        ]
        votes = Counter(line.typed if line else None for line in readings).most_common(2)
        winner, count = votes[0]
        runner_up = votes[1][1] if len(votes) > 1 else 0
        # A damaged number always makes the line absent; damaged texts differ from each other.
        if winner is None:
            runner_up = len(captures) - count
        if not _settled(count, runner_up, need):
            unsettled.append(number)
        elif winner is not None:
            lines[number] = next(line for line in readings if line and line.typed == winner)
    return Tally(len(captures), lines, tuple(unsettled))


def hidden_lines(orders: Sequence[Order], numbers: Sequence[int]) -> list[set[int]]:
    """Return for each capture the numbers of lines that may be present but unreadable in it.

    If a row that is not a line, or a number that few captures have, stands where such a line
    belongs, it may be that line, damaged. The board's own rows come in every capture and do not
    count.
    """
    times = Counter(each for order in orders for each in set(order))
    found: list[set[int]] = []
    for order in orders:
        unclear = set[int]()
        before = begin = 0
        odd = False
        for each in [*order, _AFTER_ALL]:
            if isinstance(each, str):
                odd = odd or times[each] == 1
            elif each != _AFTER_ALL and 2 * times[each] <= len(orders):
                odd = True
            else:
                if each <= begin:
                    begin, odd = before, True  # the row before this one was out of place
                if odd:
                    unclear.update(number for number in numbers if begin < number < each)
                before, begin, odd = begin, each, False
        found.append(unclear)
    return found


def differing(before: Lines, after: Lines) -> int:
    """Count the lines in which two readings differ."""
    old, new = ({n: line.typed for n, line in lines.items()} for lines in (before, after))
    return sum(old.get(number) != new.get(number) for number in {*old, *new})


def standing_rows(readings: Sequence[Reading]) -> set[str]:
    """Return the rows that are not lines but are in most readings, so not a result of damage."""
    times = Counter(row for reading in readings for row in set(reading.unexplained))
    return {row for row, count in times.items() if count > 1 and 2 * count > len(readings)}


def count_explained(unexplained: Sequence[Sequence[str]]) -> int:
    """Count the captures that show nothing but lines and the board's own rows.

    unexplained: for each capture the rows that are not lines. The board's own rows come in several
    captures; another row may be a line that does not belong there, with a damaged number.
    """
    times = Counter(row for rows in unexplained for row in set(rows))
    return sum(all(times[row] > 1 for row in rows) for rows in unexplained)


def _settled(votes: int, runner_up: int, need: int) -> bool:
    if need == _CLEAN:
        return votes >= _CLEAN and runner_up == 0
    lead = 2 if need == _DOUBTFUL else 3
    return votes >= 3 and votes - runner_up >= lead


@dataclass(frozen=True, slots=True)
class Verdict:
    """The result of comparing captures with the program that should be on the board.

    wrong: numbers of lines that differ or are missing. stray: numbers that should not be there.
    unsettled: numbers that need another capture. unread: no answer to LIST could be used.
    """

    wrong: tuple[int, ...]
    stray: tuple[int, ...]
    unsettled: tuple[int, ...]
    unread: bool = False

    @property
    def proven(self) -> bool:
        """Return whether the board holds exactly what was sent."""
        return not (self.wrong or self.stray or self.unsettled or self.unread)


def verdict(
    captures: Sequence[Mapping[int, str]], target: Mapping[int, str], *, clean: bool
) -> Verdict:
    """Compare captures with what was sent, both as line number to canonical text.

    A line that was read exactly as sent counts as right: noise would have to reverse a storage
    error by accident. On a clean wire one such reading is enough; otherwise there must be two, and
    more than of any other text. The same holds for a difference. If the last capture shows a stray
    line, or a difference that was read before, an earlier right reading does not count, because the
    board may have changed since.
    """
    wrong: list[int] = []
    stray: list[int] = []
    unsettled: list[int] = []
    quorum = 1 if clean else 2
    for number in sorted({*target, *(number for rows in captures for number in rows)}):
        want = target.get(number)
        votes = Counter(rows.get(number) for rows in captures)
        right = votes.pop(want, 0)
        other = max(votes.values(), default=0)
        latest = captures[-1].get(number)
        came = latest != want and (want is None or votes[latest] >= 2)
        if right >= quorum and right > other and not came:
            continue
        if other >= quorum and other > right:
            (wrong if number in target else stray).append(number)
        else:
            unsettled.append(number)
    return Verdict(tuple(wrong), tuple(stray), tuple(unsettled))
