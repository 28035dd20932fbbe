"""Terminal sizes from which a screen shows more side by side."""

from __future__ import annotations

WIDTHS: list[tuple[int, str]] | None = [(0, "-narrow"), (110, "-wide")]
"""Columns: below 110 things stand below each other."""

HEIGHTS: list[tuple[int, str]] | None = [(0, "-low"), (36, "-tall")]
"""Rows: from 36 on the desk's band is higher."""
