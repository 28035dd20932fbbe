"""The chart of a program's sizes, the same in the app and on the command line."""

from __future__ import annotations

from hostlink.ruler import size_chart


def sized(*sizes: int | None) -> list[tuple[int, int | None]]:
    return list(enumerate(sizes, 1))


def test_all_sizes_are_drawn_to_one_scale() -> None:
    """Twice the bytes are twice the bar, up to the one cell of rounding."""
    chart = size_chart(sized(200, 400, None), 1000, 100).split("\n")
    assert abs(chart[1].count("━") - 2 * chart[0].count("━")) <= 1
    assert chart[0].count("┃") == chart[1].count("┃") == 1
    assert "not known" in chart[2]
    assert "1,000 bytes" in chart[3]


def test_the_limit_is_one_straight_line_and_no_row_is_wider() -> None:
    """What is over is told too, for one byte is less than a cell."""
    rows = size_chart(sized(280, 928, 999, 1000, 1576), 999, 44).split("\n")[:-1]
    assert len({row.index("┃") for row in rows}) == 1
    assert max(map(len, rows)) <= 44
    assert [row.partition(" over")[1] for row in rows] == ["", "", "", " over", " over"]
    assert rows[3].endswith("1,000, 1 over")
