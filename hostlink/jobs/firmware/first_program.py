"""The first program of a new board: short, and the same in every BASIC."""

from __future__ import annotations

from hostlink.archive import Origin
from hostlink.jobs.listing_source import Material

# No THEN, separator or semicolon: interpreters differ in each of these.
_TEXT = """\
10 REM FIRST
20 PRINT "THIS BOARD IS ALIVE"
30 FOR I=1 TO 5
40 PRINT I
50 NEXT I
60 END
"""


def first_program() -> Material:
    """Return a program that shows that a board prints, counts and repeats."""
    return Material(
        "FIRST", "the program FIRST", _TEXT, _TEXT.encode(), "utf-8", Origin("library", "FIRST")
    )
