"""Check records from another archive before anything is kept."""

from __future__ import annotations

from hostlink.archive.boards import checked_label
from hostlink.archive.database.tables import Column, Table
from hostlink.archive.exchange.record_source import Record
from hostlink.archive.names import checked_name
from hostlink.archive.programs import checked_tag
from hostlink.errors import ArchiveError
from hostlink.sentences import ARCHIVE_UNCHANGED
from hostlink.words import safe

LARGEST_NUMBER = 1_000_000_000
"""The largest number of a revision, rescue or backup from elsewhere: those that follow it here
still have a number that can be typed (see `Spec.from_text`)."""


NOTHING_TAKEN_IN = f"None of it was taken in. {ARCHIVE_UNCHANGED}"


def refused(reason: str, advice: str = "") -> ArchiveError:
    """Return the error for an import that is refused as a whole."""
    return ArchiveError(
        f"The import was refused: {safe(reason)}.",
        kept=NOTHING_TAKEN_IN,
        advice=advice,
    )


def check_record(table: Table, record: object) -> Record:
    """Return a foreign record if it has exactly the fields of its table, each of a valid kind.

    Raises ArchiveError.
    """
    fields = {column.name.removesuffix("_id"): column for column in table.carried}
    if not isinstance(record, dict) or set(record) != set(fields):
        raise refused(f"a record of {table.name} does not have the fields it should")
    for name, column in fields.items():
        if not _fits(column, record[name]):
            what = "a time" if column.kind == "time" else "what it should be"
            raise refused(f"{name} of a record of {table.name} is not {what}")
    number = record.get("number", 1)
    if not 0 < number <= LARGEST_NUMBER:
        raise refused(f"number of a record of {table.name} is not from 1 to {LARGEST_NUMBER:,}")
    _check_names(table, record)
    return record


def _fits(column: Column, value: object) -> bool:
    if not column.refers or value is None:
        return column.fits(value)
    if column.refers == "listings":
        return type(value) is int and value > 0
    return Column(column.name, "uuid").fits(value)


def _check_names(table: Table, record: Record) -> None:
    """Refuse names that hostlink could not have given, since people read them."""
    checks = {"programs": ("name", checked_name), "boards": ("label", checked_label),
              "tags": ("tag", checked_tag)}  # fmt: skip
    if table.name not in checks:
        return
    field, check = checks[table.name]
    try:
        same = check(record[field]) == record[field]
    except ArchiveError as error:
        raise refused(error.what.removesuffix(".")) from error
    if not same:
        raise refused(f"{field} of a record of {table.name} is not what it should be")
