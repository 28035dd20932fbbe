"""Put a backup back on a board: memory and stored programs, all of it or single items, proven.

What would not fit is said before anything is sent. A stored program that is there already, the
same, is not stored again, since that wears the EEPROM; another one in its place is kept first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.archive import Archive, Backup, BackupItem, Board, Revision
from hostlink.board.events import Phase, Warned
from hostlink.board.profile import Profile
from hostlink.errors import HostlinkError, RefusedError
from hostlink.jobs.recalling import (
    WEAR_WARNING,
    memory_after,
    put_into_memory,
    same_program,
    slot_held,
    slot_names,
    store_proven,
)
from hostlink.jobs.rescuing import Held, discard_held, keep_held, rescue_held
from hostlink.jobs.session import Session
from hostlink.listing import Listing, Review, measure, review


@dataclass(frozen=True, slots=True)
class Misfit:
    """An item that this board cannot take, and why, as half a sentence."""

    name: str
    why: str


class MisfitError(RefusedError):
    """Not all of a backup can go on this board; nothing was sent. found: what cannot, and why."""

    def __init__(self, found: Sequence[Misfit], fitting: Sequence[str]) -> None:
        others = " ".join(f"--item {name}" for name in fitting)
        super().__init__(
            "Not all of it can go on this board: "
            + "; ".join(f"{each.name}: {each.why}" for each in found)
            + ".",
            kept="Nothing was sent to the board.",
            advice=f"The rest fits: {others}" if fitting else "Use a larger board.",
        )
        self.found = tuple(found)


@dataclass(frozen=True, slots=True)
class PutBack:
    """A proven putback. stored: written now. unchanged: stored programs that were there already.

    memory: whether memory holds the backup's program now, and not what it held before.
    """

    spec: str
    memory: bool
    stored: tuple[str, ...]
    unchanged: tuple[str, ...]


def chosen_items(backup: Backup, names: Sequence[str]) -> list[BackupItem]:
    """The items of those names, all where none is named. Raises RefusedError for others."""
    known = {item.name.casefold(): item for item in backup.items}
    for name in names:
        if name.casefold() not in known:
            raise RefusedError(
                f'{backup.spec} has no item "{name}".',
                advice=f"It has: {', '.join(item.name for item in backup.items)}.",
            )
    wanted = {name.casefold() for name in names} or set(known)
    return [item for key, item in known.items() if key in wanted]


def misfits(profile: Profile, items: Sequence[BackupItem], capacity: int) -> list[Misfit]:
    """What a kind of board, with `capacity` bytes for a program (0 unknown), cannot take."""
    commands = profile.commands
    found: list[Misfit] = []
    for item in items:
        if item.kind == "stored" and not commands.store:
            found.append(Misfit(item.name, "this kind of board cannot store programs"))
            continue
        if item.kind == "stored" and commands.slots and item.slot not in commands.slots:
            found.append(Misfit(item.name, f"this board has no slot {item.slot}"))
            continue
        listing = Listing.from_text(item.content.text)
        over = measure(listing, profile.rules).total - capacity
        checked: Review = review(listing, profile.rules)
        if capacity and over > 0:
            found.append(Misfit(item.name, f"it is {over:,} bytes over the {capacity:,} here"))
        elif checked.errors:
            found.append(Misfit(item.name, checked.errors[0].message.rstrip(".")))
    return found


def putback(
    session: Session,
    archive: Archive,
    backup: Backup,
    names: Sequence[str] = (),
    *,
    held: Held | None = None,
    discard_board: bool = False,
) -> PutBack:
    """Put a backup, or the named items of it, on the board; returns only when all is proven.

    held: what memory holds, where the caller has captured and kept it already.
    Raises RefusedError before anything is sent where an item does not fit. Where it is cut short
    later, the error says what memory holds.
    """
    items = chosen_items(backup, names)
    session.attach()
    board = session.board_in(archive)
    detail = {"backup": backup.spec, "items": [item.name for item in items]}
    with session.job(archive, "putback", board, parts=10, detail=detail) as record:
        if held is not None:
            memory = held
        elif discard_board:
            memory = discard_held(session, record)
        else:
            memory = rescue_held(session, archive, board)
        _must_fit(session, items, _capacity(session, memory))
        try:
            return _put(session, archive, board, backup, items, memory, keep=not discard_board)
        except HostlinkError as error:
            memory_after(session, error, memory.lines, memory.spec)
            raise


def _capacity(session: Session, memory: Held) -> int:
    """Bytes for a program: by the board's own word where it has one, else by its profile."""
    rules = session.profile.rules
    free = session.dialogue.free_memory()
    if free is None:
        return rules.storage.program_bytes
    return free + measure(Listing(tuple(memory.lines.values())), rules).total


def _must_fit(session: Session, items: Sequence[BackupItem], capacity: int) -> None:
    found = misfits(session.profile, items, capacity)
    if found:
        wrong = {each.name for each in found}
        raise MisfitError(found, [item.name for item in items if item.name not in wrong])


def _put(
    session: Session,
    archive: Archive,
    board: Board,
    backup: Backup,
    items: Sequence[BackupItem],
    memory: Held,
    *,
    keep: bool,
) -> PutBack:
    """Stored programs first, each through memory; memory last."""
    there = {name.casefold() for name in slot_names(session)}
    stored: list[str] = []
    unchanged: list[str] = []
    for item in items:
        if item.kind != "stored":
            continue
        lines = Listing.from_text(item.content.text).numbered()
        if item.slot.casefold() in there:
            held = slot_held(session, item.slot)
            if same_program(session, held.lines, lines):
                unchanged.append(item.slot)
                continue
            if keep:
                keep_held(session, archive, board, held)
        if not stored:
            session.emit(Warned(WEAR_WARNING))
        put_into_memory(session, lines)
        store_proven(session, item.slot, lines, kept="The backup is unchanged.")
        stored.append(item.slot)
    last = next((item for item in items if item.kind == "memory"), None)
    wanted = Listing.from_text(last.content.text).numbered() if last else memory.lines
    session.emit(Phase("Putting the program into memory"))
    put_into_memory(session, wanted)
    if last is not None:
        holders = archive.holds(last.content)
        revision = next((each for each in holders if isinstance(each, Revision)), None)
        archive.set_host_copy(board.uuid, last.content, proven=True, revision=revision)
    return PutBack(backup.spec, last is not None, tuple(stored), tuple(unchanged))
