"""Backing up a board: the program in memory and all stored programs.

A stored program can only be read by recalling it, which overwrites memory. So memory is captured
and kept first, and put back last, both proven.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field

from hostlink.archive import Archive, Backup, BackupItem, Board
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.reading import rows_of
from hostlink.board.dialogue.witness import ProofDoubt
from hostlink.errors import (
    ExitStatus,
    HostlinkError,
    LinkError,
    LinkReason,
    NotClearedError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.rescuing import HeldProgram, heal_by, held_content, read_held
from hostlink.jobs.session.restarting import pulse
from hostlink.jobs.session.session import Session
from hostlink.jobs.stored_programs import (
    memory_after,
    put_into_memory,
    same_program,
    slot_held,
    slot_names,
)
from hostlink.link.regain import FoundState
from hostlink.listing import Listing, canonical_lines, to_text
from hostlink.sentences import no_program
from hostlink.words import safe

UNLISTED = (
    "Stored programs were not read: the profile names neither their slots nor a command that lists "
    "them."
)
LEFT_OUT = "may hold is not in the backup"


@dataclass
class BoardPrograms:
    """The programs read from a board. unread: slots that could not be read, with the reasons.

    doubts: by item name, what contradicts it.
    """

    memory: HeldProgram
    items: list[BackupItem] = field(default_factory=list)
    unread: dict[str, str] = field(default_factory=dict)
    doubts: dict[str, ProofDoubt] = field(default_factory=dict)
    free_bytes: int | None = None
    banner: str = ""
    after_restart: bool = False


@dataclass(frozen=True, slots=True)
class BackedUp:
    """A backup that was kept. unread: stored programs that it lacks, with the reasons.

    doubt: what contradicts the program in memory, or else a stored one; None if all is proven.
    """

    backup: Backup
    unread: dict[str, str]
    doubt: ProofDoubt | None = None

    @property
    def kept_words(self) -> str:
        """Return the sentence that names the backup and its items."""
        return f"Kept as {self.backup.spec}: {', '.join(item.name for item in self.backup.items)}."

    @property
    def unread_words(self) -> str:
        """Return a sentence for each stored program that could not be read, "" if none."""
        return " ".join(f"{name} could not be read: {why}" for name, why in self.unread.items())

    @property
    def status(self) -> ExitStatus:
        """Return the exit status for a command: DONE if the backup is complete and proven."""
        if self.doubt is not None:
            return ExitStatus.READ_BACK_DIFFERS
        return ExitStatus.REFUSED if self.unread else ExitStatus.DONE

    @property
    def proof(self) -> str:
        """Return the words that follow the backup's name: that it is kept, and whether proven."""
        return "is kept and proven" if self.doubt is None else f"is kept, not proven ({self.doubt})"


def backup(session: Session, archive: Archive, *, note: str = "") -> BackedUp:
    """Capture all programs of a board and keep them as one backup.

    Raises RefusedError if the board holds nothing; LinkError, ReadBackError or Interrupted with
    what memory holds then. Nothing is kept in these cases except a rescue of the program in memory.
    """
    session.attach()
    board = session.board_in(archive)
    with recorded_job(session, archive, "backup", board, parts=10) as record:
        collected = collect(session, archive, board)
        if not collected.items:
            raise _nothing(collected)
        kept = keep_collected(session, archive, board, collected, note=note)
        record.detail.update(
            backup=kept.spec, items=[item.name for item in kept.items], unread=collected.unread
        )
        return BackedUp(kept, collected.unread, next(iter(collected.doubts.values()), None))


def collect(session: Session, archive: Archive, board: Board) -> BoardPrograms:
    """Read the program in memory and every stored program, and put memory back."""
    after_restart = session.restarts.memory_is_lost
    banner = _banner(session, archive, board)
    memory = read_held(session, archive, board)
    found = BoardPrograms(memory, banner=banner, after_restart=after_restart)
    if memory.lines:
        _add(session, found, Capture(memory.lines, memory.captures, memory.doubt))
    before = (session.restarts.seen, session.dialogue.evidence.total)
    found.free_bytes = session.dialogue.free_memory()
    names = slot_names(session)
    _warn_of_unlisted(session)
    if memory.doubt is not None:  # what is overwritten could not be put back for certain
        found.unread = dict.fromkeys(names, "Reading it would overwrite memory.")
        return found
    overwrites = bool(names) and not session.profile.commands.list_stored
    try:
        if names:
            _read_slots(session, found, names)
    except HostlinkError as error:
        if overwrites:
            raise memory_after(session, error, memory.lines, memory.spec) from error
        raise
    if not overwrites:
        _make_good(session, found, before)
    return found


def _warn_of_unlisted(session: Session) -> None:
    """Warn if a board may hold stored programs but its profile gives no way to find them."""
    commands = session.profile.commands
    if commands.recall and not (commands.stored or commands.places):
        session.emit(Warned(UNLISTED, advice='Add "slots" or "stored" to the profile.'))


def _make_good(session: Session, found: BoardPrograms, before: tuple[int, int]) -> None:
    """Put memory back if a restart, noticed or not, cleared it during the reading.

    before: the counts of restarts and of signs of damage before the reading.
    """
    restarts, notes = before
    if session.restarts.seen > restarts:
        session.dialogue.restarted()  # reported here, so that putting back starts only once
    elif session.dialogue.evidence.total == notes:
        return
    if not same_program(session, session.dialogue.capture().lines, found.memory.lines):
        session.emit(Warned("The board lost its program while it was read; it is put back."))
        try:
            put_into_memory(session, found.memory.lines)
        except HostlinkError as error:
            memory = found.memory
            raise memory_after(session, error, memory.lines, memory.spec) from error
        found.free_bytes = session.dialogue.free_memory()


def keep_collected(
    session: Session, archive: Archive, board: Board, collected: BoardPrograms, *, note: str = ""
) -> Backup:
    """Keep the collected programs as one backup."""
    for item in collected.items:
        heal_by(session, archive, item.content)
    return archive.keep_backup(
        board.uuid,
        collected.items,
        profile=session.profile.name,
        where=session.choice.port,
        banner=collected.banner,
        free_bytes=collected.free_bytes,
        after_restart=collected.after_restart,
        note=note,
    )


def is_part_of(session: Session, items: Sequence[BackupItem], kept: Backup) -> bool:
    """Return whether an earlier backup of a board contains everything on it.

    items: the programs on the board. Memory may hold a part of a program of the backup, left by an
    unfinished putback or by a program that starts by itself.
    """
    rules = session.profile.rules

    def lines(item: BackupItem) -> dict[int, str]:
        return canonical_lines(Listing.from_text(item.content.text).numbered(), rules)

    slots = {each.slot.casefold(): lines(each) for each in kept.items if each.kind == "stored"}
    programs = [lines(each) for each in kept.items]
    for item in items:
        held = lines(item)
        if item.kind == "stored" and slots.get(item.slot.casefold()) != held:
            return False
        if not any(held.items() <= program.items() for program in programs):
            return False
    return True


def banner_heard(session: Session) -> str:
    """Return the banner received recently, "" if none was."""
    known = session.profile.talk.banner
    rows = rows_of(to_text(session.wire.recent, session.profile.rules.form.charset))
    return next((safe(row) for row in reversed(rows) if known and known in row), "")


def _banner(session: Session, archive: Archive, board: Board) -> str:
    """Return the banner received now, else the one after the last firmware write."""
    heard = banner_heard(session)
    last = archive.last_write(board.uuid)
    return heard or (last.banner if last is not None and last.is_finished else "")


def _read_slots(session: Session, found: BoardPrograms, names: tuple[str, ...]) -> None:
    """Recall each slot, then put memory back. A slot that the board refuses is left out.

    If the board refuses a slot that it listed, the list may be damaged, so it is read again.
    """
    asked: set[str] = set()
    while names:
        refused = [name for name in names if not _read_slot(session, found, name)]
        asked.update(names)
        names = ()
        if refused and session.profile.commands.stored:
            with suppress(ReadBackError):  # then the refusal is reported
                names = tuple(name for name in slot_names(session) if name not in asked)
    if not session.profile.commands.list_stored:
        put_into_memory(session, found.memory.lines)


def _read_slot(session: Session, found: BoardPrograms, name: str) -> bool:
    """Recall a slot into `found`; return False if the board refuses. LinkError if it is gone."""
    unnamed = session.profile.commands.has_unnamed_slot
    try:
        result = slot_held(session, name)
    except RefusedError as refused:
        if unnamed and not isinstance(refused, NotClearedError):  # an empty place may be refused
            session.emit(Warned(f"What {safe(name)} {LEFT_OUT}. {refused.what}"))
            return True
        found.unread[name] = refused.what
        return False
    except LinkError as error:
        if error.reason is LinkReason.GONE:
            raise
        found.unread[name] = error.what
        session.emit(Warned(f"{safe(name)} could not be read: {error.what}"))
        if session.dialogue.regain(may_interrupt=True).found is not FoundState.PROMPT:
            session.emit(Warned("The board hangs and is restarted; memory is put back afterwards."))
            pulse(session)
        return True
    if result.lines:
        _add(session, found, result, name)
    elif session.profile.commands.stored and not unnamed:  # it was listed, so it should exist
        found.unread[name] = "Nothing came when it was recalled."
    return True


def _add(session: Session, found: BoardPrograms, result: Capture, slot: str = "") -> None:
    """Add a captured program to `found`. slot: where it is stored, "" for memory."""
    item = BackupItem(
        "stored" if slot else "memory",
        held_content(session, result),
        result.count,
        slot,
        unproven="" if result.doubt is None else str(result.doubt),
    )
    found.items.append(item)
    if result.doubt is not None:
        found.doubts[item.name] = result.doubt


def _nothing(collected: BoardPrograms) -> RefusedError:
    what = no_program(", in memory or stored", restarted=collected.after_restart)
    if collected.unread:
        what = "No program on the board could be read."
    return RefusedError(what, kept="No backup was made; earlier ones are as they were.")
