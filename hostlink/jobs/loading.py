"""Loading a listing into a board: review, keep, rescue what was there, send, read back, prove."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from hostlink.archive import Archive, Board, Revision
from hostlink.archive.events import OpenEvent
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.learning import BoardRewritesError, Learned
from hostlink.board.dialogue.loading import Loader
from hostlink.board.dialogue.sending import FullError, LoadReport
from hostlink.board.profile.model import Profile
from hostlink.errors import HostlinkError, NotClearedError, ReadBackError
from hostlink.jobs.events import Emit, KeptAs
from hostlink.jobs.fitness import check_loadable
from hostlink.jobs.free_memory import FreeMemoryCheck, check_room
from hostlink.jobs.keeping_made import keep_with_details
from hostlink.jobs.language_of import Allow, in_language_of
from hostlink.jobs.listing_source import Material
from hostlink.jobs.load_errors import LoadState, with_load_state
from hostlink.jobs.session.job import for_learner, recorded_job
from hostlink.jobs.session.last_known import find_revision
from hostlink.jobs.session.patience import load_s
from hostlink.jobs.session.rescuing import HeldProgram, forget_copy, held_content, rescue_or_discard
from hostlink.jobs.session.session import Session
from hostlink.link.pacing import Pacing
from hostlink.listing import Line, measure
from hostlink.sentences import UNNAMED_LISTING, proven
from hostlink.words import sent_again


def _no(_: object) -> bool:
    return False


@dataclass(frozen=True, slots=True)
class LoadOptions:
    """How to load a listing.

    discard_board: do not capture first what is on the board. changes_only: send only the lines that
    differ. despite_review: load despite errors found in the review. name: keep the listing under
    this program name instead of its own. learn: asked whether to add to the profile what the board
    was seen to do to lines, so that the load can be proven with it. adapt: asked whether to rewrite
    a listing that is in the BASIC of another board. learner: the program name of the learner to
    whom it is handed out, to be recorded. captured: what is on the board, if just captured.
    """

    discard_board: bool = False
    changes_only: bool = False
    despite_review: bool = False
    name: str = ""
    learn: Callable[[Learned], bool] = _no
    adapt: Allow = _no
    learner: str = ""
    captured: Capture | None = None


@dataclass(frozen=True, slots=True)
class Loaded:
    """A proven load.

    spec: the revision that was loaded, "" if it was not kept. rescued: the spec that keeps what
    was on the board, "" if that was empty. text: what was loaded. size, limit: bytes on the board
    (limit 0 if unknown). free: bytes that the board reports as free, None if it reports none.
    """

    label: str
    spec: str
    rescued: str
    text: str
    report: LoadReport
    size: int
    limit: int
    free: int | None

    @property
    def words(self) -> str:
        """Return the result, such as "TIDE@1 is on the board, proven: 609 of 999 bytes"."""
        limit = f" of {self.limit:,}" if self.limit else ""
        repairs = f", {sent_again(self.report.repairs)}" if self.report.repairs else ""
        name = self.spec or self.label
        return f"{proven(name)}: {self.size:,}{limit} bytes{repairs}"


def load(session: Session, archive: Archive, material: Material, options: LoadOptions) -> Loaded:
    """Load a listing; return only after the board was read back and holds exactly that.

    A board of unknown kind is recognised first, since its rules are needed for the review.
    Raises RefusedError before anything is sent if the review finds errors; LinkError,
    ReadBackError, ArchiveError or Interrupted with what was kept and what the board now holds.
    """
    state = LoadState(material.label)
    if not session.choice.is_guess:
        material = for_board(session.profile, material, options, session.emit)
    try:
        if session.choice.is_guess:
            session.attach()
            material = for_board(session.profile, material, options, session.emit)
        revision = keep_material(session.profile, session.emit, archive, material, options)
        state.spec = revision.spec if revision else ""
        if doubt := (revision or material).origin.unproven:
            session.emit(Warned(f"{state.spec or material.label} is not proven: {doubt}."))
        before = session.profile
        session.attach()
        if session.profile != before:
            material = for_board(session.profile, material, options, session.emit)
        board = session.board_in(archive)
        detail = {"listing": material.label, **for_learner(options.learner)}
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
                raise with_load_state(session, error, state) from error
    except HostlinkError as error:
        if state.is_told:
            raise
        raise with_load_state(session, error, state) from error


def for_board(profile: Profile, material: Material, options: LoadOptions, emit: Emit) -> Material:
    """Return what to load into a kind of board: the listing, adapted if it has to be.

    Raises RefusedError if it cannot be loaded; this needs no board.
    """
    despite = options.despite_review
    material = in_language_of(profile, material, emit, despite=despite, allow=options.adapt)
    check_loadable(material, profile, despite_review=despite)
    return material


def _overwrite(
    session: Session,
    archive: Archive,
    board: Board,
    material: Material,
    options: LoadOptions,
    record: OpenEvent,
    state: LoadState,
) -> Loaded:
    """Rescue what is on the board, send the listing, prove it, and note what the board holds."""
    content, discard = material.content(session.profile), options.discard_board
    state.held = rescue_or_discard(
        session, archive, board, record, discard=discard, coming=content, captured=options.captured
    )
    session.dialogue.command_text("clear")
    check_room(session, material, state.held, discarded=discard)
    forget_copy(archive, board, content)
    record.detail["held"] = state.held.spec
    record.detail["overwrote"] = state.touched = True
    held = state.held.lines if options.changes_only and not discard else None
    try:
        loader, report = _send(session, material.listing.numbered(), held, options)
    except NotClearedError:
        record.detail["overwrote"] = state.touched = False
        _restore_host_copy(session, archive, board, state.held)
        raise
    content = material.content(session.profile)  # by what was learned
    state.proven = True
    session.restarts.settle()
    archive.set_host_copy(board.uuid, content, proven=True, revision=record.revision)
    record.detail.update(lines=report.lines, repairs=report.repairs, captures=report.captures)
    check = FreeMemoryCheck(session, archive, board, material, record.revision, state)
    free = check.after_load(loader)
    ledger = measure(material.listing, session.profile.rules)
    size = ledger.total, ledger.limit
    return Loaded(material.label, state.spec, state.held.spec, material.text, report, *size, free)


def _restore_host_copy(session: Session, archive: Archive, board: Board, held: HeldProgram) -> None:
    """Note that the board still holds what was captured, since its memory was not cleared."""
    if not held.captures:
        return  # discarded unread
    archive.set_host_copy(
        board.uuid,
        held_content(session, Capture(dict(held.lines), held.captures)),
        proven=True,
        revision=find_revision(archive, held.spec),
    )


def _send(
    session: Session, target: dict[int, Line], held: Mapping[int, Line] | None, options: LoadOptions
) -> tuple[Loader, LoadReport]:
    """Send the lines and prove them; if allowed, learn first how the board rewrites lines."""
    loader = Loader(session.dialogue, target)
    try:
        report = loader.load(held)
    except BoardRewritesError as error:
        if not error.learned.explains_what_is_taken or not options.learn(error.learned):
            raise
        session.learn(error.learned)
        if error.learned.unexplained:
            raise error.now_learned() from error
        report = loader.report
        loader = Loader(session.dialogue, target)
        again = loader.load(target)  # nothing differs any more, so this only reads back
        return loader, replace(report, captures=report.captures + again.captures)
    session.keep_heard()
    return loader, report


def expected_seconds(material: Material, pacing: Pacing) -> float:
    """Estimate how many seconds a load of this listing takes on a good wire."""
    return load_s(material.listing.numbered(), pacing)


def keep_material(
    profile: Profile, emit: Emit, archive: Archive, material: Material, options: LoadOptions
) -> Revision | None:
    """Keep the listing as a revision before anything is sent; return None if it has no name."""
    if material.revision is not None and not options.name:
        return material.revision
    name = options.name or material.name
    if not name and archive.holds(material.content(profile)):
        return None  # a rescue, which the archive keeps already
    if not name:
        emit(
            Warned(
                UNNAMED_LISTING, advice=lambda by: f"To keep it, give it a name {by.name_listing}."
            )
        )
        return None
    content = material.content(profile)
    adapted = material.adapted
    if material.shipped is not None or adapted is not None:
        for holder in archive.holds(content):
            if isinstance(holder, Revision) and holder.program == name:
                return holder  # it was loaded before
    parent = None
    if adapted is not None:
        parent = keep_material(adapted.source, emit, archive, adapted.original, options)
    kept = keep_with_details(archive, name, material, content, parent)
    emit(KeptAs(kept.revision.spec, kept.is_new, content.size_bytes or 0))
    return kept.revision
