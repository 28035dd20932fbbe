"""Nothing on a board is overwritten unsaved: capture it, and keep what the archive lacks."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.advice import Ways, joined
from hostlink.archive import Archive, Board, Content, Origin
from hostlink.archive.events import OpenEvent
from hostlink.archive.times import shown
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.board.dialogue.reading import Reading
from hostlink.board.dialogue.witness import ProofDoubt
from hostlink.errors import LinkError, LinkReason, NotKnownError
from hostlink.jobs.events import AlreadyKept, Rescued, put_back_advice
from hostlink.jobs.listing_source import content_of
from hostlink.jobs.session.attaching import as_known, copy_words, last_program, unfinished_load
from hostlink.jobs.session.patience import capture_s
from hostlink.jobs.session.session import Session
from hostlink.listing import Line, Listing, canonical_lines, to_bytes
from hostlink.words import plural, safe


def _discard(by: Ways) -> str:
    return f"To overwrite it all the same, say that it may be lost {by.discard_board}."


@dataclass(frozen=True, slots=True)
class Held:
    """What a board held: its lines by number, how many captures agreed, and where it is kept.

    spec: the revision or rescue that holds it, "" for an empty board. new: a rescue was made now.
    doubt: what contradicts it, None where it is proven.
    """

    lines: dict[int, Line]
    captures: int
    spec: str = ""
    new: bool = False
    doubt: ProofDoubt | None = None


NOTHING = Held({}, 0)
"""What is known before anything was captured."""


def held_content(session: Session, result: Capture) -> Content:
    """A captured program as the archive keeps it."""
    listing = Listing(tuple(result.lines.values()))
    charset = session.profile.rules.form.charset
    return content_of(listing, to_bytes(listing.text(), charset), charset, session.profile)


def board_origin(
    session: Session, archive: Archive, board: Board, result: Capture, kind: str = "board"
) -> Origin:
    """Where a capture came from, with how far it may be trusted."""
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
    """In words, which load that did not end well a captured program is left of; "" if none.

    Lines of what was being loaded have to be in it: a board may have been typed on since.
    """
    copy = archive.host_copy(board.uuid)
    left_of = unfinished_load(archive, board, begun=session.begun)
    if not left_of or copy is None or copy.revision:
        return ""
    rules = session.profile.rules
    loaded = canonical_lines(Listing.from_text(copy.content.text).numbered(), rules)
    if not loaded.items() & canonical_lines(result.lines, rules).items():
        return ""
    return left_of


def rescue_held(session: Session, archive: Archive, board: Board) -> Held:
    """Capture what the board holds and see to it that the archive has it, before it is overwritten.

    Raises NotKnownError where it cannot be told or its free memory contradicts it, ReadBackError
    where the captures do not agree and ArchiveError where it cannot be kept.
    """
    held = read_held(session, archive, board)
    return certain(held, "the board", "The program on the board was not touched")


def certain(held: Held, holder: str, untouched: str) -> Held:
    """Return what was captured and kept. Raises NotKnownError where something contradicts it.

    holder: what holds it. untouched: what was not overwritten, for the error, without a full stop.
    """
    if held.doubt is None:
        return held
    raise NotKnownError(
        f"What {holder} holds is not known for certain: {held.doubt}.",
        kept=f"{untouched}; what it lists is kept as {held.spec}, not proven.",
        advice=lambda by: f"If its profile does not fit, measure the board {by.survey_discarding}.",
    )


def read_held(session: Session, archive: Archive, board: Board) -> Held:
    """Capture what the board holds and see to it that the archive has it, proven or not.

    Raises as rescue_held does, except for a contradiction, which stands in the result.
    """
    session.emit(Phase("Reading what the board holds", capture_s(session.profile)))
    result = session.dialogue.capture()
    if not result.lines:
        _tell_loss(session, archive, board)
    return keep_held(session, archive, board, result)


def rescue_or_discard(
    session: Session,
    archive: Archive,
    board: Board,
    record: OpenEvent,
    *,
    discard: bool,
    at_prompt: bool = True,
) -> Held:
    """Keep what the board holds before it is overwritten, or discard it, as the user asked.

    at_prompt: whether a board that is to be discarded can be asked at all. Raises as rescue_held
    does; the advice says then that it may be discarded.
    """
    if discard:
        return discard_held(session, record, at_prompt=at_prompt)
    try:
        return rescue_held(session, archive, board)
    except NotKnownError as error:
        raise error.but(advice=joined(error.advice, _discard)) from error


def discard_held(session: Session, record: OpenEvent, *, at_prompt: bool = True) -> Held:
    """Say what will be lost, as the user asked, and note it; what one reading shows is returned.

    at_prompt: whether the board can be asked at all.
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
    session.emit(Warned(f"Not kept, as you asked: {what}."))
    return Held(lines, 1 if lines else 0)


def discarded_words(reading: Reading) -> str:
    """What one reading shows of a program that is given up, in words."""
    numbers = list(reading.lines)
    if numbers:
        more = f" to {numbers[-1]}" if len(numbers) > 1 else ""
        return f"{plural(len(numbers), 'line')} that the board lists, {numbers[0]}{more}"
    if reading.unexplained:
        return f'what the board holds; asked for it, it says "{safe(reading.unexplained[0][:60])}"'
    return "what the board may hold; it lists nothing"


def keep_held(session: Session, archive: Archive, board: Board, result: Capture) -> Held:
    """See to it that the archive has what was captured, whole. Raises ArchiveError."""
    if not result.lines:
        return Held({}, result.count)
    content = held_content(session, result)
    heal_by(session, archive, content)
    copy = archive.host_copy(board.uuid)
    same = as_known(archive.holds(content), copy.revision if copy is not None else "")
    if same is not None:
        session.emit(AlreadyKept(same.spec))
        return Held(result.lines, result.count, same.spec, doubt=result.doubt)
    kept = archive.rescue(content, board_origin(session, archive, board, result, "rescue"))
    session.emit(Rescued(kept.spec, len(result.lines), content.size_bytes or 0))
    return Held(result.lines, result.count, kept.spec, new=True, doubt=result.doubt)


def heal_by(session: Session, archive: Archive, content: Content) -> None:
    """Make whole again what the archive holds of a captured listing, and say so."""
    for spec in archive.heal(content):
        session.emit(
            Warned(
                f"{spec} was damaged in the archive. The board holds the same listing, by its "
                "SHA-256, so it is whole again."
            )
        )


def forget_copy(archive: Archive, board: Board, coming: Content) -> None:
    """Before memory is overwritten: what was known of it is about to be untrue.

    Until the new content is proven no revision is said to be on the board, so that a save after a
    broken load cannot take a part of one program for a revision of another.
    """
    archive.set_host_copy(board.uuid, coming, proven=False, may_lack_edits=True, is_other=True)


def _tell_loss(session: Session, archive: Archive, board: Board) -> None:
    """An empty board that should hold something lost it; say since when and how to get it back."""
    copy = archive.host_copy(board.uuid)
    if copy is None or not copy.content.text.strip() or session.restarts.memory_is_lost:
        return  # nothing was known to be there, or the loss was told when the port was opened
    left_of = "" if copy.revision else unfinished_load(archive, board, begun=session.begun)
    spec = last_program(archive, board, begun=session.begun)
    advice = put_back_advice(spec)
    if left_of:  # whoever cleared it, nothing shows that it held a line of that
        session.emit(Warned(f"The board is empty; nothing is {left_of}.", advice=advice))
        return
    when = f", proven {shown(copy.proven_at)}" if copy.proven_at is not None else ""
    session.emit(
        Warned(
            f"The board is empty, though it was last known to hold {copy_words(archive, copy)}"
            f"{when}: it restarted or lost its supply since, or was cleared at its keyboard.",
            advice=advice,
        )
    )
