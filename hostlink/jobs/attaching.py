"""What is remembered of a board's opening, and where its last program is when memory was lost."""

from __future__ import annotations

import contextlib

from hostlink.archive import Archive, Board, Origin
from hostlink.board.ports import Identity
from hostlink.errors import ArchiveError


def is_board(identity: Identity, board: Board) -> bool:
    """Whether a known board is the one at a port, as far as can be told."""
    if (identity.vid, identity.pid) != (board.vid, board.pid):
        return False
    if identity.serial or board.serial:
        return identity.serial == board.serial
    return identity.location == board.location


def known_board(archive: Archive, identity: Identity) -> Board | None:
    """The board known at a port, or None where it is new."""
    return next((board for board in archive.boards() if is_board(identity, board)), None)


def remembered_restart(archive: Archive | None, identity: Identity) -> bool | None:
    """Whether this board was seen to restart when opened; None where that is not known."""
    if archive is None:
        return None
    board = known_board(archive, identity)
    return board.restarts_on_open if board is not None else None


def last_program(archive: Archive, board: Board) -> str:
    """The spec under which the board's last known program can be loaded again, "" if none can.

    A host copy that the archive holds under no name is kept as a rescue for this: it is what the
    board held before its memory was lost.
    """
    copy = archive.host_copy(board.uuid)
    if copy is not None and copy.content.text.strip():
        if copy.revision:
            return copy.revision
        with contextlib.suppress(ArchiveError):
            holders = archive.holds(copy.content)
            if holders:
                return holders[0].spec
            origin = Origin("rescue", "host copy", board.uuid)
            return archive.rescue(copy.content, origin).spec
    rescue = archive.newest_rescue(board.uuid)
    return rescue.spec if rescue is not None else ""


def way_back(archive: Archive, board: Board) -> str:
    """A sentence that tells how to put the last known program back, "" where there is none."""
    spec = last_program(archive, board)
    if not spec:
        return ""
    return f"Its last known program is kept: `hostlink load {spec}` puts it back."
