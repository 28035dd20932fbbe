"""Draw columns of numbers with the characters of a terminal; each series has its own mark."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator, Sequence, Sized
from dataclasses import dataclass

from hostlink.publish.numbers import Columns

SIGNS = "*o+x#@%&"
_NARROWEST, _LOWEST = 20, 6  # characters of a whole drawing
_ROWS_PER_TICK, _CHARS_PER_TICK, _FEWEST_TICKS = 4, 12, 3


@dataclass(frozen=True)
class Scale:
    """One axis from `low` to `high`, with a tick at each multiple of `step` between them."""

    low: float
    high: float
    step: float

    @classmethod
    def of(cls, low: float, high: float, ticks: int, least: float = 0.0) -> Scale:
        """Return a scale from `low` to `high` with about `ticks` ticks at round numbers.

        least: the smallest step between them.
        """
        if high - low <= max(abs(low), abs(high)) * 1e-12:
            margin = abs(low) / 2 or 1.0
            low, high = low - margin, high + margin
        rough = max((high - low) / max(1, ticks), sys.float_info.min)
        power = 10.0 ** math.floor(math.log10(rough))
        step = max(power * each for each in (1, 2, 5, 10) if power * each <= rough * 1.001)
        return cls(low, high, max(step, least))

    def place(self, value: float) -> float:
        """Return where a value lies, from 0 at the low end to 1 at the high one."""
        return (value - self.low) / (self.high - self.low)

    def ticks(self) -> Iterator[tuple[float, str]]:
        """Yield the place of each tick and its number."""
        first, last = self.low / self.step, self.high / self.step
        for at in range(math.ceil(first - 1e-6), math.floor(last + 1e-6) + 1):
            yield min(1.0, max(0.0, self.place(at * self.step))), self._text(at * self.step)

    def _text(self, value: float) -> str:
        ends = max(abs(self.low), abs(self.high))
        most, small = (math.floor(math.log10(each) + 1e-9) for each in (ends, self.step))
        if small >= -3 and most < 7:
            return f"{value:.{max(0, -small)}f}"
        return f"{value:.{min(15, 1 + max(0, most - small))}g}"


def x_scale(lanes: Sequence[Columns], wide: int) -> Scale:
    """Return the x axis that drawings one above another share. wide: characters along it."""
    ends = min(lane.x[0] for lane in lanes), max(lane.x[-1] for lane in lanes)
    least = 0.0 if lanes[0].has_x else 1.0  # there is no row 1.5
    ticks = wide // _CHARS_PER_TICK
    return _with_room(ends, ticks, lambda x: _x_axis(x, 0, wide)[1].split(), least)


def y_scale(lane: Columns, tall: int) -> Scale:
    """Return the y axis of a drawing. tall: rows along it."""
    series = lane.series()
    ends = min(min(lows) for _, lows, _ in series), max(max(highs) for _, _, highs in series)
    return _with_room(ends, tall // _ROWS_PER_TICK, lambda y: _tick_rows(y, tall))


def _with_room(
    ends: tuple[float, float], ticks: int, shown: Callable[[Scale], Sized], least: float = 0.0
) -> Scale:
    """Return a scale with about `ticks` ticks, or with fewer that can all be shown."""
    for fewer in range(max(_FEWEST_TICKS, ticks), 0, -1):
        scale = Scale.of(*ends, fewer, least)
        if len(shown(scale)) == len(list(scale.ticks())):
            break
    return scale


def _tick_rows(y: Scale, tall: int) -> dict[int, str]:
    """Return the number of the tick in each row that has one, by the row from below."""
    return {round(place * (tall - 1)): text for place, text in y.ticks()}


def plot_rows(lanes: Sequence[Columns], width: int, height: int) -> list[str]:
    """Return a drawing as rows of text: axes with ticks, a mark for each series, their names.

    lanes: one, or several above each other over one x axis, each under its name.
    width, height: of the whole in characters; the height of several is fixed.
    """
    width, height = max(width, _NARROWEST), max(height, _LOWEST)
    is_single = len(lanes) == 1 and not lanes[0].switched
    legend = _legend(lanes[0], width, names=is_single)
    talls = [2 if lane.switched else _ROWS_PER_TICK for lane in lanes]
    if is_single:
        talls = [max(2, height - 2 - len(legend))]
    scales = [y_scale(lane, tall) for lane, tall in zip(lanes, talls, strict=True)]
    margin = max(len(text) for y in scales for _, text in y.ticks())
    wide = max(4, width - margin - 2)
    x = x_scale(lanes, wide)
    rows = []
    for lane, tall, y in zip(lanes, talls, scales, strict=True):
        rows += [] if is_single else [lane.names[-1]]
        rows += _field(lane, x, y, margin, wide, tall)
    return [*rows, *_x_axis(x, margin, wide), *legend]


def _field(lane: Columns, x: Scale, y: Scale, margin: int, wide: int, tall: int) -> list[str]:
    """Return the rows of one drawing with its y axis."""
    names = _tick_rows(y, tall)
    field = [[" "] * wide for _ in range(tall)]
    for sign, (_, lows, highs) in zip(_signs(), lane.series(), strict=False):
        spans = zip(lane.x, lows, highs, strict=True)
        _draw(field, sign, [(x.place(at), y.place(low), y.place(high)) for at, low, high in spans])
    rows = []
    for at in reversed(range(tall)):
        edge = "┤" if at in names else "│"
        rows.append(f"{names.get(at, ''):>{margin}} {edge}{''.join(field[at])}".rstrip())
    return rows


def _signs() -> Iterator[str]:
    while True:
        yield from SIGNS


def _draw(field: list[list[str]], sign: str, spans: list[tuple[float, float, float]]) -> None:
    """Put a mark, `sign`, wherever a series passes, also between two spans that lie apart.

    spans: x, lowest and highest y of each, from 0 to 1.
    """
    before: tuple[int, float] | None = None
    tall, wide = len(field) - 1, len(field[0]) - 1
    for x, low, high in spans:
        place, bottom, top = round(x * wide), low * tall, high * tall
        for at in range(round(bottom), round(top) + 1):
            field[at][place] = sign
        middle = (bottom + top) / 2
        if before is not None:
            for between in range(before[0] + 1, place):
                share = (between - before[0]) / (place - before[0])
                field[round(before[1] + share * (middle - before[1]))][between] = sign
        before = place, middle


def _x_axis(x: Scale, margin: int, wide: int) -> list[str]:
    line, numbers = ["─"] * wide, ""
    for place, text in x.ticks():
        at = round(place * (wide - 1))
        begin = min(max(0, at - len(text) // 2), wide - len(text))
        if begin > len(numbers) or not numbers:
            line[at] = "┬"
            numbers = f"{numbers:<{begin}}{text}"
    gap = " " * (margin + 1)
    return [f"{gap}└{''.join(line)}", f"{gap} {numbers}"]


def _legend(lane: Columns, width: int, *, names: bool) -> list[str]:
    """Return the legend as rows of at most `width` characters: the name of the x axis.

    With `names`, the mark and name of each series come first.
    """
    rows, signed = [""], list[str]()
    if names:
        series = lane.series()
        signed = [f"{sign} {name}" for sign, (name, _, _) in zip(_signs(), series, strict=False)]
        more = len(lane.names) - lane.has_x - len(series)
        signed += [f"{more} more not drawn"] if more else []
    for entry in (*signed, f"across: {lane.x_name}"):
        entry = entry[:width]
        joined = f"{rows[-1]}   {entry}" if rows[-1] else entry
        if len(joined) <= width:
            rows[-1] = joined
        else:
            rows.append(entry)
    return rows
