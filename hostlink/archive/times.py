"""Times as the archive stores them: ISO 8601 in UTC, milliseconds, `Z`; SQLite reads that too."""

from __future__ import annotations

from datetime import UTC, datetime


def utc_now() -> datetime:
    """The computer's time, aware, in UTC."""
    return datetime.now(UTC)


def stored(at: datetime) -> str:
    """A time as text that also sorts by time. A naive time is taken as local."""
    try:
        utc = at.astimezone(UTC)
    except (OverflowError, ValueError, OSError):  # in another zone it is beyond the calendar
        utc = at.replace(tzinfo=UTC)
    return utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def shown(at: datetime, form: str = "%Y-%m-%d %H:%M") -> str:
    """A time for people, by the computer's time zone; in UTC where that zone has no such time.

    An import may bring any time from year 1 to 9999, and within hours of either end the local time
    lies beyond what the calendar holds.
    """
    try:
        local = at.astimezone()
    except (OverflowError, ValueError, OSError):
        local = at.astimezone(UTC)
    return local.strftime(form)


def read(text: str) -> datetime:
    """The aware time that stored wrote."""
    return datetime.fromisoformat(text)


def is_stored(text: str) -> bool:
    """Whether a text is a time as `stored` writes it."""
    try:
        return stored(read(text)) == text
    except (ValueError, OverflowError):
        return False


def read_or_none(text: str | None) -> datetime | None:
    """The same, where there may be none."""
    return None if text is None else read(text)
