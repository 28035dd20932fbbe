"""What a program did, drawn and as CSV: its pins over time, else the numbers that it printed."""

from __future__ import annotations

import csv
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest

from hostlink.errors import RefusedError
from hostlink.jobs.drawing import Drawing, drawing_of_walk
from hostlink.jobs.files import TakenError
from hostlink.practice.kind import BoardKind
from hostlink.practice.walk import Walk
from hostlink.publish.plot import plot_rows

LINES = (
    "10 OUT 13,1\n20 WAIT 100\n30 OUT 13,0\n40 DUTY 9,100\n50 TONE 8,440,100\n60 TONE 8,660,100\n"
    "70 WAIT 100\n80 OUT 9,1\n90 WAIT 100\n"
)


def drawing(text: str) -> Drawing:
    """A program that has run to its end."""
    walk = Walk(text, BoardKind())
    assert walk.run() == "end"
    return drawing_of_walk("TRIED", walk)


def test_pins_are_drawn_one_above_another_over_one_axis() -> None:
    """Readable at 40 columns and without colour: 13 on for 100 ms of 500, then two tones and a
    pulse; a pin that is on is at its greatest width."""
    assert plot_rows(drawing(LINES).lanes, 40, 20) == [
        "pin 8, Hz",
        "600 ┤              *******",
        "400 ┤       ********     *",
        "200 ┤       *            *",
        "  0 ┤********            ***************",
        "pin 9, width",
        "    │                           ********",
        "200 ┤                           *",
        "100 ┤       *********************",
        "  0 ┤********",
        "pin 13",
        "  1 ┤********",
        "  0 ┤*      ****************************",
        "    └┬──────┬─────┬──────┬──────┬──────┬",
        "     0     100   200    300    400   500",
        "across: ms",
    ]


def test_every_level_stands_in_the_picture_and_every_change_in_the_csv(tmp_path: Path) -> None:
    """The SVG has a line for each pin, which goes straight up and down; a file is not replaced."""
    found = drawing(LINES)
    assert found.write(tmp_path / "p.svg", as_csv=False, replace=False).startswith("6 changes of")
    picture = ElementTree.parse(tmp_path / "p.svg").getroot()
    for line in picture.iter("{http://www.w3.org/2000/svg}polyline"):
        points = [point.split(",") for point in line.get("points", "").split()]
        assert len(points) > 2
        for (x0, y0), (x1, y1) in pairwise(points):
            assert x0 == x1 or y0 == y1
    found.write(tmp_path / "p.csv", as_csv=True, replace=False)
    with pytest.raises(TakenError):
        found.write(tmp_path / "p.csv", as_csv=True, replace=False)
    with (tmp_path / "p.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["pin"], row["what"], row["value"], row["for_ms"]) for row in rows] == [
        ("13", "on", "1", "0"), ("13", "on", "0", "0"), ("9", "width", "100", "0"),
        ("8", "tone", "440", "100"), ("8", "tone", "660", "100"), ("9", "on", "1", "0"),
    ]  # fmt: skip
    assert [round(float(row["ms"])) // 100 for row in rows] == [0, 1, 1, 1, 2, 4]


def test_numbers_are_drawn_where_no_pin_is_put_out() -> None:
    """Else it is told that there is nothing to draw."""
    found = drawing("10 FOR I=1 TO 3\n20 PRINT I,I*I\n30 NEXT I\n")
    assert found.csv.split() == ["column", "1,column", "2", "1,1", "2,4", "3,9"]
    with pytest.raises(RefusedError, match=r"no pin, and printed no numbers") as refused:
        drawing('10 PRINT 21;"C"\n')
    assert "21 C, not 21C" in str(refused.value.advice)


def test_a_drawing_ends_where_changes_are_no_longer_kept() -> None:
    """What a pin did then is not known, and is not drawn as if it stood still."""
    found = drawing("10 FOR I=1 TO 10001\n20 OUT 13,1:OUT 13,0\n30 NEXT I\n40 WAIT 30000\n")
    assert found.missing == "Only the first 20,000 changes of pins are kept."
    assert found.lanes[0].x[-1] == float(found.csv.splitlines()[-1].partition(",")[0])
