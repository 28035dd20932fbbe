"""Drawing how many bytes programs take, to the scale of a board's memory, as rows of text."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.words import BEYOND, HERE, LIMIT, UNUSED, USED

_MOST = 60  # revisions in one chart
_LEAST_BAR = 8


def size_chart(sizes: Sequence[tuple[int, int | None]], limit: int, width: int) -> str:
    """Draw the sizes of the newest revisions: a ruler for each, all to one scale, the newest last.

    sizes: the number of each and its bytes, None if they are not known. limit: the board's
    bytes, 0 if unknown. width: characters of a row.
    """
    shown = [(number, size, _told(size, limit)) for number, size in sizes[-_MOST:]]
    scale = max([limit, *(size or 0 for _, size, _ in shown)])
    bar = max(_LEAST_BAR, width - 6 - max((len(told) for _, _, told in shown), default=0))
    rows = [
        f"{number:>4} {told}"
        if size is None
        else f"{number:>4} {ruler(bar, size, limit, scale=scale).rstrip()} {told}"
        for number, size, told in shown
    ]
    if limit:
        rows.append(f"     {LIMIT} is the board's limit, {limit:,} bytes")
    return "\n".join(rows)


def _told(size: int | None, limit: int) -> str:
    """Return a size in words, with its excess over the limit, which may be too small to draw."""
    if size is None:
        return "size not known"
    return f"{size:,}, {size - limit:,} over" if 0 < limit < size else f"{size:,}"


def ruler(
    width: int, total: int, limit: int, here: tuple[int, int] = (0, 0), *, scale: int = 0
) -> str:
    """Draw the program memory as a row of `width` characters.

    total: bytes of the listing. limit: the board's, 0 if unknown. here: first and last byte of
    the line at the cursor, equal if there is none. scale: bytes of the whole row, if that is
    more than both.
    """
    scale = max(limit, total, scale, 1)
    end = _place(limit, scale, width) if limit else width
    cells = []
    for cell in range(width):
        first, last = cell * scale / width, (cell + 1) * scale / width
        if limit and cell == min(end, width - 1) and cell >= end - 1:
            cells.append(LIMIT)
        elif here[0] < here[1] and first < here[1] and last > here[0]:
            cells.append(HERE)
        elif first >= total:
            cells.append(" " if limit and first >= limit else UNUSED)
        else:
            cells.append(BEYOND if limit and first >= limit else USED)
    return "".join(cells)


def _place(value: int, scale: int, width: int) -> int:
    return min(width - 1, value * width // scale)
