"""Load a listing into a board: reviewed, kept, what was there rescued, sent, read back, proven."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

from hostlink.advice import joined
from hostlink.archive import Archive, Board, Revision
from hostlink.archive.events import OpenEvent
from hostlink.board.events import Warned
from hostlink.board.learning import BoardRewritesError, Learned
from hostlink.board.loading import FullError, Loader, LoadReport
from hostlink.board.profile import Profile
from hostlink.board.witness import MemoryDoubt, Witness, expected_free
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    NotKnownError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.events import Emit, KeptAs
from hostlink.jobs.fitness import check_loadable, smaller_advice
from hostlink.jobs.material import Material
from hostlink.jobs.patience import load_s
from hostlink.jobs.rescuing import NOTHING, Held, discard_held, forget_copy, rescue_held
from hostlink.jobs.session import Session
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


@dataclass(slots=True)
class _State:
    """How far a load has come, for what is said if it ends early.

    touched: the board's memory was changed, or may have been. proven: it holds the new program.
    is_told: the error that ended the load says all this.
    """

    label: str
    spec: str = ""
    held: Held = NOTHING
    touched: bool = False
    proven: bool = False
    is_told: bool = False


def load(session: Session, archive: Archive, material: Material, options: LoadOptions) -> Loaded:
    """Load `material`; returns only when the board was read back and holds exactly it.

    A board that is to be recognised is attached to first, since what it takes is not known before.
    Raises RefusedError before anything is sent where the review finds errors; LinkError,
    ReadBackError, ArchiveError or Interrupted with what was kept and what the board now holds.
    """
    state = _State(material.label)
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
        with session.job(archive, "load", board, program=material.name, detail=detail) as record:
            record.revision = revision
            try:
                return _overwrite(session, archive, board, material, options, record, state)
            except HostlinkError as error:
                if isinstance(error, ReadBackError):
                    record.detail["ended"] = (
                        "full" if isinstance(error, FullError) else "not proven"
                    )
                raise _with_state(session, error, state) from error
    except HostlinkError as error:
        if state.is_told:
            raise
        raise _with_state(session, error, state) from error


def _overwrite(
    session: Session,
    archive: Archive,
    board: Board,
    material: Material,
    options: LoadOptions,
    record: OpenEvent,
    state: _State,
) -> Loaded:
    """Rescue, send, prove, and note what the board holds."""
    if options.discard_board:
        discard_held(session, record)
    else:
        state.held = rescue_held(session, archive, board)
    session.dialogue.can("clear", "clear the program memory")
    _must_fit(session, material, state.held, discarded=options.discard_board)
    forget_copy(archive, board, material.content(session.profile))
    record.detail["overwrote"] = state.touched = True
    changes = options.changes_only and not options.discard_board
    loader, report = _send(
        session, material.listing.numbered(), state.held.lines if changes else None, options
    )
    content = material.content(session.profile)
    state.proven = True
    session.memory_is_known()
    archive.set_host_copy(board.uuid, content, proven=True, revision=record.revision)
    free = _free_memory(session)
    doubt = _memory_doubt(session, material, free)
    if session.profile.commands.free_memory and (free is None or doubt is not None):
        _look_again(session, loader, state)
        free = _free_memory(session) if doubt is not None else free
        doubt = _memory_doubt(session, material, free)
    record.detail.update(lines=report.lines, repairs=report.repairs, captures=report.captures)
    if session.restarted_since_attach or not state.proven or doubt is not None:
        empty = not state.proven
        state.proven = False
        forget_copy(archive, board, content)
        if session.restarted_since_attach or empty or doubt is None:
            raise _restarted(state)
        raise _contradicted(session, state, doubt)
    ledger = measure(material.listing, session.profile.rules)
    return Loaded(
        material.label, state.spec, state.held.spec, report, ledger.total, ledger.limit, free
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


def _restarted(state: _State) -> LinkError:
    return LinkError(
        f"The board restarted just after {state.label} was read back right; its memory is empty "
        "now.",
        reason=LinkReason.RESTARTED,
    )


def _contradicted(session: Session, state: _State, doubt: MemoryDoubt) -> ReadBackError:
    return ReadBackError(
        f"{state.label} is not proven: the board lists exactly what was sent, but {doubt}.",
        advice=lambda by: (
            "Either the board holds something that it does not list, or the sizes in "
            f"profile {session.profile.name} are wrong; measure them {by.survey}."
        ),
    )


def _look_again(session: Session, loader: Loader, state: _State) -> None:
    """The last question failed, or the answer was not as it should be: see what the board holds.

    The question may have been stored as a line, which is mended. Where nothing is listed, the board
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
        session.emit(Warned("Asking for the free memory changed the program on the board."))
        loader.load(reading.lines)
    state.proven = bool(reading.lines)


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


def _with_state(session: Session, error: HostlinkError, state: _State) -> HostlinkError:
    """Return an error that says also what was kept and in what state the board is."""
    state.is_told = True
    if state.proven:
        return error.but(kept=f"{state.label} is on the board and proven. {error.kept}".strip())
    what, advice = error.what, error.advice
    if isinstance(error, Interrupted):
        session.abandon()
        what = f"Stopped before anything of {state.label} was sent."
        if state.touched:
            what = f"Stopped while loading {state.label}: {_how_far(*session.lines_sent)}."
            advice = "Load again to complete it."
    elif isinstance(error, ReadBackError) and not state.touched:
        advice = joined(
            "Check the cable and the speed, then load again.",
            lambda by: f"If what the board holds may be lost, say so {by.discard_board}.",
        )
    elif isinstance(error, LinkError):
        advice = advice or "Load again when the link is back."
    return error.but(what=what, kept=_kept(error, state), advice=advice)


def _how_far(sent: int, lines: int) -> str:
    """How far sending had come when it was stopped."""
    if not sent:
        return "no line is known to be stored; the board holds a part of it at most"
    if sent < lines:
        stored = f"{sent:,} of {plural(lines, 'line')}"
        return f"at least {stored} are stored; the board holds a part of it"
    return f"all {plural(lines, 'line')} are stored, and not proven"


def _kept(error: HostlinkError, state: _State) -> str:
    """What was not lost, and what the board holds."""
    says_more = isinstance(error, ArchiveError | NotKnownError)
    parts = [error.kept] if says_more and error.kept else []
    if not state.touched and not isinstance(error, NotKnownError):
        parts.append("The board's program was not touched.")
    elif isinstance(error, LinkError | ArchiveError):
        parts.append(f"The board holds a part of {state.label} at most.")
    if state.spec:
        parts.append(f"The listing is kept as {state.spec}.")
    if state.held.spec:
        parts.append(f"What the board held before is kept as {state.held.spec}.")
    return " ".join(parts)
