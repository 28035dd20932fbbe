"""What a job says when it fails is held to the truth, sentence by sentence.

A job may fail, in clear words; those words tell a user what is safe. So each sentence that says
something of the board, or names where something is kept, must be so.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from soak_truth import BoardTruth, Lines, Trouble, Witness

from hostlink.sentences import BACK_IN_MEMORY, STILL_ON_BOARD, UNTOUCHED, is_unchanged

_KEPT = re.compile(r"kept as ([A-Za-z0-9_-]+@[0-9]+)")

# How hostlink says that memory is as it was when the port was open, and that flash is.
MEMORY = re.compile(
    "|".join(map(re.escape, (UNTOUCHED, STILL_ON_BOARD, is_unchanged(), BACK_IN_MEMORY)))
)
FLASH = re.compile(r"Nothing was written")


def untrue(said: str, truth: BoardTruth, start: Lines, witness: Witness) -> Iterator[Trouble]:
    """What an error says and is not so. start: what memory held when the port was open."""
    checks: list[tuple[re.Pattern[str], Callable[[], bool]]] = [
        (MEMORY, lambda: truth.memory == start or truth.was_erased_by_chance(start)),
        (FLASH, lambda: bytes(truth.machine.chip.flash) == truth.flash_before),
    ]
    for pattern, is_so in checks:
        if (found := pattern.search(said)) and not is_so():
            yield Trouble("untrue", f'it says "{found[0]}"')
    for spec in _KEPT.findall(said):
        yield from witness.acknowledged(spec)
