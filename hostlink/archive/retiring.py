"""A program out of use and back: how that is written, and what holds where two archives differ."""

from __future__ import annotations

from typing import Literal

from sqlite_utils import Database

from hostlink.archive.session import first, insert, new_uuid
from hostlink.archive.times import read, stored
from hostlink.archive.trouble import from_row

Change = Literal["retire", "return"]


def change_use(db: Database, program: int, now: str, change: Change) -> None:
    """Retire a program (its row id) or bring it back, with an event; where it is so, nothing.

    The time is later than that of any change before, even if the computer's clock was put back:
    the order of the times is all that another archive has to go by.
    """
    last = _last(db, program)
    at = max(now, last["after_change"] or "", last["kept"] or "")
    changed = db.execute(
        "UPDATE programs SET retired_at = ? WHERE id = ? AND (retired_at IS NULL) = ?",
        (at if change == "retire" else None, program, int(change == "retire")),
    ).rowcount
    if changed:
        insert(db, "events", uuid=new_uuid(), job=change, program_id=program,
               started_at=at, ended_at=at, outcome="done")  # fmt: skip


def settle(db: Database, program: int, retired_at: str) -> None:
    """Of a program that one of two archives retired at that time: let it be so, unless either has
    used it since, bringing it back or keeping it anew. An older copy undoes no retirement."""
    last = _last(db, program)
    used = (last["kept"] or "") > retired_at or (last["returned"] or "") > retired_at
    db.execute(
        "UPDATE programs SET retired_at = ? WHERE id = ?", (None if used else retired_at, program)
    )


@from_row("What is known of the use of this program")
def _last(db: Database, program: int) -> dict[str, str | None]:
    """When a program was last kept and last brought back; the time after its last change."""
    found = first(
        db,
        "SELECT (SELECT max(kept_at) FROM revisions WHERE program_id = :program) AS kept, "
        "max(started_at) FILTER (WHERE job = 'return') AS returned, "
        "strftime('%Y-%m-%dT%H:%M:%fZ', max(started_at), '+0.001 seconds') AS after_change "
        "FROM events WHERE program_id = :program AND job IN ('retire', 'return')",
        {"program": program},
    )
    assert found is not None
    times = {key: found[key] for key in ("kept", "returned", "after_change")}
    return {key: None if at is None else stored(read(at)) for key, at in times.items()}
