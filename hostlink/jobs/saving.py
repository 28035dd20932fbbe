"""Saving a board's program to the archive, proven by captures that agree."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

from hostlink.archive import Archive, Board, Content, Revision
from hostlink.archive.records import LEARNER
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.board.dialogue.witness import ProofDoubt
from hostlink.errors import ExitStatus, HostlinkError, Interrupted, LinkError, Needed, RefusedError
from hostlink.jobs.events import KeptAs, put_back_advice
from hostlink.jobs.session.job import for_learner, recorded_job
from hostlink.jobs.session.last_known import held_as, is_same, last_program
from hostlink.jobs.session.patience import capture_s
from hostlink.jobs.session.rescuing import board_origin, capture_memory, heal_by, held_content
from hostlink.jobs.session.session import Session
from hostlink.listing.rules import Rules
from hostlink.sentences import (
    NOTHING_KEPT,
    STILL_ON_BOARD,
    UNTOUCHED,
    no_program,
    when_link_is_back,
)
from hostlink.words import lines_named, plural


@dataclass(frozen=True, slots=True)
class SaveOptions:
    """How to save.

    name: the program to save to, "" for the one that the board was last known to hold. note: one
    line kept with the revision. after_restart: consent to save although the board restarted since
    its port was opened. unless_held: keep nothing new if the archive holds the program as a
    revision under any name. learner: the person whose work it is, which becomes the title of the
    program, "" if only the program is known; None for nobody. handed_out: revisions that they may
    have been given, not kept again if unchanged.
    """

    name: str = ""
    note: str = ""
    after_restart: bool = False
    unless_held: bool = False
    learner: str | None = None
    handed_out: tuple[Revision, ...] = ()


@dataclass(frozen=True, slots=True)
class Saved:
    """The result of a save. is_new: False if the latest revision was the same.

    doubt: what contradicts the listing; None if it is proven.
    """

    revision: Revision
    is_new: bool
    captures: int
    content: Content
    doubt: ProofDoubt | None = None

    @property
    def status(self) -> ExitStatus:
        """Return the exit status of a command that saved this."""
        return ExitStatus.DONE if self.doubt is None else ExitStatus.READ_BACK_DIFFERS

    @property
    def proof(self) -> str:
        """Return the words that follow the name of the listing: how far it is proven."""
        if self.doubt is None and (mark := self.revision.origin.unproven):
            return f"is what {plural(self.captures, 'capture')} found on the board, and {mark}"
        if self.doubt is None:
            return f"is proven by {plural(self.captures, 'capture')}"
        return f"is kept, but not proven: {self.doubt}"


def save(
    session: Session,
    archive: Archive,
    options: SaveOptions,
    seen: Callable[[Capture], object] = lambda _: None,
) -> Saved:
    """Capture the program in the board's memory and keep it as a revision.

    A listing that the free memory contradicts is kept too, marked as not proven. seen: called with
    what was captured, even if it is not kept.
    Raises RefusedError if the board is empty or no name is known; ReadBackError if the captures do
    not agree. Nothing is kept then.
    """
    session.attach()
    board = session.board_in(archive)
    detail = for_learner(options.name if options.learner is not None else "")
    with recorded_job(session, archive, "save", board, detail=detail) as record:
        try:
            session.emit(Phase("Reading the board's program", capture_s(session.profile)))
            result = capture_memory(session, archive, board)
        except Interrupted as error:
            session.abandon()
            raise error.but(kept=_nothing_done(session)) from error
        except HostlinkError as error:
            kept = error.kept or _nothing_done(session)
            is_link = isinstance(error, LinkError)
            again = when_link_is_back("Save") if is_link else ""
            raise error.but(kept=kept, advice=error.advice or again) from error
        seen(result)
        if not result.lines:
            raise _empty(session, archive, board)
        _ask_after_restart(session, options)
        _tell_too_long(session, result)
        content = held_content(session, result)
        name = options.name or _name_for(archive, board, content)
        saved = _keep(session, archive, board, name, content, result, options)
        record.revision = saved.revision
        record.detail.update(captures=result.count, lines=len(result.lines))
        return saved


def _keep(
    session: Session,
    archive: Archive,
    board: Board,
    name: str,
    content: Content,
    result: Capture,
    options: SaveOptions,
) -> Saved:
    origin = board_origin(session, archive, board, result)
    if origin.unproven and result.is_proven:
        session.emit(Warned(f"Kept with a mark: it is {origin.unproven}."))
    origin = dataclasses.replace(origin, note=options.note)
    heal_by(session, archive, content)
    latest = _same_as_latest(archive, name, content)
    rules = session.profile.rules
    if latest is None:
        given = (each for each in options.handed_out if is_same(archive, each, content, rules))
        latest = next(given, None)
    if latest is None and options.unless_held:
        latest = _held_as(archive, board, content, rules)
    if latest is not None:
        revision, is_new = latest, False
    else:
        with archive.writing(f"The new revision of {name}"):
            kept = archive.keep(name, content, origin, title=options.learner or "")
            if options.learner is not None:
                archive.tag(name, LEARNER)
        revision, is_new = kept.revision, kept.is_new
    session.emit(KeptAs(revision.spec, is_new, content.size_bytes or 0))
    archive.set_host_copy(board.uuid, content, proven=result.is_proven, revision=revision)
    return Saved(revision, is_new, result.count, content, result.doubt)


def _same_as_latest(archive: Archive, name: str, content: Content) -> Revision | None:
    """Return the latest revision of a program if it equals the captured one for the board."""
    for holder in archive.holds(content):
        if isinstance(holder, Revision) and holder.program.casefold() == name.casefold():
            latest = archive.revision(name)
            return holder if latest.uuid == holder.uuid else None
    return None


def _held_as(archive: Archive, board: Board, content: Content, rules: Rules) -> Revision | None:
    """Return the revision that equals the board's program, if the archive has one."""
    copy = archive.host_copy(board.uuid)
    known = held_as(archive, content, copy.revision if copy is not None else "", rules)
    return known if isinstance(known, Revision) else None


def _name_for(archive: Archive, board: Board, content: Content) -> str:
    """Return the name of the program that the board was last known to hold.

    If the content equals another known program, return that one's name: a board may have got it
    unnoticed, from its EEPROM or its keyboard.
    """
    copy = archive.host_copy(board.uuid)
    known = copy.revision.rpartition("@")[0] if copy is not None else ""
    same = [one.program for one in archive.holds(content) if isinstance(one, Revision)]
    if known and (known in same or not same):
        return known
    if same:
        return same[0]
    raise RefusedError(
        "The board's program has no name here yet.",
        kept=f"{STILL_ON_BOARD} {NOTHING_KEPT}",
        advice=lambda by: f"Give it one {by.save_with_name}.",
        needed=Needed.NAME,
    )


def _nothing_done(session: Session) -> str:
    """Say what the board and the archive hold after a capture that failed."""
    return f"{session.dialogue.evidence.unless_damaged(UNTOUCHED)} {NOTHING_KEPT}"


def _empty(session: Session, archive: Archive, board: Board) -> RefusedError:
    """Return the error for an empty board: when the program was lost, and what is kept of it."""
    spec = last_program(archive, board)
    advice = put_back_advice(spec) or "Type or load a program first."
    what = no_program(restarted=session.restarts.memory_is_lost)
    return RefusedError(what, kept="No empty revision was kept.", advice=advice)


def _tell_too_long(session: Session, result: Capture) -> None:
    """Warn of lines that are listed longer than they can be typed, so that they cannot go back."""
    most = session.profile.rules.form.longest_line
    long = [n for n, line in result.lines.items() if most and len(line.typed) > most]
    if long:
        lines = lines_named(long)
        session.emit(
            Warned(
                f"This board takes at most {most} characters in a line, but lists more for "
                f"{lines}, so not all of it could be typed again. It is kept as listed."
            )
        )


def _ask_after_restart(session: Session, options: SaveOptions) -> None:
    if not session.restarts.memory_is_lost:
        return
    if not options.after_restart:
        raise RefusedError(
            "The board restarted since its port was opened, so it may hold a program that starts "
            "by itself, not yours.",
            kept=NOTHING_KEPT,
            advice=lambda by: (
                f"Look at it {by.look_in_console}, or save it anyway {by.save_all_the_same}."
            ),
            needed=Needed.AFTER_RESTART,
        )
    session.emit(Warned("It is kept with a mark: the board had restarted before."))
