"""The listing that a command names: a file, a program, a revision, or standard input."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from hostlink.cli.output import say
from hostlink.cli.streams import read_input
from hostlink.listing import LIMIT

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.cli.context import CommonOptions
    from hostlink.jobs.listing_source import Material


def material_for(common: CommonOptions, what: str) -> Material:
    """Return the listing that WHAT names; do not create an archive if there is none."""
    with material_in(common, what) as (material, _):
        return material


@contextmanager
def material_in(
    common: CommonOptions, what: str, *, read_only: bool = True
) -> Iterator[tuple[Material, Archive | None]]:
    """Find the listing that WHAT names, and keep the archive open for the block.

    The archive is None for a file, or if there is none yet; it is not created.
    """
    from hostlink.jobs.listing_source import find_material, is_file

    stdin = read_stdin() if what == "-" else None
    is_kept = common.open_link is not None or common.archive_file().exists()
    if what == "-" or is_file(Path(what)) or not is_kept:
        yield find_material(what, None, stdin=stdin), None
        return
    with common.archive(create=False, read_only=read_only) as archive:
        yield find_material(what, archive), archive


def read_stdin() -> bytes:
    """Read a listing from standard input, at most one byte beyond the size limit."""
    if sys.stdin.isatty():
        say("Type or paste the listing; Ctrl+D ends it (on Windows Ctrl+Z, Enter).")
    return read_input(LIMIT + 1)
