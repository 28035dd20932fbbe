"""Convert times to and from the stored form: ISO 8601 in UTC with milliseconds and `Z`."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

from hostlink.errors import UsageError
from hostlink.words import safe


def utc_now() -> datetime:
    """Return the current time, aware, in UTC."""
    return datetime.now(UTC)


def utc_text(at: datetime) -> str:
    """Return a time as text that sorts by time. A naive time is taken as local."""
    try:
        utc = at.astimezone(UTC)
    except (OverflowError, ValueError, OSError):  # in another zone it is beyond the calendar
        utc = at.replace(tzinfo=UTC)
    return utc.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def local_text(at: datetime, form: str = "%Y-%m-%d %H:%M") -> str:
    """Return a time for people in the computer's time zone, or in UTC if that is impossible.

    An import may hold any time from year 1 to 9999, and near either end the local time would be
    outside the calendar.
    """
    try:
        local = at.astimezone()
    except (OverflowError, ValueError, OSError):
        local = at.astimezone(UTC)
    return local.strftime(form)


def parse_utc(text: str) -> datetime:
    """Return the aware time that a text of `utc_text` names. Raises ValueError."""
    return datetime.fromisoformat(text)


DATES = "2031, 2031-09 or 2031-09-03"
"""How a date is given, for a help or a message; ISO 8601."""


def days_of(text: str) -> tuple[datetime, datetime]:
    """Return when a year, month or day begins and when the next one does, in local time.

    text: see `DATES`. Raises UsageError.
    """
    fits = re.fullmatch(r"([0-9]{4})(?:-([0-9]{2}))?(?:-([0-9]{2}))?", text.strip())
    given = [int(part) for part in fits.groups() if part] if fits else [0]  # there is no year 0
    try:
        first = datetime(*[*given, 1, 1][:3])  # type: ignore[arg-type]
    except ValueError as error:
        raise UsageError(
            f'"{safe(text)}" is not a date.', advice=f"Write one as {DATES}."
        ) from error
    try:
        if len(given) == 3:
            return first, first + timedelta(days=1)
        months = 12 * first.year + first.month - 1 + (1 if len(given) == 2 else 12)
        return first, datetime(months // 12, months % 12 + 1, 1)
    except (OverflowError, ValueError):  # there is no year 10000
        return first, datetime.max


def is_utc_text(value: object) -> bool:
    """Return whether a value is a text, and a time as `utc_text` writes it."""
    try:
        return isinstance(value, str) and utc_text(parse_utc(value)) == value
    except (ValueError, OverflowError):
        return False


def parse_utc_or_none(text: str | None) -> datetime | None:
    """Return the same as `parse_utc`, None for None."""
    return None if text is None else parse_utc(text)
