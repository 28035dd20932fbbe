"""Load a listing into a board: reviewed, kept, what was there rescued, sent, read back, proven."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.archive import Archive, Board, Revision
from hostlink.board.events import Warned
from hostlink.board.loading import Loader, LoadReport
from hostlink.errors import HostlinkError, Interrupted, LinkError, RefusedError
from hostlink.jobs.events import KeptAs
from hostlink.jobs.material import Material, must_hold_lines
from hostlink.jobs.rescuing import Held, rescue_held
from hostlink.jobs.session import Session
from hostlink.link.pacing import Pacing
from hostlink.listing import Review, measure, review


@dataclass(frozen=True, slots=True)
class LoadOptions:
    """discard_board: do not capture what is there first. changes_only: send only the difference.

    despite_review: load in spite of errors that the review found. name: keep the listing under this
    program name instead of its own.
    """

    discard_board: bool = False
    changes_only: bool = False
    despite_review: bool = False
    name: str = ""


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

    Raises RefusedError before anything is sent where the review finds errors; LinkError,
    ReadBackError or Interrupted with what was kept and what the board now holds.
    """
    must_hold_lines(material)
    checked = review(material.listing, session.profile.rules)
    if checked.errors and not options.despite_review:
        raise _refusal(material, checked)
    revision = _keep(session, archive, material, options)
    spec = revision.spec if revision else ""
    session.attach()
    board = session.board_in(archive)
    with archive.event("load", board_uuid=board.uuid, program=material.name) as record:
        record.revision = revision
        record.detail["listing"] = material.label
        held = Held({}, 0)
        try:
            if options.discard_board:
                record.detail["discarded"] = True
                session.emit(Warned("What the board held was not captured, as you asked."))
            else:
                held = rescue_held(session, archive, board)
            report = _send(session, material, held, options)
            free = session.dialogue.free_memory()
        except HostlinkError as error:
            raise _with_state(session, error, material, spec, held) from error
        record.detail.update(lines=report.lines, repairs=report.repairs, captures=report.captures)
        _proven(session, archive, board, material, revision)
        total = measure(material.listing, session.profile.rules).total
        limit = session.profile.rules.storage.program_bytes
        return Loaded(material.label, spec, held.spec, report, total, limit, free)


def expected_seconds(material: Material, pacing: Pacing) -> float:
    """About how long sending will take: the wire and the board's line time, whichever is longer."""
    lines = material.listing.numbered().values()
    wire = sum(len(line.typed) + len(pacing.reply_end) + len(pacing.prompt) for line in lines)
    per_line = pacing.line_s if pacing.receive_buffer > 1 else pacing.line_s + pacing.latency_s
    busy = len(lines) * per_line
    sending = wire * pacing.byte_s
    together = max(sending, busy) if pacing.receive_buffer > 1 else sending + busy
    return together + 3 * sending  # what was there and the read-back are listed too


def _refusal(material: Material, checked: Review) -> RefusedError:
    first = checked.errors[0]
    more = len(checked.errors) - 1
    others = f" (and {more} more)" if more else ""
    return RefusedError(
        f"{material.label} would not load as it is: {first.message}{others}.".replace("..", "."),
        kept="Nothing was sent to the board.",
        advice=f"{first.advice} `hostlink review` shows everything.".strip(),
    )


def _keep(
    session: Session, archive: Archive, material: Material, options: LoadOptions
) -> Revision | None:
    """Keep the listing as a revision before anything is sent; None where it has no name."""
    if material.revision is not None and not options.name:
        return material.revision
    name = options.name or material.name
    if not name:
        session.emit(Warned("The listing has no name and is not kept; name it with --name."))
        return None
    content = material.content(session.profile)
    shipped = material.shipped
    if shipped is not None:
        for holder in archive.holds(content):
            if isinstance(holder, Revision) and holder.program == name:
                return holder  # an example loaded again is no news
    kept = archive.keep(name, content, material.origin, title=shipped.title if shipped else "")
    if shipped is not None and kept.is_new and kept.revision.number == 1:
        archive.note(name, shipped.notes)
        archive.tag(name, *shipped.tags)
    session.emit(KeptAs(kept.revision.spec, kept.is_new, content.size_bytes or 0))
    return kept.revision


def _send(session: Session, material: Material, held: Held, options: LoadOptions) -> LoadReport:
    loader = Loader(session.dialogue, material.listing.numbered())
    changes = options.changes_only and not options.discard_board
    return loader.load(held.lines if changes else None)


def _proven(
    session: Session,
    archive: Archive,
    board: Board,
    material: Material,
    revision: Revision | None,
) -> None:
    """Remember what the board holds now."""
    content = material.content(session.profile)
    archive.set_host_copy(board.uuid, content, proven=True, revision=revision)


def _with_state(
    session: Session, error: HostlinkError, material: Material, spec: str, held: Held
) -> HostlinkError:
    """The same error, saying also what was kept and in what state the board is."""
    kept = [error.kept] if error.kept else []
    if spec:
        kept.append(f"The listing is kept as {spec}.")
    if held.spec:
        kept.append(f"What the board held before is kept as {held.spec}.")
    if isinstance(error, Interrupted):
        session.abandon()
        error.what = f"Stopped while loading {material.label}; the board holds a part of it."
        error.advice = error.advice or "Load again to complete it."
    elif isinstance(error, LinkError) and not error.advice:
        error.advice = "Load again when the link is back."
    error.kept = " ".join(kept)
    return error
