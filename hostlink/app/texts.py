"""The app's sentences and rulers as text. Pure functions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from hostlink.app.desk.actions import way_to
from hostlink.archive.times import shown
from hostlink.words import capital, plural

if TYPE_CHECKING:
    from hostlink.listing import Ledger, Review


USED, UNUSED, BEYOND, LIMIT, HERE = "━", "┄", "╳", "┃", "█"


def revision_words(spec: str) -> str:
    """Return a spec in words: TIDE revision 3 for TIDE@3."""
    name, at, number = spec.rpartition("@")
    if not at:
        return spec
    return f"rescue {number}" if name == "rescue" else f"{name} revision {number}"


@dataclass(frozen=True, slots=True)
class KnownContents:
    """What a board is known to hold.

    known: it was read. spec: the revision, "" for a program that is not in the archive. lines,
    size, limit: of the program, in bytes; limit 0 if unknown. changed: lines were typed since.
    proven_at: when it was last read back.
    """

    known: bool = False
    spec: str = ""
    lines: int = 0
    size: int = 0
    limit: int = 0
    changed: bool = False
    proven_at: datetime | None = None


def board_sentence(name: str, held: KnownContents, *, away: bool = False) -> str:
    """One sentence about a board: what it holds, in bytes of what it can.

    away: it was unplugged, and is waited for.
    """
    name = capital(name)
    if away:
        return f"{name} was unplugged; hostlink waits for it to come back"
    if not held.known:
        return f"{name} is attached; what it holds has not been read yet"
    room = f"{held.size:,} of {held.limit:,} bytes" if held.limit else plural(held.size, "byte")
    when = f", proven at {shown(held.proven_at, '%H:%M')}" if held.proven_at else ""
    if not held.lines:
        return f"{name} holds no program, {room}{when}"
    if not held.spec:
        what = "a program that is not in the archive"
    elif held.changed:
        what = f"{revision_words(held.spec)}, changed since"
    else:
        what = revision_words(held.spec)
    if held.changed and not held.proven_at:
        return f"{name} holds {what}"  # its size is known again when it is read
    return f"{name} holds {what}, {room}{when}"


def room_words(ledger: Ledger) -> str:
    """Describe how a listing fits: "412 of 999 bytes, 587 free"."""
    if ledger.free is None:
        return f"{plural(ledger.total, 'byte')}; the board's room is not known"
    size = f"{ledger.total:,} of {plural(ledger.limit, 'byte')}"
    if ledger.over:
        return f"{size}: {plural(ledger.over, 'byte')} over"
    return f"{size}, {ledger.free:,} free"


def ruler(width: int, total: int, limit: int, here: tuple[int, int] = (0, 0)) -> str:
    """The program memory as a row of `width` characters.

    total: bytes of the listing. limit: the board's, 0 where unknown. here: first and last byte of
    the line at the cursor, equal where there is none.
    """
    scale = max(limit, total, 1)
    end = _place(limit, scale, width) if limit else width
    cells = []
    for cell in range(width):
        first, last = cell * scale / width, (cell + 1) * scale / width
        if limit and cell == min(end, width - 1) and cell >= end - 1:
            cells.append(LIMIT)
        elif here[0] < here[1] and first < here[1] and last > here[0]:
            cells.append(HERE)
        elif first >= total:
            cells.append(UNUSED)
        else:
            cells.append(BEYOND if limit and first >= limit else USED)
    return "".join(cells)


def ruler_scale(width: int, total: int, limit: int) -> str:
    """Return the figures under the ruler, up to the limit or the size if that is larger."""
    scale = max(limit, total, 1)
    step = next((one for one in (100, 200, 500, 1000) if scale / one * 8 <= width), 0)
    step = step or -(-scale // max(1, width // 8) // 1000) * 1000
    row = [" "] * width
    marks = [(value, f"{value:,}") for value in range(0, scale, step)]
    if limit:
        marks.append((limit, f"{limit:,}"))
    for value, text in reversed(marks):
        start = min(_place(value, scale, width), width - len(text))
        start = max(0, start)
        room = row[max(0, start - 1) : start + len(text) + 1]
        if all(one == " " for one in room):
            row[start : start + len(text)] = text
    return "".join(row)[:width]


def _place(value: int, scale: int, width: int) -> int:
    return min(width - 1, value * width // scale)


def finding_words(review: Review, row: int) -> str:
    """Return the finding for a row, counted from 0, or else for the whole listing."""
    from hostlink.listing.finding import SEVERITIES  # not before the first drawing

    found = review.findings
    at_row = [one for one in found if one.line_at - 1 == row]
    chosen = at_row or [one for one in found if not one.line_at] or list(found)
    if not chosen:
        return "The review found nothing wrong."
    first = min(chosen, key=lambda one: SEVERITIES.index(one.severity))
    where = "" if at_row or first.number is None else f"Line {first.number}: "
    more = len(found) - 1
    others = f" ({way_to('findings')}: {more:,} more)" if more else ""
    advice = (
        f"{way_to('shrink')} makes it smaller." if first.rule == "does-not-fit" else first.advice
    )
    return f"{where}{first.message} {advice}{others}"


def ago(then: datetime, now: datetime) -> str:
    """Return how long ago a time was: "3 minutes ago"."""
    seconds = max(0, int((now - then).total_seconds()))
    for size, word in ((86_400, "day"), (3_600, "hour"), (60, "minute")):
        if seconds >= size:
            return f"{plural(seconds // size, word)} ago"
    return "just now"
