"""A moving picture of a terminal as one SVG file: frames of text, each shown for its time.

It moves by CSS alone, as a README may show it. A row that stays the same through several frames is
in the file once. Who asked for less motion sees the last frame, and so does a viewer without CSS
animations.
"""

from __future__ import annotations

import io
import re
from collections import defaultdict
from collections.abc import Sequence
from xml.sax.saxutils import escape

from rich.console import Console, ConsoleRenderable

_CELL, _LINE, _EDGE = 12.2, 24.4, 12  # of rich's drawings, in units of the SVG
_STYLES = re.compile(r"\.picture-(r\d+) (\{[^}]*\})")
_TEXT = re.compile(
    r'<text class="picture-(r\d+)" x="([\d.]+)" y="[\d.]+" textLength="([\d.]+)" '
    r'clip-path="url\(#picture-line-(\d+)\)">([^<]*)</text>'
)
_PLACE = re.compile(
    r'<rect fill="([^"]+)" x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="[\d.]+"'
)


def moving_picture(
    frames: Sequence[ConsoleRenderable], times: Sequence[float], size: tuple[int, int], title: str
) -> str:
    """Return an SVG file that shows frames one after the other, for ever.

    times: how long each is shown, in seconds. size: columns and rows of each. title: what the
    picture shows, for who cannot see it.
    """
    ground, styles, rows = _drawn(frames, size)
    spans: dict[tuple[int, int], list[str]] = defaultdict(list)
    for at in range(size[1]):
        first = 0
        for frame in range(1, len(frames) + 1):
            if frame == len(frames) or rows[frame, at] != rows[first, at]:
                spans[first, frame - 1].append(rows[first, at])
                first = frame
    width, height = size[0] * _CELL + 2 * _EDGE, size[1] * _LINE + 2 * _EDGE
    moves = [_move(first, last, times) for first, last in sorted(spans)]
    shown = [
        f'<g class="from{first}to{last}">\n{"".join(spans[first, last])}</g>\n'
        for first, last in sorted(spans)
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img">\n'
        f"<title>{escape(title)}</title>\n<style>\n"
        f"text {{ font: 20px monospace; white-space: pre }}\n{styles}{''.join(moves)}"
        "@media (prefers-reduced-motion: reduce) { g { animation: none !important } }\n</style>\n"
        f'<rect width="{width:g}" height="{height:g}" rx="8" fill="{ground}"/>\n'
        f'<g transform="translate({_EDGE} {_EDGE})">\n{"".join(shown)}</g>\n</svg>\n'
    )


def _drawn(
    frames: Sequence[ConsoleRenderable], size: tuple[int, int]
) -> tuple[str, str, dict[tuple[int, int], str]]:
    """Return the ground's colour, the styles of all frames, and each row of each of them, as SVG.

    The ground is the colour of the first cell.
    """
    console = Console(
        width=size[0],
        file=io.StringIO(),
        force_terminal=True,
        color_system="truecolor",
        record=True,
        legacy_windows=False,
        safe_box=False,
        _environ={},
    )
    for frame in frames:
        console.print(frame, end="")
        console.line()
    drawn = console.export_svg(unique_id="picture")
    rows: dict[tuple[int, int], str] = defaultdict(str)
    places = _PLACE.findall(drawn)
    ground: str = places[0][0]
    for fill, x, y, width in places:
        if fill == ground:
            continue
        frame, row = divmod(round((float(y) - 1.5) / _LINE), size[1])
        rows[frame, row] += (
            f'<rect fill="{fill}" x="{x}" y="{row * _LINE:.1f}" width="{width}" height="24.9" '
            'shape-rendering="crispEdges"/>\n'
        )
    for style, x, length, line, text in _TEXT.findall(drawn):
        frame, row = divmod(int(line), size[1])
        if text.replace("&#160;", "").strip():
            rows[frame, row] += (
                f'<text class="{style}" x="{x}" y="{row * _LINE + 18.5:.1f}" '
                f'textLength="{length}">{text}</text>\n'
            )
    styles = "".join(f".{name} {style}\n" for name, style in _STYLES.findall(drawn))
    return ground, styles, rows


def _move(first: int, last: int, times: Sequence[float]) -> str:
    """Return the CSS for rows that stay the same from one frame to another, counted from 0."""
    name, end = f"from{first}to{last}", len(times) - 1
    if (first, last) == (0, end):
        return ""
    whole = sum(times)
    begins, stops = 100 * sum(times[:first]) / whole, 100 * sum(times[: last + 1]) / whole
    steps = "" if first == 0 else "0% { visibility: hidden } "
    steps += f"{begins:.2f}% {{ visibility: visible }} "
    steps += "" if last == end else f"{stops:.2f}% {{ visibility: hidden }} "
    still = "visible" if last == end else "hidden"
    return (
        f".{name} {{ visibility: {still}; animation: {name} {whole:g}s step-end infinite }}\n"
        f"@keyframes {name} {{ {steps}}}\n"
    )
