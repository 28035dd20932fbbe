"""Compute the colours of the app's themes: `colours.py [--write | --check]`.

Each colour is stated by its hue, its chroma and the contrast that it has to keep on its grounds;
its lightness follows. Text has a contrast of at least 7:1, all else that is drawn 4.5:1 (WCAG 2.2,
"contrast ratio" and "relative luminance"; success criteria 1.4.6 and 1.4.11 ask no more). Hue,
chroma and lightness are those of OKLCH, converted to sRGB by the matrices of Björn Ottosson, "A
perceptual color space for image processing" (2020), which CSS Color Module Level 4 took over.
For terminals with 256 colours the nearest of those is taken that keeps the same contrast.

The result goes to standard output, with --write into hostlink/app/themes.py; --check tells with
status 1 if it is not there. Run it with the project's Python:
`scripts/start.py --python scripts/colours.py`.
"""

from __future__ import annotations

import argparse
import functools
import math
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.color import Color, ColorSystem

FILE = Path(__file__).resolve().parent.parent / "hostlink" / "app" / "themes.py"
BEGIN, END = "# Made by scripts/colours.py --write.\n", "# End of what is made.\n"

TEXT, REST = 7.0, 4.5  # contrast
STRONG = 12.0  # contrast of plain text, well above TEXT so that colours stand back behind it
NEUTRAL = (100, 0.007)  # hue and chroma of grounds and plain text
# Six hues, 60 degrees apart.
RED, YELLOW, GREEN, CYAN, BLUE, PINK = range(30, 390, 60)
CHROMA = 0.125

COLOURS: dict[str, tuple[float, float, float]] = {
    # role: hue, chroma, contrast
    "foreground": (*NEUTRAL, STRONG),
    "remark": (*NEUTRAL, TEXT),
    "keyword": (BLUE, CHROMA, TEXT),
    "quoted": (GREEN, CHROMA, TEXT),
    "number": (CYAN, CHROMA, TEXT),
    "jump": (PINK, CHROMA, TEXT),
    "error": (RED, CHROMA, TEXT),
    "accent": (YELLOW, CHROMA, TEXT),
    "rule": (*NEUTRAL, REST),
}
Ground = tuple[float, float]
GROUNDS: dict[str, dict[str, Ground]] = {
    # theme: lightness and chroma of each ground, all of the hue of yellow
    "light": {
        "background": (0.985, 0.006),
        "surface": (0.97, 0.008),
        "boost": (0.955, 0.016),
        "panel": (0.92, 0.014),
    },
    "dark": {
        "background": (0.19, 0.006),
        "surface": (0.22, 0.007),
        "boost": (0.25, 0.012),
        "panel": (0.29, 0.012),
    },
    # On any other white than the whitest, few of the 256 keep 7:1 and a hue.
    "light-256": {
        "background": (1.0, 0.0),
        "surface": (1.0, 0.0),
        "boost": (0.985, 0.055),
        "panel": (0.92, 0.0),
    },
    "dark-256": {
        "background": (0.17, 0.0),
        "surface": (0.22, 0.0),
        "boost": (0.26, 0.0),
        "panel": (0.30, 0.0),
    },
}
_STEPS = 2000  # of lightness from 0 to 1

Rgb = tuple[int, int, int]


def from_oklch(lightness: float, chroma: float, hue: float) -> Rgb:
    """Convert a colour of OKLCH to sRGB, with its chroma reduced until that can show it.

    lightness: 0 to 1. hue: in degrees.
    """
    while True:
        linear = _linear(lightness, chroma, hue)
        if chroma <= 0 or all(-1e-4 <= one <= 1 + 1e-4 for one in linear):
            return (_encoded(linear[0]), _encoded(linear[1]), _encoded(linear[2]))
        chroma -= 0.001


def _linear(lightness: float, chroma: float, hue: float) -> tuple[float, float, float]:
    a, b = chroma * math.cos(math.radians(hue)), chroma * math.sin(math.radians(hue))
    long = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    medium = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    short = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    return (
        4.0767416621 * long - 3.3077115913 * medium + 0.2309699292 * short,
        -1.2684380046 * long + 2.6097574011 * medium - 0.3413193965 * short,
        -0.0041960863 * long - 0.7034186147 * medium + 1.7076147010 * short,
    )


def _encoded(linear: float) -> int:
    part = min(1.0, max(0.0, linear))
    return round(255 * (12.92 * part if part <= 0.0031308 else 1.055 * part ** (1 / 2.4) - 0.055))


def _decoded(value: int) -> float:
    part = value / 255
    return part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4


def contrast(one: Rgb, other: Rgb) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2.2)."""

    def luminance(rgb: Rgb) -> float:
        red, green, blue = map(_decoded, rgb)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def distance(one: Rgb, other: Rgb) -> float:
    """Return how far apart two colours are in Oklab, with lightness counted half.

    A hue should stay a hue where few colours are light or dark enough.
    """

    def lab(rgb: Rgb) -> tuple[float, ...]:
        red, green, blue = map(_decoded, rgb)
        long = math.cbrt(0.4122214708 * red + 0.5363325363 * green + 0.0514459929 * blue)
        medium = math.cbrt(0.2119034982 * red + 0.6806995451 * green + 0.1073969566 * blue)
        short = math.cbrt(0.0883024619 * red + 0.2817188376 * green + 0.6299787005 * blue)
        return (
            (0.2104542553 * long + 0.7936177850 * medium - 0.0040720468 * short) / 2,
            1.9779984951 * long - 2.4285922050 * medium + 0.4505937099 * short,
            0.0259040371 * long + 0.7827717662 * medium - 0.8086757660 * short,
        )

    return math.dist(lab(one), lab(other))


@dataclass(frozen=True, slots=True)
class Shade:
    """A colour as it is written in a theme, and as a terminal shows it."""

    written: Rgb
    shown: Rgb

    @property
    def hex(self) -> str:
        """Return it as #rrggbb."""
        return "#" + "".join(f"{one:02x}" for one in self.written)


Nearest = Callable[[Rgb, Callable[[Rgb], bool]], Shade]
"""Choose the shade that looks most like a colour among those whose shown colour is allowed."""


def exact(wanted: Rgb, _: Callable[[Rgb], bool]) -> Shade:
    """Choose the very colour, as a terminal with 24 bits a colour can."""
    return Shade(wanted, wanted)


def of_256() -> Nearest:
    """Return the choice among the colours of a terminal with 256 that rich can name.

    Rich, which writes for the terminal, has its own rule for the greys, so that a grey is written
    as a colour that this rule takes to it.
    """
    greys = ((value, value, value) for value in range(256))
    parts = (0, 95, 135, 175, 215, 255)  # levels of the 6 x 6 x 6 cube
    cube = ((red, green, blue) for red in parts for green in parts for blue in parts)
    shades: dict[Rgb, Shade] = {}
    for written in (*cube, *greys):
        downgraded = Color.from_rgb(*written).downgrade(ColorSystem.EIGHT_BIT)
        red, green, blue = downgraded.get_truecolor()
        shown = (red, green, blue)
        shades.setdefault(shown, Shade(written, shown))

    def nearest(wanted: Rgb, is_allowed: Callable[[Rgb], bool]) -> Shade:
        allowed = (one for one in shades.values() if is_allowed(one.shown))
        return min(allowed, key=lambda one: (distance(one.shown, wanted), one.written))

    return nearest


def of_contrast(hue: float, chroma: float, least: float, grounds: Iterable[Rgb]) -> Rgb:
    """Return the colour nearest to the grounds in lightness that keeps a contrast on all of them.

    Its chroma is the one asked for, or the greatest that sRGB can show.
    """
    shown = tuple(grounds)
    is_dark = sum(map(_decoded, shown[0])) < 1.5
    steps = range(_STEPS + 1) if is_dark else range(_STEPS, -1, -1)
    for step in steps:
        colour = from_oklch(step / _STEPS, chroma, hue)
        found = min(contrast(colour, ground) for ground in shown)
        if found >= least and (contrast(colour, shown[0]) > 1):
            return colour
    raise ValueError(f"no colour of hue {hue} has a contrast of {least}")


def theme_colours(stated: dict[str, Ground], nearest: Nearest) -> dict[str, Shade]:
    """Return all colours of a theme by role. stated: its grounds, by their names."""
    made = {
        name: nearest(from_oklch(lightness, chroma, YELLOW), lambda _: True)
        for name, (lightness, chroma) in stated.items()
    }
    shown = {name: shade.shown for name, shade in made.items()}
    for role, (hue, chroma, least) in COLOURS.items():
        # Only plain text stands on panels too.
        grounds = [one for name, one in shown.items() if role == "foreground" or name != "panel"]
        wanted = of_contrast(hue, chroma, least, grounds)
        made[role] = nearest(wanted, _keeps(least, grounds))
    made["selection"] = _selection(stated["panel"][0], made["foreground"].shown, nearest)
    return made


def _selection(start: float, text: Rgb, nearest: Nearest) -> Shade:
    """Return the shade as far from the panels, whose lightness is `start`, as its text allows."""
    away = -1 if start > 0.5 else 1
    shades = (
        from_oklch(start + away * step / _STEPS, CHROMA / 2, YELLOW) for step in range(_STEPS)
    )
    wanted = next(shade for shade in shades if contrast(shade, text) < TEXT + 0.1)
    return nearest(wanted, _keeps(TEXT, [text]))


def _keeps(least: float, others: Sequence[Rgb]) -> Callable[[Rgb], bool]:
    return lambda colour: all(contrast(colour, other) >= least for other in others)


@functools.cache
def computed() -> dict[str, dict[str, Shade]]:
    """Return the colours of each theme, by the theme's name and the role."""
    few = of_256()
    return {
        name: theme_colours(stated, few if name.endswith("-256") else exact)
        for name, stated in GROUNDS.items()
    }


def written() -> str:
    """Return the table for themes.py."""
    rows = ["COLOURS = {"]
    for name, roles in computed().items():
        rows.append(f'    "{name}": {{')
        rows += [f'        "{role}": "{shade.hex}",' for role, shade in roles.items()]
        rows.append("    },")
    return "\n".join([*rows, "}", ""])


def main(args: Sequence[str]) -> int:
    """Print, write or check the table."""
    parser = argparse.ArgumentParser(description="Compute the colours of the app's themes.")
    chosen = parser.add_mutually_exclusive_group()
    chosen.add_argument("--write", action="store_true", help="put them into themes.py")
    chosen.add_argument("--check", action="store_true", help="status 1 if they are not there")
    wanted = parser.parse_args(args)
    table = written()
    if not wanted.write and not wanted.check:
        print(table, end="")
        return 0
    text = FILE.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN)
    held, after = rest.split(END)
    if wanted.write:
        FILE.write_text(before + BEGIN + table + END + after, encoding="utf-8")
    elif held != table:
        print(f"{FILE.name} has other colours: run scripts/colours.py --write", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
