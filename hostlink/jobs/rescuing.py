"""Nothing on a board is overwritten unsaved: capture it, and keep what the archive lacks."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.archive import Archive, Board, Content, Origin
from hostlink.board.captures import Tally
from hostlink.board.events import Phase
from hostlink.jobs.events import AlreadyKept, Rescued
from hostlink.jobs.material import content_of
from hostlink.jobs.session import Session
from hostlink.listing import Line, Listing, to_bytes


@dataclass(frozen=True, slots=True)
class Held:
    """What a board held: its lines by number, how many captures agreed, and where it is kept.

    spec: the revision or rescue that holds it, "" for an empty board. new: a rescue was made now.
    """

    lines: dict[int, Line]
    captures: int
    spec: str = ""
    new: bool = False


def held_content(session: Session, result: Tally) -> Content:
    """A captured program as the archive keeps it."""
    listing = Listing(tuple(result.lines.values()))
    charset = session.profile.rules.form.charset
    return content_of(listing, to_bytes(listing.text(), charset), charset, session.profile)


def board_origin(session: Session, board: Board, result: Tally, kind: str = "board") -> Origin:
    """Where a capture came from, with how far it may be trusted."""
    return Origin(
        "rescue" if kind == "rescue" else "board",
        where=session.choice.port,
        board_uuid=board.uuid,
        captures=result.count,
        after_restart=session.restarted_since_attach,
    )


def rescue_held(session: Session, archive: Archive, board: Board) -> Held:
    """Capture what the board holds and see to it that the archive has it.

    Raises ReadBackError where the captures do not agree and ArchiveError where it cannot be kept:
    in both cases the caller must not go on to overwrite it.
    """
    session.emit(Phase("Reading what the board holds"))
    result = session.dialogue.capture()
    if not result.lines:
        return Held({}, result.count)
    content = held_content(session, result)
    holders = archive.holds(content)
    if holders:
        session.emit(AlreadyKept(holders[0].spec))
        return Held(result.lines, result.count, holders[0].spec)
    kept = archive.rescue(content, board_origin(session, board, result, "rescue"))
    session.emit(Rescued(kept.spec, len(result.lines), content.size_bytes or 0))
    return Held(result.lines, result.count, kept.spec, new=True)
