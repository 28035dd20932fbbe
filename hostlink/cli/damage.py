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
    say(
        "`hostlink archive prove` tells all that is damaged; `hostlink archive import` of a "
        "duplicate or an export heals what is whole there."
    )
    return ExitStatus.REFUSED
