"""Nothing on a board is overwritten unsaved: capture it, and keep what the archive lacks."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.archive import Archive, Board, Content, Origin
from hostlink.archive.times import shown
from hostlink.board.captures import Tally
from hostlink.board.events import Phase, Warned
from hostlink.jobs.attaching import as_known, copy_words, last_program
from hostlink.jobs.events import AlreadyKept, MemoryLost, Rescued
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


NOTHING = Held({}, 0)
"""What is known before anything was captured."""


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
        _tell_loss(session, archive, board)
    return keep_held(session, archive, board, result)


def keep_held(session: Session, archive: Archive, board: Board, result: Tally) -> Held:
    """See to it that the archive has what was captured, whole. Raises ArchiveError."""
    if not result.lines:
        return Held({}, result.count)
    content = held_content(session, result)
    for spec in archive.heal(content):
        session.emit(
            Warned(
                f"{spec} was damaged in the archive. The board holds the same listing, by its "
                "SHA-256, so it is whole again."
            )
        )
    copy = archive.host_copy(board.uuid)
    same = as_known(archive.holds(content), copy.revision if copy is not None else "")
    if same is not None:
        session.emit(AlreadyKept(same.spec))
        return Held(result.lines, result.count, same.spec)
    kept = archive.rescue(content, board_origin(session, board, result, "rescue"))
    session.emit(Rescued(kept.spec, len(result.lines), content.size_bytes or 0))
    return Held(result.lines, result.count, kept.spec, new=True)


def forget_copy(archive: Archive, board: Board, coming: Content) -> None:
    """Before memory is overwritten: what was known of it is about to be untrue.

    Until the new content is proven no revision is said to be on the board, so that a save after a
    broken load cannot take a part of one program for a revision of another.
    """
    archive.set_host_copy(board.uuid, coming, proven=False, may_lack_edits=True)


def _tell_loss(session: Session, archive: Archive, board: Board) -> None:
    """An empty board that should hold something lost it; say since when and how to get it back."""
    copy = archive.host_copy(board.uuid)
    if copy is None or not copy.content.text.strip() or session.restarted_since_attach:
        return  # nothing was known to be there, or the loss was told when the port was opened
    when = f", proven {shown(copy.proven_at)}" if copy.proven_at is not None else ""
    session.emit(
        Warned(
            f"The board is empty, though it was last known to hold {copy_words(archive, copy)}"
            f"{when}: it restarted or lost its supply since, or was cleared at its keyboard. "
            f"{MemoryLost('', last_program(archive, board)).way_back}".strip()
        )
    )
