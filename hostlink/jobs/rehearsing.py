"""Rehearsing: doing what comes before a board is needed, to find what would be refused.

While it lasts no file is written, no question is asked, and what goes into the archive is taken out
again.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hostlink.archive import Archive

_running: list[bool] = []


class BoardNeeded(Exception):
    """The rest of what is rehearsed needs the board."""


def is_rehearsal() -> bool:
    """Return whether the current work is only rehearsed."""
    return bool(_running)


@contextlib.contextmanager
def rehearsal(archive: Archive) -> Iterator[None]:
    """Undo in the archive all that is done inside, and tell `is_rehearsal` there."""
    _running.append(True)
    try:
        with archive.undoing():
            yield
    finally:
        _running.pop()
