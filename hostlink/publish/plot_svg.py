"""Draw columns of numbers as an SVG picture; each series has a pattern of dashes of its own."""

from __future__ import annotations

from xml.etree import ElementTree

from hostlink.publish.numbers import Columns
from hostlink.publish.plot import Scale, scales_of

_WIDE, _TALL = 720, 400
_LEFT, _RIGHT, _TOP, _BOTTOM = 80, 20, 30, 60  # margins
_DASHES = ("none", "8 4", "2 3", "10 3 2 3", "14 4", "1 6", "6 2", "4 8")
_COLOURS = ("#1b4f9c", "#a33c00", "#2e6b34", "#7a2a82", "#000000", "#8a6d00", "#00707a", "#a0003c")
_ROOT = {"xmlns": "http://www.w3.org/2000/svg", "viewBox": f"0 0 {_WIDE} {_TALL}",
         "font-family": "sans-serif", "font-size": "13"}  # fmt: skip


def plot_svg(columns: Columns, title: str) -> str:
    """Return a drawing as a document of its own (Scalable Vector Graphics 1.1)."""
    picture = _Picture(title)
    x, y = scales_of(columns, 8, 6)
    picture.axes(x, y, columns.x_name)
    along = [_across(x.place(each)) for each in columns.x]
    room = (_WIDE - _LEFT - _RIGHT) / max(1, len(columns.series()))
    for at, (name, lows, highs) in enumerate(columns.series()):
        look = {"stroke": _COLOURS[at], "stroke-dasharray": _DASHES[at], "fill": "none",
                "stroke-width": "1.8"}  # fmt: skip
        spans = zip(along, lows, highs, strict=True)
        picture.path([(here, _down(y.place(each))) for here, *both in spans for each in both], look)
        begin = _LEFT + at * room
        picture.path([(begin, _TALL - 20), (begin + 30, _TALL - 20)], look)
        picture.text(begin + 36, _TALL - 16, name, "start")
    return picture.document()


def _across(place: float) -> float:
    return _LEFT + place * (_WIDE - _LEFT - _RIGHT)


def _down(place: float) -> float:
    return _TALL - _BOTTOM - place * (_TALL - _TOP - _BOTTOM)


class _Picture:
    """An SVG picture while it is drawn; places are in its own units."""

    def __init__(self, title: str) -> None:
        self._root = ElementTree.Element("svg", _ROOT)
        ElementTree.SubElement(self._root, "title").text = title
        self._part("rect", width=_WIDE, height=_TALL, fill="white")
        self.text(_WIDE / 2, 20, title, "middle")

    def axes(self, x: Scale, y: Scale, x_name: str) -> None:
        """Draw both axes with their ticks."""
        for place, text in y.ticks():
            self._line(_across(0), _down(place), _across(1), _down(place), "#cccccc")
            self.text(_across(0) - 8, _down(place) + 4, text, "end")
        for place, text in x.ticks():
            self._line(_across(place), _down(0), _across(place), _down(0) + 5, "black")
            self.text(_across(place), _down(0) + 20, text, "middle")
        self._line(_across(0), _down(0), _across(1), _down(0), "black")
        self._line(_across(0), _down(0), _across(0), _down(1), "black")
        self.text(_across(1), _down(0) + 36, x_name, "end")

    def path(self, points: list[tuple[float, float]], look: dict[str, str]) -> None:
        """Draw a line through points."""
        told = dict.fromkeys(f"{x:.2f},{y:.2f}" for x, y in points)  # a flat span is one point
        self._part("polyline", points=" ".join(told), **look)

    def text(self, x: float, y: float, text: str, anchor: str) -> None:
        """Write text at a place."""
        self._part("text", x=f"{x:.2f}", y=f"{y:.2f}", **{"text-anchor": anchor}).text = text

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
