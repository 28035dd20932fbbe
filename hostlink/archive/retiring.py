"""Retire programs and bring them back, and decide between two archives that differ."""

from __future__ import annotations

from datetime import timedelta
from typing import Literal

from sqlite_utils import Database

from hostlink.archive.archive_file import new_uuid
from hostlink.archive.database.database_errors import damaged
from hostlink.archive.database.rows import Row, checked_row, first, insert, update
from hostlink.archive.times import is_utc_text, parse_utc, utc_text

Change = Literal["retire", "return"]


def change_use(db: Database, program: Row, now: str, change: Change) -> None:
    """Retire a program, given by its row, or bring it back, and record that.

    If that is done already, nothing happens. The recorded time is later than that of every earlier
    change, even if the clock was set back, because another archive relies on the order of these
    times.
    """
    if (program["retired_at"] is not None) == (change == "retire"):
        return
    last = _last(db, program["id"])
    at = max(now, _just_after(last["changed"]), last["kept"])
    update(db, "programs", program["id"], retired_at=at if change == "retire" else None)
    insert(db, "events", uuid=new_uuid(), job=change, program_id=program["id"],
           started_at=at, ended_at=at, outcome="done")  # fmt: skip


def settle_retirement(db: Database, program: int, retired_at: str) -> None:
    """Retire a merged program, or bring it back, after one of the two archives retired it.

    It stays retired unless either archive brought it back or kept a revision after the retirement.
    An older copy does not undo a retirement.
    """
    last = _last(db, program)
    used = last["kept"] > retired_at or last["returned"] > retired_at
    wanted = None if used else retired_at
    if checked_row(db, "programs", program)["retired_at"] != wanted:
        update(db, "programs", program, retired_at=wanted)


def _last(db: Database, program: int) -> dict[str, str]:
    """Return when a program was last kept, returned, and retired or returned; "" for never."""
    found = first(
        db,
        "SELECT (SELECT max(kept_at) FROM revisions WHERE program_id = :program) AS kept, "
        "max(started_at) FILTER (WHERE job = 'return') AS returned, max(started_at) AS changed "
        "FROM events WHERE program_id = :program AND job IN ('retire', 'return')",
        {"program": program},
    )
    assert found is not None
    times = {key: found[key] or "" for key in ("kept", "returned", "changed")}
    if any(at and not is_utc_text(at) for at in times.values()):
        raise damaged("The record of when this program was used")
    return times


def _just_after(at: str) -> str:
    """Return the next time that can be stored, or the same one if there is none."""
    if not at:
        return ""
    try:
        return utc_text(parse_utc(at) + timedelta(milliseconds=1))
    except OverflowError:
        return at
