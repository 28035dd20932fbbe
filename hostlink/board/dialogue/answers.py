"""Read the number of free bytes from a board's answer."""

from __future__ import annotations

import re
from collections.abc import Sequence


def free_bytes(rows: Sequence[str], form: str) -> int | None:
    """Return the bytes free that a board's answer names, or None if no row has the form.

    form: the row with the number as {free}. A negative number is a signed 16-bit number.
    """
    before, _, after = form.partition("{free}")
    pattern = re.compile(rf"\s*{re.escape(before)} *(-?[0-9]{{1,7}}) *{re.escape(after)}\s*")
    for row in rows:
        if match := pattern.fullmatch(row):
            number = int(match[1])
            return number + 0x10000 if -0x8000 <= number < 0 else number
    return None
