"""Drawings of numbers: in characters, readable at 40 columns without colour, and as SVG."""

from __future__ import annotations

import itertools
import math
import re
from xml.etree import ElementTree

import pytest

from hostlink.publish.numbers import Columns, Numbers
from hostlink.publish.plot import SIGNS, Scale, plot_rows
from hostlink.publish.plot_svg import plot_svg

SVG = "{http://www.w3.org/2000/svg}"


def columns(*rows: str) -> Columns:
    shown = Numbers(rows).shown
    assert shown is not None
    return shown


def test_two_series_at_40_columns() -> None:
    """The whole drawing: axes, ticks at round numbers, a sign for each series, what is across."""
    rows = ["TIME TEMP LIGHT"]
    rows += [f"{at} {25 + 20 * math.sin(at / 9):.1f} {at * 0.7:.1f}" for at in range(60)]
    drawn = plot_rows([columns(*rows)], 40, 14)
    assert drawn == [
        "   │      ******",
        "40 ┤    **     **                    ooo",
        "   │   **        **              oooo",
        "30 ┤ **            *         oooo      *",
        "   │**              **   oooo         *",
        "   │                 ooooo           *",
        "20 ┤              oooo**           **",
        "   │          oooo      **        **",
        "10 ┤      oooo           ***    **",
        "   │  oooo                 *****",
        " 0 ┤ooo",
        "   └┬─────┬─────┬─────┬─────┬─────┬─────",
        "    0    10    20    30    40    50",
        "* TEMP   o LIGHT   across: TIME",
    ]


@pytest.mark.parametrize(("width", "height"), [(40, 12), (79, 20), (20, 6), (1, 1), (200, 60)])
@pytest.mark.parametrize(
    "rows",
    [
        ["5"], ["5", "5", "5"], ["0"], ["-3", "-2.5"], ["1E-300", "2E-300"], ["1E300", "-1E300"],
        ["100000000", "100000001"], ["0.1", "0.2"], ["1 2 3 4 5 6 7 8 9", "9 8 7 6 5 4 3 2 1"],
        [f"{'NAME' * 20}=5", f"{'NAME' * 20}=6"], ["1E300", "1E300"], ["1E-320", "0"],
        ["1E-323", "2E-323"],
    ],
)  # fmt: skip
def test_whatever_is_printed_is_drawn_within_its_bounds(
    width: int, height: int, rows: list[str]
) -> None:
    """One value, equal ones, very large and very small ones, many columns, long names."""
    drawn = plot_rows([columns(*rows)], width, height)
    assert max(map(len, drawn)) <= max(width, 20)
    assert any(set(SIGNS) & set(row.partition("┤")[2] + row.partition("│")[2]) for row in drawn)
    ElementTree.fromstring(plot_svg([columns(*rows)], "T"))


def test_a_peak_between_many_rows_is_drawn() -> None:
    """One value in 100,000 stands out."""
    drawn = plot_rows([columns(*("9" if at == 70_000 else "1" for at in range(100_000)))], 79, 20)
    assert drawn[0].index("*") in range(52, 60)


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0, 41, ["0", "10", "20", "30", "40"]),
        (-1, 1, ["-1.0", "-0.5", "0.0", "0.5", "1.0"]),
        (0.1, 0.2, ["0.10", "0.12", "0.14", "0.16", "0.18", "0.20"]),
        (12345678, 12345680, ["12345678", "12345678.5", "12345679", "12345679.5", "12345680"]),
        (1e-9, 3e-9, ["1e-09", "1.5e-09", "2e-09", "2.5e-09", "3e-09"]),
    ],
)  # fmt: skip
def test_ticks_stand_at_round_numbers(low: float, high: float, ticks: list[str]) -> None:
    """Multiples of 1, 2 or 5 times a power of ten, each with the digits that tell it apart."""
    assert [text for _, text in Scale.of(low, high, 4).ticks()] == ticks


@pytest.mark.parametrize(("width", "height"), [(79, 20), (40, 12), (40, 6), (30, 9)])
@pytest.mark.parametrize("last", [7, 49.9, 123.4, 99_999, 1_234_567, 3e9])
def test_no_tick_is_left_out(width: int, height: int, last: float) -> None:
    """Both axes have a number at every multiple of one step."""
    rows = [f"{at * last / 50} {at * last / 50}" for at in range(1, 51)]
    drawn = plot_rows([columns(*rows)], width, height)
    bottom = next(at for at, row in enumerate(drawn) if "└" in row)
    down = [float(row.split()[0]) for row in reversed(drawn[:bottom]) if "┤" in row]
    for ticks in (down, [float(number) for number in drawn[bottom + 1].split()]):
        steps = [after - before for before, after in itertools.pairwise(ticks)]
        assert ticks and steps == pytest.approx(steps[:1] * len(steps))
    assert drawn[bottom].count("┬") == len(ticks)


def test_rows_are_counted_in_whole_numbers() -> None:
    """There is no row 1.5; an axis of numbers that were printed has such ticks."""
    for rows, ticks in (
        (["5"], ["1"]),
        (["7", "8"], ["1", "2"]),
        (["1 7", "2 8"], ["1.0", "1.2", "1.4", "1.6", "1.8", "2.0"]),
    ):
        assert plot_rows([columns(*rows)], 60, 20)[-2].split() == ticks


def test_an_svg_picture_is_well_formed_and_holds_every_value() -> None:
    """By the XML library; places by the scale; each line with dashes of its own (SVG 1.1, section
    9.6 polyline, section 11.4 stroke-dasharray). Names would be markup, or hold control characters,
    which XML 1.0 does not have (section 2.2)."""
    picture = ElementTree.fromstring(
        plot_svg([columns("<b>&   \x07LOW", "0 100", "10 300", "5 200")], 'T"<&\x1b')
    )
    assert picture.tag == f"{SVG}svg" and picture.find(f"{SVG}title").text == 'T"<&\\x1b'  # type: ignore[union-attr]
    texts = [text.text for text in picture.iter(f"{SVG}text")]
    assert {"<b>&", "\\x07LOW", "row", "0", "300"} <= set(texts)
    lines = [
        [tuple(map(float, point.split(","))) for point in line.get("points", "").split()]
        for line in picture.iter(f"{SVG}polyline")
    ]
    assert [len(line) for line in lines] == [3, 3, 2, 2]  # then the samples of the legend
    (x0, y0), (x1, y1), (x2, _) = lines[1]
    assert (x0, x1, x2) == (80.0, 390.0, 700.0)
    ticks = {text.text: float(text.get("y", "")) - 4 for text in picture.iter(f"{SVG}text")}
    assert y1 == pytest.approx(ticks["300"], abs=0.01) and y0 == pytest.approx(
        ticks["100"], abs=0.01
    )
    dashes = [line.get("stroke-dasharray") for line in picture.iter(f"{SVG}polyline")]
    assert dashes[0] == dashes[2] != dashes[1] == dashes[3]
    assert not re.search(r"script|href", ElementTree.tostring(picture, encoding="unicode"))
