"""A program out of use and back: how that is written, and what holds where two archives differ."""

from __future__ import annotations

from datetime import timedelta
from typing import Literal

from sqlite_utils import Database

from hostlink.archive.archive_file import new_uuid
from hostlink.archive.database.faults import damaged
from hostlink.archive.database.rows import Row, checked, first, insert, update
from hostlink.archive.times import is_stored, read, stored

Change = Literal["retire", "return"]


def change_use(db: Database, program: Row, now: str, change: Change) -> None:
    """Retire a program (its row) or bring it back, with an event; where it is so, nothing.

    The time is later than that of any change before, even if the computer's clock was put back:
    the order of the times is all that another archive has to go by.
    """
    if (program["retired_at"] is not None) == (change == "retire"):
        return
    last = _last(db, program["id"])
    at = max(now, _just_after(last["changed"]), last["kept"])
    update(db, "programs", program["id"], retired_at=at if change == "retire" else None)
    insert(db, "events", uuid=new_uuid(), job=change, program_id=program["id"],
           started_at=at, ended_at=at, outcome="done")  # fmt: skip


def settle(db: Database, program: int, retired_at: str) -> None:
    """Decide whether a program stays retired that one of two archives retired at that time.

    Keep it retired unless either archive used it after the retirement, bringing it back or keeping
    it anew. An older copy undoes no retirement.
    """
    last = _last(db, program)
    used = last["kept"] > retired_at or last["returned"] > retired_at
    wanted = None if used else retired_at
    if checked(db, "programs", program)["retired_at"] != wanted:
        update(db, "programs", program, retired_at=wanted)


def _last(db: Database, program: int) -> dict[str, str]:
    """When a program was last kept, brought back, and changed in its use; "" where never."""
    found = first(
        db,
        "SELECT (SELECT max(kept_at) FROM revisions WHERE program_id = :program) AS kept, "
        "max(started_at) FILTER (WHERE job = 'return') AS returned, max(started_at) AS changed "
        "FROM events WHERE program_id = :program AND job IN ('retire', 'return')",
        {"program": program},
    )
    assert found is not None
    times = {key: found[key] or "" for key in ("kept", "returned", "changed")}
    if any(at and not is_stored(at) for at in times.values()):
        raise damaged("What is known of the use of this program")
    return times


def _just_after(at: str) -> str:
    """The next time that can be stored; that time itself where there is none later."""
    if not at:
        return ""
    try:
        return stored(read(at) + timedelta(milliseconds=1))
    except OverflowError:
        return at
