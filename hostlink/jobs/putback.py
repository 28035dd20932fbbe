"""Putting a backup back on a board: memory and stored programs, all or single items, proven.

Items that do not fit are reported before anything is sent. A stored program that is already there
is not stored again, which would wear the EEPROM; a different one in its place is kept first.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

from hostlink.advice import Advice
from hostlink.archive import Archive, Backup, BackupItem, Board, Revision
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Warned
from hostlink.errors import HostlinkError, LinkError, LinkReason, NotKnownError, RefusedError
from hostlink.jobs.cautions import WEAR_WARNING
from hostlink.jobs.putback_fit import Misfit, misfits
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.rescuing import (
    HeldProgram,
    keep_held,
    require_certain,
    rescue_or_discard,
)
from hostlink.jobs.session.session import Session
from hostlink.jobs.stored_programs import (
    held_before_storing,
    memory_after,
    put_into_memory,
    same_program,
    slot_held,
    slot_names,
    store_proven,
)
from hostlink.link.regain import FoundState
from hostlink.listing import Listing, measure, review
from hostlink.sentences import (
    BOARD_UNCHANGED,
    NOT_ALL_FITS,
    NOT_OVERWRITTEN,
    NOTHING_SENT,
    free_memory_unsaid,
    is_unchanged,
    may_hold_another,
    proven,
)
from hostlink.words import safe

_SIZES = ("does-not-fit",)  # the rule on the profile's size, which the board's report overrides


class MisfitError(RefusedError):
    """A backup does not fit the board completely; nothing was sent.

    found: the items that do not fit. fitting: the names of those that do.
    """

    def __init__(self, spec: str, found: Sequence[Misfit], fitting: Sequence[str]) -> None:
        super().__init__(
            f"{NOT_ALL_FITS}: " + "; ".join(f"{each.name}: {each.why}" for each in found) + ".",
            kept=NOTHING_SENT,
            advice=(
                lambda by: f"Put back the rest, which fits, {by.put_back_items(spec, fitting)}."
            )
            if fitting
            else "Use a board that can take them.",
        )
        self.found = tuple(found)
        self.fitting = tuple(fitting)


@dataclass(frozen=True, slots=True)
class PutBack:
    """A proven putback. stored: programs stored now. unchanged: those that were there already.

    memory: whether memory now holds the program of the backup, not the one before. unproven: items
    that were not proven when they were kept or are not now, with the reason.
    """

    spec: str
    memory: bool
    stored: tuple[str, ...]
    unchanged: tuple[str, ...]
    unproven: dict[str, str]

    @property
    def sentences(self) -> list[str]:
        """Return what was put back, and what of it is not proven, in sentences."""
        parts = ["memory"] if self.memory else []
        parts += [f"{name} (stored)" for name in self.stored]
        parts += [f"{name} (was there already)" for name in self.unchanged]
        certain = [part for part in parts if part.split(" (")[0] not in self.unproven]
        told = [f"{proven(self.spec)}: {', '.join(certain)}."] if certain else []
        told += [
            f"{name} is as kept, but was kept as not proven: {why}."
            for name, why in self.unproven.items()
        ]
        if not self.memory:
            told.append(is_unchanged())
        return told


def chosen_items(backup: Backup, names: Sequence[str]) -> list[BackupItem]:
    """Return the named items, or all if none is named. Raises RefusedError for unknown names."""
    known = {item.name.casefold(): item for item in backup.items}
    for name in names:
        if name.casefold() not in known:
            raise RefusedError(
                f'{backup.spec} has no item "{name}".',
                advice=f"It has: {', '.join(item.name for item in backup.items)}.",
            )
    wanted = {name.casefold() for name in names} or set(known)
    return [item for key, item in known.items() if key in wanted]


def putback(
    session: Session,
    archive: Archive,
    backup: Backup,
    names: Sequence[str] = (),
    *,
    held: HeldProgram | None = None,
    discard_board: bool = False,
) -> PutBack:
    """Put a backup, or named items of it, on the board; return only when all is proven.

    held: the program in memory, if the caller has captured and kept it already; the stored programs
    are in the backup then.
    Raises RefusedError before anything is sent if an item does not fit. After a later error the
    earlier programs are put back as far as possible, and the error says how far.
    """
    items = chosen_items(backup, names)
    session.attach()
    board = session.board_in(archive)
    detail = {"backup": backup.spec, "items": [item.name for item in items]}
    with recorded_job(session, archive, "putback", board, parts=10, detail=detail) as record:
        if held is not None:
            memory = held
        else:
            memory = rescue_or_discard(session, archive, board, record, discard=discard_board)
        _must_fit(session, backup, items, board, memory)
        _warn_of_errors(session, items)
        is_backed_up = held is not None
        work = _PutBack(session, archive, board, memory, not discard_board, is_backed_up)
        return work.run(backup, items)


def _must_fit(
    session: Session, backup: Backup, items: Sequence[BackupItem], board: Board, memory: HeldProgram
) -> None:
    """Raise MisfitError if an item exceeds the room that the board reports, or else the profile's.

    The profile's sizes do not count for the board that held the backup: there the items did fit.
    """
    storage = session.profile.rules.storage
    own = backup.board_uuid == board.uuid
    free = _free_memory(session)
    if free is not None:
        held = Listing(tuple(memory.lines.values()))
        capacity = free + measure(held, session.profile.rules).total - storage.reserve_bytes
    else:
        capacity = 0 if own else storage.room
    found = misfits(session.profile, items, capacity, 0 if own else storage.eeprom_bytes)
    if found:
        wrong = {each.name for each in found}
        fitting = [item.name for item in items if item.name not in wrong]
        raise MisfitError(backup.spec, found, fitting)


def _free_memory(session: Session) -> int | None:
    """Return the free memory that the board reports, in bytes; None if it reports none.

    A damaged question may change memory, which was captured before and will be overwritten.
    """
    try:
        return session.dialogue.free_memory()
    except LinkError as error:
        if error.reason is LinkReason.GONE:
            raise
        session.emit(Warned(free_memory_unsaid(error.what)))
        if session.dialogue.regain(may_interrupt=True).found is not FoundState.PROMPT:
            raise
        return None


def _warn_of_errors(session: Session, items: Sequence[BackupItem]) -> None:
    """Warn of items kept as not proven, and of review errors; all are put back nevertheless."""
    for item in items:
        if item.unproven:
            session.emit(Warned(f"{item.name} was kept as not proven: {item.unproven}"))
        listing = Listing.from_text(item.content.text)
        errors = review(listing, session.profile.rules, silenced=_SIZES).errors
        if errors:
            where = f", line {errors[0].number}" if errors[0].number is not None else ""
            session.emit(Warned(f"{item.name}{where}: {errors[0].message} It goes back as it was."))


@dataclass
class _PutBack:
    """One putback: stored programs first, each through memory; memory last.

    After an error, the changed slots and memory are put back as they were.
    """

    session: Session
    archive: Archive
    board: Board
    memory: HeldProgram
    keep: bool  # whether to keep the program of a slot in the archive first
    is_backed_up: bool  # what the slots held is in the backup

    def __post_init__(self) -> None:
        self._stored: list[str] = []
        self._unproven: dict[str, str] = {}  # item left alone: what contradicts its slot
        self._replaced: dict[str, HeldProgram] = {}  # slot: what it held before
        self._touched = False  # whether memory may have changed

    def run(self, backup: Backup, items: Sequence[BackupItem]) -> PutBack:
        """Put the items on the board. Raises an error with the state of the board."""
        try:
            unchanged = self._store([item for item in items if item.kind == "stored"])
            memory = next((item for item in items if item.kind == "memory"), None)
            self._fill_memory(memory)
        except HostlinkError as error:
            said = self._as_before(error)
            if isinstance(said, RefusedError) and not said.advice:
                said = said.but(advice=_fewer(backup))
            raise said from error
        unproven = self._unproven | {each.name: each.unproven for each in items if each.unproven}
        return PutBack(backup.spec, memory is not None, tuple(self._stored), unchanged, unproven)

    def _store(self, items: Sequence[BackupItem]) -> tuple[str, ...]:
        """Store programs; return the slots that held them already and were left alone."""
        session = self.session
        there = {name.casefold() for name in slot_names(session)}
        unnamed = session.profile.commands.has_unnamed_slot
        unchanged: list[str] = []
        for item in items:
            lines = Listing.from_text(item.content.text).numbered()
            self._touched = True
            if unnamed or item.slot.casefold() in there:
                held = self._held(item.slot)
                if same_program(session, held.lines, lines):  # left alone
                    unchanged.append(item.slot)
                    if held.doubt is not None:
                        self._unproven[item.name] = str(held.doubt)
                    continue
                self._replaced[item.slot] = self._kept_first(item.slot, held)
            if not self._stored:
                session.emit(Warned(WEAR_WARNING))
            put_into_memory(session, lines, f"Putting {safe(item.slot)} into memory to store it")
            store_proven(session, item.slot, lines, kept="The backup is unchanged.")
            self._stored.append(item.slot)
        return tuple(unchanged)

    def _held(self, name: str) -> Capture:
        """Return what a slot holds; if that is not known but in the backup, return nothing."""
        try:
            return held_before_storing(self.session, name, discard=not self.keep)
        except NotKnownError:
            if not self.is_backed_up:
                raise
            return Capture({}, 0)

    def _kept_first(self, name: str, held: Capture) -> HeldProgram:
        """Keep the program in a slot before it is overwritten; return it. Raises NotKnownError."""
        if not self.keep:
            return HeldProgram(held.lines, held.count, doubt=held.doubt)
        kept = keep_held(self.session, self.archive, self.board, held)
        return require_certain(kept, safe(name), NOT_OVERWRITTEN)

    def _fill_memory(self, item: BackupItem | None) -> None:
        """Put the program of the backup, or the one before, into memory."""
        wanted = self.memory.lines
        if item is not None:
            wanted = Listing.from_text(item.content.text).numbered()
        self._touched = True
        put_into_memory(self.session, wanted, "Putting the program into memory")
        if item is not None:
            holders = self.archive.holds(item.content)
            revision = next((each for each in holders if isinstance(each, Revision)), None)
            self.archive.set_host_copy(
                self.board.uuid, item.content, proven=True, revision=revision
            )

    # --- cut short ---------------------------------------------------------------------------

    def _as_before(self, error: HostlinkError) -> HostlinkError:
        """Put slots and memory back as they were; return the error with the result of that."""
        if not self._touched:
            return error.but(kept=error.kept or BOARD_UNCHANGED)
        said = [error.kept]
        with self.session.unstoppable():
            answers = self._at_prompt()
            for name, held in self._replaced.items():
                said.append(self._slot_as_before(name, held, answers=answers))
        new = [name for name in self._stored if name not in self._replaced]
        if new:
            said.append(f"Stored already, in slots that were empty: {', '.join(new)}.")
        error = error.but(kept=" ".join(part for part in said if part))
        return memory_after(self.session, error, self.memory.lines, self.memory.spec)

    def _at_prompt(self) -> bool:
        """Return whether the board can be brought to its prompt for putting programs back."""
        try:
            return self.session.dialogue.regain(may_interrupt=True).found is FoundState.PROMPT
        except HostlinkError:
            return False

    def _slot_as_before(self, name: str, held: HeldProgram, *, answers: bool) -> str:
        """Put back the program of a slot, proven; return a sentence on the result."""
        if not held.lines:
            was_empty = "was empty before, and " if held.captures else ""
            return f"{safe(name)} {was_empty}may hold a program now."
        if answers and held.doubt is None:
            with suppress(HostlinkError):
                now = slot_held(self.session, name)
                if not same_program(self.session, now.lines, held.lines):
                    put_into_memory(self.session, held.lines, f"Putting {safe(name)} back")
                    store_proven(self.session, name, held.lines, kept="")
                return is_unchanged(safe(name))
        return may_hold_another(safe(name), held.spec)


def _fewer(backup: Backup) -> Advice:
    """Return advice for a board that refuses a part of a backup."""
    name = next((item.name for item in backup.items if item.kind == "memory"), "NAME")
    return lambda by: f"Name what is to go back {by.put_back_items(backup.spec, (name,))}."
