"""After a load was proven: what the board holds where its free memory is not as it should be."""

from __future__ import annotations

from collections.abc import Mapping

from hostlink.archive import Archive, Board, Revision
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.loading import Loader
from hostlink.board.dialogue.misheard import behind_a_digit, misheard
from hostlink.errors import LinkError, ReadBackError
from hostlink.jobs.load_state import LoadState
from hostlink.jobs.session.rescuing import held_content, keep_held
from hostlink.jobs.session.session import Session
from hostlink.listing import Line


def look_again(
    session: Session,
    archive: Archive,
    board: Board,
    loader: Loader,
    revision: Revision | None,
    state: LoadState,
) -> None:
    """The last question failed, or the answer was not as it should be: see what the board holds.

    The question may have been stored as a line, which is mended. Another line was typed at the
    board: it is kept, left there, and told by ReadBackError. Where nothing is listed, the board
    restarted and its banner was not understood: then the program is not proven any more.
    """
    try:
        reading = session.dialogue.read_listing()
        if not reading.lines:
            reading = session.dialogue.read_listing()
    except LinkError:
        return  # proven it was, and that the question failed is told
    if not reading.lines and not reading.is_bare:
        return
    state.proven = False
    if reading.lines and loader.differs(reading.lines):
        if not _are_ours(session, loader.added(reading.lines)):
            now = session.dialogue.capture()
            if added := loader.added(now.lines):
                kept = keep_held(session, archive, board, now)
                copy, proven = held_content(session, now), now.is_proven
                archive.set_host_copy(board.uuid, copy, proven=proven, revision=revision)
                raise _typed_at(state, list(added), kept.spec)
        session.emit(Warned("Asking for the free memory changed the program on the board."))
        loader.load(reading.lines)
    state.proven = bool(reading.lines)


def _are_ours(session: Session, lines: Mapping[int, Line]) -> bool:
    """Whether all of these lines are commands of ours that damage turned into lines."""
    typed = session.dialogue.typed
    each = ({number: line} for number, line in lines.items())
    return all(misheard(one, typed) or behind_a_digit(one, typed, own={}) for one in each)


def _typed_at(state: LoadState, numbers: list[int], spec: str) -> ReadBackError:
    which = "line" if len(numbers) == 1 else "lines"
    return ReadBackError(
        f"{state.label} was read back right, and then somebody typed {which} "
        f"{', '.join(map(str, numbers[:8]))} at the board. What it holds now is kept as {spec}.",
        advice="Load again when nobody types at the board.",
    )
