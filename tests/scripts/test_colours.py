"""The colours of the themes are what the script computes from what it states."""

from __future__ import annotations

import colorsys
from collections.abc import Callable
from types import ModuleType

import pytest

Script = Callable[[str], ModuleType]


def test_themes_hold_what_the_script_computes(
    script: Script, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nobody changes a colour by hand."""
    assert script("colours").main(["--check"]) == 0, capsys.readouterr().err


def test_a_changed_colour_is_noticed(
    script: Script, tmp_path: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """--check ends with status 1, and --write mends it."""
    colours = script("colours")
    path = tmp_path / "themes.py"  # type: ignore[operator]
    text = colours.FILE.read_text(encoding="utf-8")
    path.write_text(text.replace("#f", "#0"), encoding="utf-8")
    monkeypatch.setattr(colours, "FILE", path)
    assert colours.main(["--check"]) == 1
    assert colours.main(["--write"]) == 0
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("oklch", "rgb"),
    [
        # CSS Color Module Level 4, "Named Colors" beside oklch(): red, lime and blue in OKLCH,
        # to five digits; from memory.
        ((0.62796, 0.25768, 29.234), (255, 0, 0)),
        ((0.86644, 0.29483, 142.495), (0, 255, 0)),
        ((0.45201, 0.31321, 264.052), (0, 0, 255)),
        ((1.0, 0.0, 0.0), (255, 255, 255)),
        ((0.0, 0.0, 0.0), (0, 0, 0)),
    ],
)
def test_oklch_is_converted_as_the_standard_does(
    script: Script, oklch: tuple[float, float, float], rgb: tuple[int, int, int]
) -> None:
    """The corners of sRGB come out to within one of 255 levels."""
    found = script("colours").from_oklch(*oklch)
    assert all(abs(one - other) <= 1 for one, other in zip(found, rgb, strict=True))


def test_the_hues_are_those_stated(script: Script) -> None:
    """Red, green and blue of each theme are that, by their hue in HSV."""
    for name, roles in script("colours").computed().items():
        for role, low, high in (("error", 340, 60), ("quoted", 80, 170), ("keyword", 190, 270)):
            parts = [one / 255 for one in roles[role].shown]
            hue = 360 * colorsys.rgb_to_hsv(*parts)[0]
            inside = low <= hue <= high if low < high else hue >= low or hue <= high
            assert inside, (name, role, hue)
