"""Load a listing into a board: reviewed, kept, what was there rescued, sent, read back, proven."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

from hostlink.archive import Archive, Board, Revision
from hostlink.archive.events import OpenEvent
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.learning import BoardRewritesError, Learned
from hostlink.board.dialogue.loading import FullError, Loader, LoadReport
from hostlink.board.dialogue.witness import MemoryDoubt, Witness, expected_free
from hostlink.board.profile.model import Profile
from hostlink.errors import (
    HostlinkError,
    LinkError,
    LinkReason,
    NotClearedError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.after_proof import look_again
from hostlink.jobs.events import Emit, KeptAs
from hostlink.jobs.fitness import check_loadable, smaller_advice
from hostlink.jobs.listing_source import Material
from hostlink.jobs.load_state import LoadState, with_state
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.patience import load_s
from hostlink.jobs.session.rescuing import Held, forget_copy, held_content, rescue_or_discard
from hostlink.jobs.session.session import Session
from hostlink.link.pacing import Pacing
from hostlink.listing import Line, Listing, measure
from hostlink.listing.measure import least_size, most_size
from hostlink.words import plural


def _nothing_is_learned(learned: Learned) -> bool:  # noqa: ARG001 - the question's form
    return False


@dataclass(frozen=True, slots=True)
class LoadOptions:
    """discard_board: do not capture what is there first. changes_only: send only the difference.

    despite_review: load in spite of errors that the review found. name: keep the listing under this
    program name instead of its own. learn: asked whether what the board was seen to do to lines may
    go into its profile, so that the load is proven by that.
    """

    discard_board: bool = False
    changes_only: bool = False
    despite_review: bool = False
    name: str = ""
    learn: Callable[[Learned], bool] = _nothing_is_learned


@dataclass(frozen=True, slots=True)
class Loaded:
    """A proven load. spec: the revision it is, "" if it was not kept. rescued: "" if not needed.

    size, limit: bytes on the board and its limit (0 unknown). free: the board's own word, or None.
    """

    label: str
    spec: str
    rescued: str
    report: LoadReport
    size: int
    limit: int
    free: int | None


def load(session: Session, archive: Archive, material: Material, options: LoadOptions) -> Loaded:
    """Load `material`; returns only when the board was read back and holds exactly it.

    A board that is to be recognised is attached to first, since what it takes is not known before.
    Raises RefusedError before anything is sent where the review finds errors; LinkError,
    ReadBackError, ArchiveError or Interrupted with what was kept and what the board now holds.
    """
    state = LoadState(material.label)
    if not session.choice.is_guess:
        check_loadable(material, session.profile, despite_review=options.despite_review)
    try:
        if session.choice.is_guess:
            session.attach()
            check_loadable(material, session.profile, despite_review=options.despite_review)
        revision = keep_material(session.profile, session.emit, archive, material, options)
        state.spec = revision.spec if revision else ""
        before = session.profile
        session.attach()
        if session.profile != before:
            check_loadable(material, session.profile, despite_review=options.despite_review)
        board = session.board_in(archive)
        detail = {"listing": material.label}
        with recorded_job(
            session, archive, "load", board, program=material.name, detail=detail
        ) as record:
            record.revision = revision
            try:
                return _overwrite(session, archive, board, material, options, record, state)
            except HostlinkError as error:
                if isinstance(error, ReadBackError):
                    record.detail["ended"] = (
                        "full" if isinstance(error, FullError) else "not proven"
                    )
                raise with_state(session, error, state) from error
    except HostlinkError as error:
        if state.is_told:
            raise
        raise with_state(session, error, state) from error


def _overwrite(
    session: Session,
    archive: Archive,
    board: Board,
    material: Material,
    options: LoadOptions,
    record: OpenEvent,
    state: LoadState,
) -> Loaded:
    """Rescue, send, prove, and note what the board holds."""
    state.held = rescue_or_discard(session, archive, board, record, discard=options.discard_board)
    session.dialogue.can("clear", "clear the program memory")
    _must_fit(session, material, state.held, discarded=options.discard_board)
    forget_copy(archive, board, material.content(session.profile))
    record.detail["held"] = state.held.spec
    record.detail["overwrote"] = state.touched = True
    changes = options.changes_only and not options.discard_board
    held = state.held.lines if changes else None
    try:
        loader, report = _send(session, material.listing.numbered(), held, options)
    except NotClearedError:
        record.detail["overwrote"] = state.touched = False
        _know_again(session, archive, board, state.held)
        raise
    content = material.content(session.profile)
    state.proven = True
    session.restarts.settle()
    archive.set_host_copy(board.uuid, content, proven=True, revision=record.revision)
    free = _free_memory(session)
    doubt = _memory_doubt(session, material, free)
    if session.profile.commands.free_memory and (free is None or doubt is not None):
        look_again(session, archive, board, loader, record.revision, state)
        free = _free_memory(session) if doubt is not None else free
        doubt = _memory_doubt(session, material, free)
    record.detail.update(lines=report.lines, repairs=report.repairs, captures=report.captures)
    if session.restarts.memory_is_lost or not state.proven or doubt is not None:
        empty = not state.proven
        state.proven = False
        forget_copy(archive, board, content)
        if session.restarts.memory_is_lost or empty or doubt is None:
            raise _restarted(state)
        raise _contradicted(session, state, doubt)
    ledger = measure(material.listing, session.profile.rules)
    return Loaded(
        material.label, state.spec, state.held.spec, report, ledger.total, ledger.limit, free
    )


def _know_again(session: Session, archive: Archive, board: Board, held: Held) -> None:
    """Note that the board holds what was captured before: it was not touched after all."""
    if not held.spec:
        return
    item = archive.revision(held.spec)
    archive.set_host_copy(
        board.uuid,
        held_content(session, Capture(dict(held.lines), held.captures)),
        proven=True,
        revision=item if isinstance(item, Revision) else None,
    )


def _send(
    session: Session,
    target: dict[int, Line],
    held: Mapping[int, Line] | None,
    options: LoadOptions,
) -> tuple[Loader, LoadReport]:
    """Load the lines; where the board rewrites them and that may be learned, prove them by it."""
    loader = Loader(session.dialogue, target)
    try:
        report = loader.load(held)
    except BoardRewritesError as error:
        if not error.learned.explains_what_is_taken or not options.learn(error.learned):
            raise
        session.learn(error.learned)
        if error.learned.left:
            raise error.now_learned() from error
        report = loader.report
        loader = Loader(session.dialogue, target)
        again = loader.load(target)  # nothing differs any more, so it is only read back
        return loader, replace(report, captures=report.captures + again.captures)
    session.keep_heard()
    return loader, report


def _must_fit(session: Session, material: Material, held: Held, *, discarded: bool) -> None:
    """Raise RefusedError where the listing is larger than what the board says it has room for.

    Nothing is known of what is there where it was discarded, so nothing is refused then.
    """
    ledger = measure(material.listing, session.profile.rules)
    free = None if discarded else _free_memory(session)
    if free is None:
        return
    before = Listing(tuple(held.lines.values()))
    room = free + measure(before, session.profile.rules).total
    if ledger.total <= room:
        return
    size, most = ledger.total, room
    if not session.profile.rules.storage.exact:
        size, most = least_size(material.listing, session.profile.rules), free + most_size(before)
        if size <= most:
            text = f"{material.label} may not fit: the board has about {room:,} bytes for it."
            session.emit(Warned(f"{text} It is tried; what does not fit, the board refuses."))
            return
    least = "" if session.profile.rules.storage.exact else "at least "
    raise RefusedError(
        f"{material.label} does not fit: it takes {least}{plural(size, 'byte')}, and the board has "
        f"{most:,}: {least}{plural(size - most, 'byte')} over.",
        kept="Nothing was sent to the board.",
        advice=smaller_advice(material, session.profile, most),
    )


def _memory_doubt(session: Session, material: Material, free: int | None) -> MemoryDoubt | None:
    """Return how the board's free memory contradicts the listing; None where it does not, or where
    either is not known."""
    rules = session.profile.rules
    expected = expected_free(material.listing, rules)
    if free is None or expected is None:
        return None
    return Witness(True, free, expected, rules.storage.variables).doubt


def _restarted(state: LoadState) -> LinkError:
    return LinkError(
        f"The board restarted just after {state.label} was read back right; its memory is empty "
        "now.",
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


def _free_memory(session: Session) -> int | None:
    """The board's own word; a proven load does not fail for want of it.

    Where the question fails the board may have restarted; then it says so on its way back.
    """
    try:
        return session.dialogue.free_memory()
    except LinkError as error:
        with suppress(LinkError):
            session.dialogue.regain(may_interrupt=False)
        session.emit(Warned(f"The board did not say how much memory is free: {error.what}"))
        return None


def expected_seconds(material: Material, pacing: Pacing) -> float:
    """About how long a load of this takes on a good wire."""
    return load_s(material.listing.numbered(), pacing)


def keep_material(
    profile: Profile, emit: Emit, archive: Archive, material: Material, options: LoadOptions
) -> Revision | None:
    """Keep the listing as a revision before anything is sent; None where it has no name."""
    if material.revision is not None and not options.name:
        return material.revision
    name = options.name or material.name
    if not name and archive.holds(material.content(profile)):
        return None  # a rescue: it is kept already
    if not name:
        emit(
            Warned(
                "The listing has no name and is not kept.",
                advice=lambda by: f"To keep it, give it a name {by.name_listing}.",
            )
        )
        return None
    content = material.content(profile)
    shipped = material.shipped
    if shipped is not None:
        for holder in archive.holds(content):
            if isinstance(holder, Revision) and holder.program == name:
                return holder  # an example loaded again is no news
    kept = archive.keep(name, content, material.origin, title=shipped.title if shipped else "")
    if shipped is not None and kept.is_new and kept.revision.number == 1:
        archive.note(name, shipped.notes)
        archive.tag(name, *shipped.tags)
    emit(KeptAs(kept.revision.spec, kept.is_new, content.size_bytes or 0))
    return kept.revision
