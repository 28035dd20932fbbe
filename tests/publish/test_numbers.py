"""Numbers found in what programs print: which rows count, how columns are named, and as CSV."""

from __future__ import annotations

import csv
import io

import pytest

from hostlink.publish.numbers import MOST_SERIES, MOST_SPANS, Numbers, fields_of
from hostlink.publish.plot import SIGNS


@pytest.mark.parametrize(
    ("row", "kind", "numbers"),
    [
        (" 5", ("", ""), ["5"]),
        (" 1       20      -3.5", ("", "", "", ""), ["1", "20", "-3.5"]),
        ("TEMP 21.5 LIGHT 300", ("TEMP", "LIGHT", ""), ["21.5", "300"]),
        ("T=4;U=.5", ("T", "U", ""), ["4", ".5"]),
        ("HIGH WATER: 4 M", ("HIGH WATER", "M"), ["4"]),
        ("HUM 40% AT $5, 21°C", ("HUM", "AT", "", "C"), ["40", "5", "21"]),
        ("1E-3,2.5E+10,-7.", ("", "", "", ""), ["1E-3", "2.5E+10", "-7."]),
    ],
)
def test_a_row_of_numbers_is_taken_apart(
    row: str, kind: tuple[str, ...], numbers: list[str]
) -> None:
    """As BASIC prints them: in zones, with words before them, with signs and exponents."""
    assert fields_of(row) == (kind, numbers)


@pytest.mark.parametrize("row", ["", "DONE", "A1", "1A", "1-2", "1E999", "9E307", "NAN INF", "٣",
                                 "5 " * 6000])  # fmt: skip
def test_what_is_no_number_is_none(row: str) -> None:
    """Words with digits, what no axis has room for, and rows longer than any table's."""
    assert fields_of(row) is None


def test_columns_have_the_names_of_a_heading() -> None:
    """The last row without numbers before, if it has a word for each column."""
    for heading, names in (
        ("TEMP LIGHT", ("TEMP", "LIGHT")),
        ("HIGH WATER   LOW WATER", ("HIGH WATER", "LOW WATER")),
        ("TEMP,LIGHT", ("TEMP", "LIGHT")),
        ("THESE ARE THE TIDES OF TODAY", ("column 1", "column 2")),
        ("> RUN", ("column 1", "column 2")),
    ):
        shown = Numbers(["HELLO", heading, "", "5 4", "3 9"]).shown
        assert shown is not None and shown.names == names, heading
    shown = Numbers(["5", "4"]).shown
    assert shown is not None and shown.names == ("printed",)
    shown = Numbers(["A B", "T=5 U=4"]).shown
    assert shown is not None and shown.names == ("T", "U")


def test_other_rows_do_not_disturb() -> None:
    """A question, a total: the kind of row with the most numbers is shown."""
    numbers = Numbers(["HOW MANY? 3", "5", "SUM 12", "4", "3", "DONE"])
    assert numbers.shown is not None and numbers.shown.lows == [[5.0, 4.0, 3.0]]
    assert Numbers(["HELLO"]).shown is None and Numbers(["HELLO"]).as_csv(["HELLO"]) == ""


def test_a_single_row_of_numbers_is_one_column() -> None:
    """As a program prints them that leaves out the line end; in CSV too."""
    rows = ["START? 27", " 27 82 41 124", "STEPS: 3 HIGHEST: 124"]
    numbers = Numbers(rows)
    assert numbers.shown is not None
    assert (numbers.shown.names, numbers.shown.lows) == (("printed",), [[27, 82, 41, 124]])
    assert numbers.as_csv(rows) == "printed\r\n27\r\n82\r\n41\r\n124\r\n"


def test_of_many_columns_the_first_are_drawn() -> None:
    """As many as there are signs; all are in the CSV."""
    rows = [" ".join(str(each) for each in range(at, at + 20)) for at in (5, 4)]
    numbers = Numbers(rows)
    assert numbers.shown is not None and len(numbers.shown.series()) == MOST_SERIES == len(SIGNS)
    assert numbers.as_csv(rows).count(",") == 3 * 19


def test_a_first_column_that_rises_is_the_x_axis() -> None:
    """Beside others; else rows are counted from 1."""
    rising = Numbers(["T A", "0 9", "10 8", "20 7"]).shown
    assert rising is not None
    assert (rising.x_name, rising.x, [name for name, _, _ in rising.series()]) == (
        "T", [0.0, 10.0, 20.0], ["A"],
    )  # fmt: skip
    for rows in (["0 9", "10 8", "10 7"], ["1", "2", "3"]):
        counted = Numbers(rows).shown
        assert counted is not None
        assert (counted.x_name, counted.x) == ("row", [1.0, 2.0, 3.0])


def test_any_number_of_rows_is_kept_in_few_spans() -> None:
    """Each with its lowest and highest value, so that no peak is lost."""
    numbers = Numbers(str(-50 if at == 7_777 else at % 10) for at in range(100_000))
    shown = numbers.shown
    assert shown is not None and shown.rows == 100_000
    assert MOST_SPANS // 2 <= len(shown.lows[0]) <= MOST_SPANS
    assert (min(shown.lows[0]), max(shown.highs[0])) == (-50, 9)
    assert shown.x[0] == 1 and 99_000 < shown.x[-1] <= 100_000
    assert sorted(shown.lows[0])[1] == 0


def test_many_kinds_of_row_take_no_more_memory() -> None:
    """Rows of ever other words: those of the first kinds are found."""
    numbers = Numbers(f"{chr(65 + at // 26 % 26)}{chr(65 + at % 26)} 1" for at in range(600))
    assert len(numbers._kinds) == 50


def test_csv_is_that_of_rfc_4180() -> None:
    """RFC 4180, section 2: lines end with CR LF (1), the header has a name for each column (3),
    every line has as many fields (4), and what holds quotes or commas is quoted, quotes doubled
    (5 to 7). Read back by Python's csv; numbers are as they were printed."""
    rows = ['HIGH "WATER"   LOW', "4.50 -1", "05 .5", "TOTAL 9", "1E3 2"]
    text = Numbers(rows).as_csv(rows)
    assert text == '"HIGH ""WATER""",LOW\r\n4.50,-1\r\n05,.5\r\n1E3,2\r\n'
    assert list(csv.reader(io.StringIO(text, newline=""), strict=True)) == [
        ['HIGH "WATER"', "LOW"], ["4.50", "-1"], ["05", ".5"], ["1E3", "2"],
    ]  # fmt: skip
