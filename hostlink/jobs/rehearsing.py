"""Rehearsing: doing everything that comes before a board is needed, to find what would be refused.

During a rehearsal no file is written, no question is asked, and changes to the archive are undone.
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
    """Undo all changes that the block makes to the archive; in it, `is_rehearsal` returns True."""
    _running.append(True)
    try:
        with archive.undoing():
            yield
    finally:
        _running.pop()
