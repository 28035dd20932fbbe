"""Reading what a board holds now, and comparing it with the archive; nothing is overwritten."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from hostlink.archive import Archive, Board, Content, Revision
from hostlink.board.dialogue.events import Phase
from hostlink.board.dialogue.witness import ProofDoubt
from hostlink.jobs.session.last_known import copy_of, find_revision, held_as, last_program
from hostlink.jobs.session.patience import capture_s
from hostlink.jobs.session.rescuing import READING, capture_memory, held_content
from hostlink.jobs.session.session import Session


@dataclass(frozen=True, slots=True)
class BoardContents:
    """The program on a board.

    spec: the equal revision or rescue, else the revision that it was changed from (`changed`), else
    "". lines: how many. content: None for an empty board. limit: program bytes of the board, 0
    if unknown. lost: the last known program of an empty board, "" if none. proven_at: when it was
    read, None if it is not proven. doubt: what contradicts the listing.
    """

    board: Board
    spec: str
    changed: bool
    lines: int
    content: Content | None
    limit: int
    lost: str
    proven_at: datetime | None
    doubt: ProofDoubt | None = None


def read_contents(session: Session, archive: Archive) -> BoardContents:
    """Capture the program in the board's memory and identify it.

    The host copy is updated, except by an empty capture, so that a lost program stays known. Raises
    LinkError, ReadBackError or Interrupted; the board's program is never changed.
    """
    session.attach()
    board = session.board_in(archive)
    session.emit(Phase(READING, capture_s(session.profile)))
    result = capture_memory(session, archive, board)
    limit = session.profile.rules.storage.room
    copy = copy_of(archive, board)
    if not result.lines:
        held = copy is not None and copy.content.text.strip()
        lost = last_program(archive, board) if held and not archive.read_only else ""
        return BoardContents(board, "", False, 0, None, limit, lost, None)
    content = held_content(session, result)
    loaded = copy.revision if copy is not None else ""
    same = held_as(archive, content, loaded, session.profile.rules)
    revision = same if isinstance(same, Revision) else None
    spec = same.spec if same is not None else ""
    changed = bool(not spec and loaded)
    if changed:
        revision, spec = find_revision(archive, loaded), loaded
    proven = result.is_proven
    if not archive.read_only:
        archive.set_host_copy(board.uuid, content, proven=proven, revision=revision)
    now = copy_of(archive, board)
    at = now.proven_at if now is not None and proven and not archive.read_only else None
    return BoardContents(
        board, spec, changed, len(result.lines), content, limit, "", at, result.doubt
    )
