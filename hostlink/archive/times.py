"""Times as the archive stores them: ISO 8601 in UTC, milliseconds, `Z`; SQLite reads that too."""

from __future__ import annotations

from datetime import UTC, datetime


def utc_now() -> datetime:
    """The computer's time, aware, in UTC."""
    return datetime.now(UTC)


def stored(at: datetime) -> str:
    """A time as text that also sorts by time. A naive time is taken as local."""
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


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
