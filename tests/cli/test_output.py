"""Tables: as wide as their cells, except on a terminal that is narrower."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable

import pytest

from hostlink.cli.output import table

Show = Callable[[int], list[str]]

HEADS = ("found", "bytes", "line")
ROWS = [
    ("TIDE@2", 412, '120 PRINT "HIGH  WATER AT THE HARBOUR WALL TONIGHT"'),
    ("LAMP@1", 88, "10 REM LAMP"),
]


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Show:
    """The table as it is printed on a terminal of so many columns; 0 is a pipe."""

    def show(columns: int) -> list[str]:
        size = os.terminal_size((columns or 80, 24))
        monkeypatch.setattr(sys.stdout, "isatty", lambda: columns > 0, raising=False)
        monkeypatch.setattr(shutil, "get_terminal_size", lambda *_, **__: size)
        table(HEADS, ROWS, right=("bytes",))
        return capsys.readouterr().out.splitlines()

    return show


def test_a_narrow_terminal_breaks_the_widest_column_between_words(shown: Show) -> None:
    """Every word is there, in its column; nothing is wider than the terminal."""
    assert shown(44) == [
        "found   bytes  line",
        'TIDE@2    412  120 PRINT "HIGH  WATER AT THE',
        '               HARBOUR WALL TONIGHT"',
        "LAMP@1     88  10 REM LAMP",
    ]


@pytest.mark.parametrize("columns", [0, 200])
def test_a_pipe_and_a_wide_terminal_get_one_line_for_each_row(shown: Show, columns: int) -> None:
    """What a program reads is never broken."""
    assert [len(row.split()) for row in shown(columns)] == [3, 11, 5]


def test_a_column_is_never_broken_into_nothing(shown: Show) -> None:
    """A terminal too narrow for all of it shows 16 characters of the widest column at a time."""
    rows = shown(10)
    assert 15 < max(map(len, rows)) <= 15 + 16
    assert " ".join(rows).split()[3:] == [word for row in ROWS for each in row
                                          for word in str(each).split()]  # fmt: skip
