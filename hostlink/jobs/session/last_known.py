"""What the archive knows of a board: how it reacts to opening, and its last known program."""

from __future__ import annotations

import contextlib
import uuid
from collections.abc import Collection, Sequence
from datetime import UTC, datetime

from hostlink.archive import Archive, Board, Content, HostCopy, JobEvent, Origin, Rescue, Revision
from hostlink.archive.records import LEARNER
from hostlink.board.port.ports import Identity
from hostlink.board.profile.file import find_profile
from hostlink.errors import ArchiveError, HostlinkError
from hostlink.listing import Listing, canonical
from hostlink.listing.rules import Rules
from hostlink.sentences import UNNAMED_PROGRAM

_FILLS_MEMORY = ("load", "putback", "recall")  # jobs that put another program into memory
_FEW_EVENTS = 20  # of a board; the event wanted is nearly always among them
_ENDINGS = {
    "": "was cut off",
    "interrupted": "was stopped",
    "failed": "was cut off",
    "refused": "was refused",
    "full": "found the memory full",
    "not proven": "could not be proven",
}
"""How an unsuccessful load ended, by "ended" in its event's detail, else by its outcome."""


def is_board(identity: Identity, board: Board) -> bool:
    """Return whether a known board is the one at a port, as far as the USB bridge tells."""
    if (identity.vid, identity.pid) != (board.vid, board.pid):
        return False
    if identity.serial or board.serial:
        return identity.serial == board.serial
    return identity.location == board.location


def known_board(archive: Archive, identity: Identity) -> Board | None:
    """Return the known board at a port, None if it is new."""
    return next((board for board in archive.boards() if is_board(identity, board)), None)


def unknown_board(identity: Identity) -> Board:
    """Return an entry for a board that is new to a read-only archive; it is not kept."""
    now = datetime.now(UTC)
    return Board(
        str(uuid.uuid5(uuid.NAMESPACE_URL, repr(identity))),
        "",
        identity.vid,
        identity.pid,
        identity.serial,
        identity.location,
        "",
        None,
        now,
        now,
    )


def copy_of(archive: Archive, board: Board) -> HostCopy | None:
    """Return the archive's copy of the program on a board; None if there is none."""
    if archive.read_only and all(each.uuid != board.uuid for each in archive.boards()):
        return None
    return archive.host_copy(board.uuid)


def find_revision(archive: Archive, spec: str) -> Revision | None:
    """Return a revision by its spec; None if it cannot be read, is a rescue, or `spec` is ""."""
    with contextlib.suppress(HostlinkError):
        item = archive.revision(spec) if spec else None
        return item if isinstance(item, Revision) else None
    return None


def remembered_restart(archive: Archive | None, identity: Identity) -> bool | None:
    """Return whether this board restarted when it was opened before; None if unknown."""
    if archive is None:
        return None
    board = known_board(archive, identity)
    return board.restarts_on_open if board is not None else None


def as_known(holders: Sequence[Revision | Rescue], spec: str) -> Revision | Rescue | None:
    """Choose one of several equal programs of the archive; None if there are none.

    It is the one that the board was last known to hold (`spec`), else the newest revision, else the
    newest rescue.
    """
    known = [one for one in holders if one.spec == spec]
    revisions = [one for one in holders if isinstance(one, Revision)]
    return next(iter([*known, *revisions, *holders]), None)


def held_as(
    archive: Archive, content: Content, spec: str, rules: Rules | None
) -> Revision | Rescue | None:
    """Return the revision or rescue that equals a board's program, chosen by `as_known`; else None.

    The revision `spec` is also compared by the rules of this board, since it may have been kept for
    another kind. rules: None if they are not known.
    """
    known = as_known(archive.holds(content), spec)
    if spec and rules is not None and not isinstance(known, Revision):
        with contextlib.suppress(ArchiveError):
            held = archive.revision(spec)
            if is_same(archive, held, content, rules):
                return held
    return known


def is_same(archive: Archive, held: Revision | Rescue, content: Content, rules: Rules) -> bool:
    """Return whether a board's program equals a revision or rescue, by the board's rules."""
    return canonical(Listing.from_text(archive.content(held).text), rules) == content.canonical


def last_program(archive: Archive, board: Board, *, begun: Collection[str] = ()) -> str:
    """Return the spec by which the board's last known program can be loaded again, "" if none.

    A host copy that the archive does not hold, because it was never kept or has changed since, is
    kept as a rescue for this purpose. After an unsuccessful load it is what the board held before
    the load, or if that was nothing, what was to be loaded. begun: as for unfinished_load.
    """
    copy = archive.host_copy(board.uuid)
    if copy is not None and not copy.revision:
        event = _unfinished(archive, board, begun)
        if event is not None and event.detail.get("held"):
            return str(event.detail["held"])
    if copy is not None and copy.content.text.strip():
        with contextlib.suppress(ArchiveError):
            same = _copied(archive, copy)
            if same is not None:
                return same.spec
            origin = Origin("rescue", "host copy", board.uuid)
            program = copy.revision.rpartition("@")[0] or None
            return archive.rescue(copy.content, origin, program=program).spec
    rescue = archive.newest_rescue(board.uuid)
    return rescue.spec if rescue is not None else ""


def unfinished_load(archive: Archive, board: Board, *, begun: Collection[str] = ()) -> str:
    """Describe the unsuccessful load that last overwrote a board's memory; "" if there is none.

    begun: UUIDs of the events of jobs under way.
    """
    last = _unfinished(archive, board, begun)
    if last is None:
        return ""
    return f"left of a load of {loaded_by(last) or 'a program'} that {ending_words(last)}"


def loaded_by(event: JobEvent) -> str:
    """Return the revision that a job put into memory, else the name of its listing, or ""."""
    return event.revision or str(event.detail.get("listing") or "")


def ending_words(event: JobEvent) -> str:
    """Return how an unsuccessful load ended, as in "was cut off"."""
    return _ENDINGS.get(event.detail.get("ended") or event.outcome, "did not end well")


def last_fill(
    archive: Archive, board: Board, begun: Collection[str] = (), *, or_saved: bool = False
) -> JobEvent | None:
    """Return the event of the last job that put a program into a board's memory, or part of one.

    begun: UUIDs of the events of jobs under way, which do not count. or_saved: also count a job
    that saved what the board held as the work of a learner.
    """
    for most in (_FEW_EVENTS, None):
        for event in archive.events(most, board_uuid=board.uuid):
            under_way = event.ended_at is None and event.uuid in begun
            if event.job in _FILLS_MEMORY and not (under_way or left_untouched(event)):
                return event
            if or_saved and event.job == "save" and event.outcome == "done" and learner_of(event):
                return event
    return None


def learner_of(event: JobEvent | None) -> str:
    """Return the program name of the learner for whom a job was done; "" for nobody."""
    return str(event.detail.get(LEARNER, "")) if event is not None else ""


def left_untouched(event: JobEvent) -> bool:
    """Return whether a load ended before it overwrote anything."""
    ended = event.ended_at is not None and event.outcome != "done"
    return ended and event.job == "load" and not event.detail.get("overwrote")


def _unfinished(archive: Archive, board: Board, begun: Collection[str]) -> JobEvent | None:
    """Return the event of the load that last overwrote a board's memory, if it was unsuccessful."""
    last = last_fill(archive, board, begun)
    if last is None or last.job != "load":
        return None
    return None if last.outcome == "done" and last.ended_at is not None else last


def doubt_of_copy(archive: Archive, board: Board, copy: HostCopy) -> str:
    """Describe why a host copy may be wrong; "" if nothing speaks against it."""
    if not copy.revision:
        return unfinished_load(archive, board)
    with contextlib.suppress(ArchiveError):
        return archive.revision(copy.revision).origin.unproven
    return ""


def last_held(archive: Archive, copy: HostCopy) -> tuple[str, bool]:
    """Return what a board was last known to hold, such as TIDE@3, and whether it changed since."""
    if not copy.content.text.strip():
        return "nothing", False
    if not copy.revision:
        return UNNAMED_PROGRAM, False
    same = _copied(archive, copy)
    return copy.revision, same is None or same.spec != copy.revision


def _copied(archive: Archive, copy: HostCopy) -> Revision | Rescue | None:
    rules = None
    with contextlib.suppress(HostlinkError):  # a profile that was removed
        rules = find_profile(copy.content.profile).rules
    return held_as(archive, copy.content, copy.revision, rules)
