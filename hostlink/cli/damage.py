"""Reporting damage in the archive beside the records that are sound."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.cli.output import say
from hostlink.errors import ExitStatus

MOST = 20


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

    say(f"`hostlink archive prove` tells all that is damaged. {in_commands(heals)}")
    return ExitStatus.REFUSED
