"""Draw columns of numbers as an SVG picture; each series has a pattern of dashes of its own."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

from hostlink.publish.numbers import Columns
from hostlink.publish.plot import Scale, x_scale, y_scale
from hostlink.words import safe

_WIDE, _TALL, _LANE, _GAP = 720, 310, 60, 34  # a single drawing is tall, one of several a lane
_LEFT, _RIGHT, _TOP, _BOTTOM = 80, 20, 40, 50  # margins
_CHARS, _TICK_ROW = 80, 13  # characters that fit along the x axis, and how tall a number is
_ACROSS, _ROW = 2, 20  # names of series: how many side by side, and the height of a row
_DASHES = ("none", "8 4", "2 3", "10 3 2 3", "14 4", "1 6", "6 2", "4 8")
_COLOURS = ("#1b4f9c", "#a33c00", "#2e6b34", "#7a2a82", "#000000", "#8a6d00", "#00707a", "#a0003c")
_ROOT = {"xmlns": "http://www.w3.org/2000/svg", "font-family": "sans-serif", "font-size": "13"}


def plot_svg(lanes: Sequence[Columns], title: str) -> str:
    """Return a drawing as a document of its own (Scalable Vector Graphics 1.1).

    lanes: as for `plot_rows`.
    """
    is_single = len(lanes) == 1
    tall = _TALL if is_single else _LANE
    named = lanes[0].series() if is_single else []
    rows = (len(named) + 1) // _ACROSS
    picture = _Picture(title, len(lanes) * (tall + _GAP) - _GAP + rows * _ROW)
    x = x_scale(lanes, _CHARS)
    for number, lane in enumerate(lanes):
        y = y_scale(lane, 2 if lane.switched else tall // _TICK_ROW)
        base = _TOP + number * (tall + _GAP) + tall
        picture.y_axis(y, base, tall)
        _draw(picture, lane, x, y, base, tall)
        if not is_single:
            picture.text(_LEFT, base - tall - 6, lane.names[-1], "start")
    picture.x_axis(x, base, lanes[0].x_name)
    for at, (name, _, _) in enumerate(named):
        begin, down = _across(at % _ACROSS / _ACROSS), base + 56 + at // _ACROSS * _ROW
        picture.path([(begin, down), (begin + 30, down)], _look(at))
        picture.text(begin + 36, down + 4, name, "start")
    return picture.document()


def _look(at: int) -> dict[str, str]:
    return {"stroke": _COLOURS[at], "stroke-dasharray": _DASHES[at], "fill": "none",
            "stroke-width": "1.8"}  # fmt: skip


def _draw(picture: _Picture, lane: Columns, x: Scale, y: Scale, base: float, tall: float) -> None:
    along = [_across(x.place(each)) for each in lane.x]
    for at, (_, lows, highs) in enumerate(lane.series()):
        spans = zip(along, lows, highs, strict=True)
        points = [(here, base - tall * y.place(each)) for here, *both in spans for each in both]
        picture.path(points, _look(at))


def _across(place: float) -> float:
    return _LEFT + place * (_WIDE - _LEFT - _RIGHT)


class _Picture:
    """An SVG picture while it is drawn; coordinates are in its own units."""

    def __init__(self, title: str, tall: float) -> None:
        """Begin a picture. tall: the height of what is drawn between its margins."""
        whole = tall + _TOP + _BOTTOM
        self._root = ElementTree.Element("svg", {**_ROOT, "viewBox": f"0 0 {_WIDE} {whole}"})
        ElementTree.SubElement(self._root, "title").text = safe(title)
        self._part("rect", width=_WIDE, height=whole, fill="white")
        self.text(_WIDE / 2, 20, title, "middle")

    def y_axis(self, y: Scale, base: float, tall: float) -> None:
        """Draw a y axis that begins at `base`, and a line across at each tick."""
        for place, text in y.ticks():
            down = base - tall * place
            self._line(_across(0), down, _across(1), down, "#cccccc")
            self.text(_across(0) - 8, down + 4, text, "end")
        self._line(_across(0), base, _across(0), base - tall, "black")

    def x_axis(self, x: Scale, base: float, name: str) -> None:
        """Draw the x axis at `base` with its ticks."""
        for place, text in x.ticks():
            self._line(_across(place), base, _across(place), base + 5, "black")
            self.text(_across(place), base + 20, text, "middle")
        self._line(_across(0), base, _across(1), base, "black")
        self.text(_across(1), base + 36, name, "end")

    def path(self, points: list[tuple[float, float]], look: dict[str, str]) -> None:
        """Draw a line through points."""
        told = dict.fromkeys(f"{x:.2f},{y:.2f}" for x, y in points)  # a flat span is one point
        self._part("polyline", points=" ".join(told), **look)

    def text(self, x: float, y: float, text: str, anchor: str) -> None:
        """Write text at a place; XML has no control characters, so they become escapes."""
        self._part("text", x=f"{x:.2f}", y=f"{y:.2f}", **{"text-anchor": anchor}).text = safe(text)

    def document(self) -> str:
        """Return the whole picture."""
        ElementTree.indent(self._root)
        return ElementTree.tostring(self._root, encoding="unicode") + "\n"

    def _line(self, x1: float, y1: float, x2: float, y2: float, colour: str) -> None:
        self._part("line", x1=f"{x1:.2f}", y1=f"{y1:.2f}", x2=f"{x2:.2f}", y2=f"{y2:.2f}",
                   stroke=colour)  # fmt: skip

    def _part(self, kind: str, **values: object) -> ElementTree.Element:
        told = {name: str(value) for name, value in values.items()}
        return ElementTree.SubElement(self._root, kind, told)
