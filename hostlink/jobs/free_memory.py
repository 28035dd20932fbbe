"""Ask a board for its free memory: before a load, to see whether it has room; after it, as a check.

A load is proven by reading the program back. The free memory is a further check: if it
contradicts the listing, the board may hold something that it does not list.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass

from hostlink.archive import Archive, Board, Revision
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.loading import Loader
from hostlink.board.dialogue.misheard import after_a_digit, find_misheard_command
from hostlink.board.dialogue.witness import MemoryDoubt, Witness, expected_free
from hostlink.errors import LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.jobs.fitness import smaller_advice
from hostlink.jobs.listing_source import Material
from hostlink.jobs.load_errors import LoadState
from hostlink.jobs.session.rescuing import HeldProgram, forget_copy, held_content, keep_held
from hostlink.jobs.session.session import Session
from hostlink.listing import Line, Listing, measure
from hostlink.listing.measure import least_size, most_size
from hostlink.sentences import NOTHING_SENT, free_memory_unsaid
from hostlink.words import lines_named, plural


def check_room(session: Session, material: Material, held: HeldProgram, *, discarded: bool) -> None:
    """Raise RefusedError if the listing is larger than the room that the board reports.

    held: the program on the board, which will be replaced. discarded: it was not captured, so the
    room is unknown and nothing is refused.
    """
    ledger = measure(material.listing, session.profile.rules)
    free = None if discarded else ask_free_memory(session)
    if free is None:
        return
    before = Listing(tuple(held.lines.values()))
    reserve = session.profile.rules.storage.reserve_bytes
    room = free + measure(before, session.profile.rules).total - reserve
    if ledger.total <= room:
        return
    size, most = ledger.total, room
    if not session.profile.rules.storage.exact:
        size, most = least_size(material.listing, session.profile.rules), free + most_size(before)
        if size <= most:
            text = f"{material.label} may not fit: the board has about {room:,} bytes for it."
            session.emit(Warned(f"{text} Trying it; the board refuses what does not fit."))
            return
    least = "" if session.profile.rules.storage.exact else "at least "
    raise RefusedError(
        f"{material.label} does not fit: it takes {least}{plural(size, 'byte')}, and the board has "
        f"{most:,}: {least}{plural(size - most, 'byte')} over.",
        kept=NOTHING_SENT,
        advice=smaller_advice(material, session.profile, most + reserve),
    )


def ask_free_memory(session: Session) -> int | None:
    """Return the free memory that the board reports, in bytes; None if it reports none.

    A failed question is only a warning: it never fails a proven load. The board may have restarted,
    which is noticed on the way back to its prompt.
    """
    try:
        return session.dialogue.free_memory()
    except LinkError as error:
        with suppress(LinkError):
            session.dialogue.regain(may_interrupt=False)
        session.emit(Warned(free_memory_unsaid(error.what)))
        return None


@dataclass(slots=True)
class FreeMemoryCheck:
    """Checks a proven load against the free memory that the board reports.

    revision: what was loaded, None if it was not kept. state: of the load; its `proven` is cleared
    if the check shows that the program is lost.
    """

    session: Session
    archive: Archive
    board: Board
    material: Material
    revision: Revision | None
    state: LoadState

    def after_load(self, loader: Loader) -> int | None:
        """Return the free memory after a load, in bytes; None if the board reports none.

        loader: the one that proved the load. Raises LinkError if the board restarted since, and
        ReadBackError if a line was typed at the board or the free memory contradicts the listing.
        """
        session, state = self.session, self.state
        free = ask_free_memory(session)
        doubt = self._doubt(free)
        if session.profile.commands.free_memory and (free is None or doubt is not None):
            self._look_again(loader)
            free = ask_free_memory(session) if doubt is not None else free
            doubt = self._doubt(free)
        is_lost = session.restarts.memory_is_lost or not state.proven
        if is_lost:
            error: LinkError | ReadBackError = _restarted(state)
        elif doubt is not None:
            error = _contradicted(session, state, doubt)
        else:
            return free
        state.proven = False
        forget_copy(self.archive, self.board, self.material.content(session.profile))
        raise error

    def _doubt(self, free: int | None) -> MemoryDoubt | None:
        """Return how the free memory contradicts the listing; None if it agrees or is unknown."""
        rules = self.session.profile.rules
        expected = expected_free(self.material.listing, rules)
        if free is None or expected is None:
            return None
        return Witness(True, free, expected, rules.storage.variables).doubt

    def _look_again(self, loader: Loader) -> None:
        """Read the program once more after a failed question or an unexpected answer.

        A damaged question may have been stored as a line: that is repaired. If somebody typed a
        line at the board, it is kept and left there, and ReadBackError is raised. If nothing is
        listed, the board restarted without a recognised banner: the load is not proven any more.
        """
        session, state = self.session, self.state
        try:
            reading = session.dialogue.read_listing()
            if not reading.lines:
                reading = session.dialogue.read_listing()
        except LinkError:
            return  # the load was proven, and the failed question has been reported
        if not reading.lines and not reading.is_bare:
            return
        state.proven = False
        if reading.lines and loader.differs(reading.lines):
            if not _are_own_commands(session, loader.added(reading.lines)):
                self._check_typed_at_board(loader)
            session.emit(Warned("Asking for free memory changed the program on the board."))
            loader.load(reading.lines)
        state.proven = bool(reading.lines)

    def _check_typed_at_board(self, loader: Loader) -> None:
        """Raise ReadBackError if the board holds lines that hostlink did not send; keep them."""
        session = self.session
        now = session.dialogue.capture()
        added = loader.added(now.lines)
        if not added:
            return
        kept = keep_held(session, self.archive, self.board, now)
        self.archive.set_host_copy(
            self.board.uuid,
            held_content(session, now),
            proven=now.is_proven,
            revision=self.revision,
        )
        raise ReadBackError(
            f"{self.state.label} was read back correctly, but then somebody typed "
            f"{lines_named(added)} at the board. The result is kept as "
            f"{kept.spec}.",
            advice="Load again when nobody is typing at the board.",
        )


def _are_own_commands(session: Session, lines: Mapping[int, Line]) -> bool:
    """Return whether all these lines are commands of hostlink that damage turned into lines."""
    typed = session.dialogue.typed
    each = ({number: line} for number, line in lines.items())
    return all(
        find_misheard_command(one, typed) or after_a_digit(one, typed, own={}) for one in each
    )


def _restarted(state: LoadState) -> LinkError:
    return LinkError(
        f"The board restarted just after {state.label} was read back correctly; its memory "
        "is empty now.",
        reason=LinkReason.RESTARTED,
    )


def _contradicted(session: Session, state: LoadState, doubt: MemoryDoubt) -> ReadBackError:
    return ReadBackError(
        f"{state.label} is not proven: the board lists exactly what was sent, but {doubt}.",
        advice=lambda by: (
            "Either the board holds something that it does not list, or the sizes in "
            f"profile {session.profile.name} are wrong; measure them {by.survey}."
        ),
    )
