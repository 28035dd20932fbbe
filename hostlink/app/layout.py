"""Terminal sizes from which a screen shows more side by side."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.geometry import Size

WIDTHS: list[tuple[int, str]] | None = [(0, "-narrow"), (110, "-wide")]
"""Columns: below 110 the parts of a screen stand below each other."""

HEIGHTS: list[tuple[int, str]] | None = [(0, "-low"), (18, "-medium"), (36, "-tall")]
"""Rows: below 18 the desk shows the listing or the band, from 36 on the band is higher."""


SLIM = 60
"""Columns below which the ledger shows costs without totals."""


def size_classes(size: Size) -> Iterator[str]:
    """Yield the style classes for a screen of this size, in columns and rows."""
    for length, steps in ((size.width, WIDTHS), (size.height, HEIGHTS)):
        yield [name for least, name in steps or () if length >= least][-1]
