"""Showing records of the archive: the sound ones, and which are damaged."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, TypeVar

from hostlink.cli.output import as_json, say, table
from hostlink.errors import ExitStatus

if TYPE_CHECKING:
    from hostlink.archive.records import Listed
    from hostlink.cli.context import CommonOptions

T = TypeVar("T")
MOST = 20


def show_records(
    common: CommonOptions,
    found: Listed[T],
    as_dict: Callable[[T], object],
    columns: Mapping[str, Callable[[T], object]],
    counted: str,
    *,
    right: Sequence[str] = (),
) -> ExitStatus:
    """Show records as a table or as JSON, and name the damaged ones; return the exit status.

    as_dict: returns the JSON of a record. columns: head and cell of each column of the table.
    counted: a sentence on how many records there are. right: as for `table`.
    """
    if common.json:
        as_json([as_dict(each) for each in found])
    else:
        if found:
            rows = [[cell(each) for cell in columns.values()] for each in found]
            table(list(columns), rows, right=right)
        say(counted, quiet=common.quiet)
    return tell_damaged(found.damaged)


def tell_damaged(damaged: Sequence[str]) -> ExitStatus:
    """Report damaged records on stderr; return the exit status, 1 if there are any."""
    if not damaged:
        return ExitStatus.DONE
    for each in damaged[:MOST]:
        say(each)
    if len(damaged) > MOST:
        say(f"{len(damaged) - MOST:,} more are damaged.")
    from hostlink.archive.database.database_errors import heals
    from hostlink.cli.ways import in_commands

    say(f"`hostlink archive prove` lists all that is damaged. {in_commands(heals)}")
    return ExitStatus.REFUSED
