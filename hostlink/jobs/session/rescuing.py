"""Rescuing the program on a board before it is overwritten: capture it, keep it in the archive."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from hostlink.advice import Ways, join_advice
from hostlink.archive import Archive, Board, Content, Origin
from hostlink.archive.events import OpenEvent
from hostlink.archive.times import local_text
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.board.dialogue.reading import Reading
from hostlink.board.dialogue.witness import ProofDoubt
from hostlink.errors import LinkError, LinkReason, NotKnownError
from hostlink.jobs.events import AlreadyKept, MemoryLost, Rescued, put_back_advice
from hostlink.jobs.listing_source import content_of
from hostlink.jobs.session.last_known import (
    doubt_of_copy,
    held_as,
    last_fill,
    last_held,
    last_program,
    learner_of,
    unfinished_load,
)
from hostlink.jobs.session.patience import capture_s
from hostlink.jobs.session.session import Session
from hostlink.listing import Line, Listing, canonical_lines, to_bytes
from hostlink.sentences import EMPTIED, NOT_KEPT, UNTOUCHED, let_be_lost
from hostlink.words import capital, plural, safe

READING = "Reading what the board holds"
_MAY_BE_EMPTIED = (
    "Memory is empty now. The board sent something as its port opened, which may have "
    "restarted it and emptied its memory."
)


def _discard(by: Ways) -> str:
    return f"To overwrite it anyway, {let_be_lost(by)}."


@dataclass(frozen=True, slots=True)
class HeldProgram:
    """A program captured from a board.

    lines: by number. captures: how many agreed. spec: the revision or rescue that keeps it, "" for
    an empty board. new: the rescue was made now. doubt: what contradicts `lines`, None if proven.
    """

    lines: dict[int, Line]
    captures: int
    spec: str = ""
    new: bool = False
    doubt: ProofDoubt | None = None


NOTHING = HeldProgram({}, 0)
"""Stands for a program that has not been captured yet."""


def held_content(session: Session, result: Capture) -> Content:
    """Return a captured program as content for the archive."""
    listing = Listing(tuple(result.lines.values()))
    charset = session.profile.rules.form.charset
    return content_of(listing, to_bytes(listing.text(), charset), charset, session.profile)


def board_origin(
    session: Session, archive: Archive, board: Board, result: Capture, kind: str = "board"
) -> Origin:
    """Return the origin of a capture for the archive, with what speaks against it."""
    against = [
        "" if result.is_proven else str(result.doubt),
        _cut_off(session, archive, board, result),
    ]
    return Origin(
        "rescue" if kind == "rescue" else "board",
        where=session.choice.port,
        board_uuid=board.uuid,
        captures=result.count,
        after_restart=session.restarts.memory_is_lost,
        unproven="; ".join(filter(None, against)),
    )


def _cut_off(session: Session, archive: Archive, board: Board, result: Capture) -> str:
    """Describe the unsuccessful load that left a captured program; "" if none did.

    The program must contain lines of that load, since something else may have been typed since. If
    it was saved with that mark before, it must still be the same.
    """
    copy = archive.host_copy(board.uuid)
    left_of = unfinished_load(archive, board, begun=session.begun)
    if not left_of or copy is None:
        return ""
    rules = session.profile.rules
    loaded = canonical_lines(Listing.from_text(copy.content.text).numbered(), rules)
    held = canonical_lines(result.lines, rules)
    if copy.revision:
        return left_of if loaded == held and doubt_of_copy(archive, board, copy) else ""
    return left_of if loaded.items() & held.items() else ""


def rescue_held(
    session: Session,
    archive: Archive,
    board: Board,
    coming: Content | None = None,
    captured: Capture | None = None,
) -> HeldProgram:
    """Capture the program on the board and make sure that the archive has it.

    coming: what will be loaded; the loss of just that program is not reported. captured: what this
    session captured last, if the board was left alone since.
    Raises NotKnownError if it cannot be read for certain or the free memory contradicts it,
    ReadBackError if the captures do not agree, ArchiveError if it cannot be kept.
    """
    held = read_held(session, archive, board, coming, captured)
    return require_certain(held, "the board", _untouched(session))


def _untouched(session: Session) -> str:
    """Return the sentence that memory was not touched or, on a bad wire, what may have changed."""
    return session.dialogue.evidence.unless_damaged(UNTOUCHED)


def require_certain(held: HeldProgram, holder: str, untouched: str) -> HeldProgram:
    """Return a captured program. Raises NotKnownError if something contradicts it.

    holder: names where it is, for the error. untouched: the sentence that it was not overwritten.
    """
    if held.doubt is None:
        return held
    raise NotKnownError(
        f"What {holder} holds is not known for certain: {held.doubt}.",
        kept=f"{untouched} What it lists is kept as {held.spec}, not proven.",
        advice=lambda by: f"If its profile does not fit, measure the board {by.survey_discarding}.",
    )


def capture_memory(session: Session, archive: Archive, board: Board) -> Capture:
    """Capture the program in memory; if it is empty, warn if the opening may have emptied it.

    Raises the errors of Dialogue.capture.
    """
    result = session.dialogue.capture()
    if session.restarts.memory_read(is_empty=not result.lines):
        spec = "" if archive.read_only else last_program(archive, board, begun=session.begun)
        session.emit(MemoryLost(_MAY_BE_EMPTIED, spec))
    return result


def read_held(
    session: Session,
    archive: Archive,
    board: Board,
    coming: Content | None = None,
    captured: Capture | None = None,
) -> HeldProgram:
    """Capture the program on the board and make sure that the archive has it, proven or not.

    coming, captured: as for rescue_held. Raises its errors, except for a contradiction, which
    becomes the `doubt` of the result.
    """
    if captured is None:
        session.emit(Phase(READING, capture_s(session.profile)))
        try:
            captured = capture_memory(session, archive, board)
        except NotKnownError as error:
            raise error.but(kept=_untouched(session)) from error
    if not captured.lines:
        _tell_loss(session, archive, board, coming)
    return keep_held(session, archive, board, captured)


def rescue_or_discard(
    session: Session,
    archive: Archive,
    board: Board,
    record: OpenEvent,
    *,
    discard: bool,
    at_prompt: bool = True,
    coming: Content | None = None,
    captured: Capture | None = None,
) -> HeldProgram:
    """Keep the program on the board before it is overwritten, or discard it with consent.

    discard: consent of the user. at_prompt: whether the board can be asked for a listing before its
    program is discarded. coming, captured: as for rescue_held. Raises its errors, with advice on
    discarding.
    """
    if discard:
        return discard_held(session, record, at_prompt=at_prompt)
    try:
        return rescue_held(session, archive, board, coming, captured)
    except NotKnownError as error:
        raise error.but(advice=join_advice(error.advice, _discard)) from error


def discard_held(session: Session, record: OpenEvent, *, at_prompt: bool = True) -> HeldProgram:
    """Warn of what will be lost, record it, and return what one reading shows.

    at_prompt: whether the board can be asked for a listing.
    """
    lines: dict[int, Line] = {}
    what = "what the board holds; it was not looked at"
    if at_prompt:
        try:
            reading = session.dialogue.read_listing()
        except LinkError as error:
            if error.reason is LinkReason.GONE:
                raise
            what = "what the board holds; it did not list it"
        else:
            lines = reading.lines
            what = discarded_words(reading)
    record.detail["discarded"] = what
    session.emit(Warned(f"{capital(NOT_KEPT)}: {what}."))
    return HeldProgram(lines, 1 if lines else 0)


def discarded_words(reading: Reading) -> str:
    """Describe a program that will be discarded, by one reading."""
    numbers = list(reading.lines)
    if numbers:
        more = f" to {numbers[-1]}" if len(numbers) > 1 else ""
        return f"{plural(len(numbers), 'line')} that the board lists, {numbers[0]}{more}"
    if reading.unexplained:
        return f'what the board holds; asked for it, it says "{safe(reading.unexplained[0][:60])}"'
    return "what the board may hold; it lists nothing"


def keep_held(session: Session, archive: Archive, board: Board, result: Capture) -> HeldProgram:
    """Make sure that the archive has a captured program, undamaged. Raises ArchiveError."""
    if not result.lines:
        return HeldProgram({}, result.count)
    content = held_content(session, result)
    heal_by(session, archive, content)
    copy = archive.host_copy(board.uuid)
    loaded = copy.revision if copy is not None else ""
    same = held_as(archive, content, loaded, session.profile.rules)
    if same is not None:
        session.emit(AlreadyKept(same.spec))
        return HeldProgram(result.lines, result.count, same.spec, doubt=result.doubt)
    origin = board_origin(session, archive, board, result, "rescue")
    if whose := learner_of(last_fill(archive, board, session.begun, or_saved=True)):
        origin = dataclasses.replace(origin, note=f"may be the work of {whose}")
    kept = archive.rescue(content, origin)
    session.emit(Rescued(kept.spec, len(result.lines), content.size_bytes or 0))
    return HeldProgram(result.lines, result.count, kept.spec, new=True, doubt=result.doubt)


def heal_by(session: Session, archive: Archive, content: Content) -> None:
    """Repair damaged copies of a captured listing in the archive, with a warning."""
    for spec in archive.heal(content):
        session.emit(
            Warned(
                f"{spec} was damaged in the archive. The board holds the same listing, by its "
                "SHA-256, so it is whole again."
            )
        )


def forget_copy(archive: Archive, board: Board, coming: Content) -> None:
    """Make what will be loaded the host copy, unproven and of no revision, before it is sent.

    Otherwise a save after a broken load could take a part of one program for a revision of another.
    coming: what will be loaded.
    """
    archive.set_host_copy(board.uuid, coming, proven=False, is_other=True)


def _tell_loss(session: Session, archive: Archive, board: Board, coming: Content | None) -> None:
    """Warn of an empty board that should hold a program other than `coming`, with advice."""
    copy = archive.host_copy(board.uuid)
    if copy is None or not copy.content.text.strip() or session.restarts.memory_is_lost:
        return  # nothing was known to be there, or the loss was reported at the opening
    left_of = "" if copy.revision else unfinished_load(archive, board, begun=session.begun)
    if coming is not None and not left_of and coming.canonical == copy.content.canonical:
        return  # this load puts it back
    spec = last_program(archive, board, begun=session.begun)
    advice = put_back_advice(spec)
    if left_of:  # nothing shows that the board held a line of that load
        session.emit(Warned(f"The board is empty; nothing is {left_of}.", advice=advice))
        return
    what, changed = last_held(archive, copy)
    when = f", proven {local_text(copy.proven_at)}" if copy.proven_at is not None else ""
    held = f"{what}{when}" + ", changed since" * changed
    empty = f"The board is empty, though it was last known to hold {held}: {EMPTIED}."
    session.emit(Warned(empty, advice=advice))
