"""What is damaged in the archive, told beside what is whole."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.cli.output import say
from hostlink.errors import ExitStatus

MOST = 20


def tell_damaged(damaged: Sequence[str]) -> ExitStatus:
    """Say on stderr what could not be shown or carried; the status that the command ends with."""
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
