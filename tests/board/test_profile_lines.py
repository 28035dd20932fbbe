"""A fault in a profile is told with the very line that it stands in."""

from __future__ import annotations

from hostlink.board.profile.lines import key_lines, line_of_key

TEXT = """\
# a comment with = and [marks]

[board]
name = "red"
title = \"\"\"over
two = rows\"\"\"

talk.baud = 9600
talk.prompt = "= [x]"
[storage]
tokens = { PRINT = 1,
  "GO TO" = 2 }
after = [
  1, [2],
]
last = 1
"""


def test_each_table_and_key_has_its_line() -> None:
    """Dotted keys, texts of several rows, lists and inline tables: counted by hand."""
    lines = key_lines(TEXT)
    assert lines == {
        ("board",): 3,
        ("board", "name"): 4,
        ("board", "title"): 5,
        ("board", "talk"): 8,
        ("board", "talk", "baud"): 8,
        ("board", "talk", "prompt"): 9,
        ("storage",): 10,
        ("storage", "tokens"): 11,
        ("storage", "after"): 13,
        ("storage", "last"): 16,
    }


def test_what_has_no_line_has_that_of_what_is_around_it() -> None:
    """A key within an inline table stands where the table does; what is nowhere has no line."""
    lines = key_lines(TEXT)
    assert line_of_key(lines, ("storage", "tokens", "GO TO")) == 11
    assert line_of_key(lines, ("nowhere", "at all")) is None
