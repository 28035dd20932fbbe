"""What is true of a simulated board and an archive, and what a job did to it.

The harness holds the board itself, so it knows at each moment what memory, EEPROM and flash hold,
which lines the board took, how often it listed, and when it really restarted and what was lost by
it. It is all read behind the wire's back, never from what hostlink says.

A program is lost exactly if it was on the board before the job, is not on it afterwards, is not in
the archive (read by a connection of its own, so that what is not committed does not count), and was
not erased whole by a restart that hostlink neither caused nor could help. A restart by opening the
port is hostlink's own doing, and excused only where it was said before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from soak_durable import Syncs

from hostlink.archive import Archive
from hostlink.archive.database.access import Access
from hostlink.archive.times import utc_now
from hostlink.errors import HostlinkError
from hostlink.firmware.plan import blank_padded
from hostlink.listing import Listing
from hostlink.practice.machine import Machine

Lines = dict[int, str]
_HOLDERS = ("revisions", "rescues", "backup_items")  # tables by which a listing can be found

KINDS = ("silent", "lost", "untrue", "hang", "quiet", "uncaught", "archive", "shown")
"""What must not be found.

silent: called done and is not, or a wrong listing was kept as read. lost: gone from the board and
not in the archive. hang: no end in the time that a job may take. quiet: nothing told for a minute.
uncaught: an error that is not hostlink's own. archive: acknowledged and not there for good. shown:
control characters passed on.
"""


@dataclass(frozen=True, slots=True)
class Trouble:
    """What must not have happened. kind: one of KINDS."""

    kind: str
    text: str


def texts(program: dict[int, bytes]) -> Lines:
    """A board's program as text, without the blank that some keep after the number."""
    return {number: text.decode("latin-1").removeprefix(" ") for number, text in program.items()}


def lines_of(text: str) -> Lines:
    """The numbered lines of a listing."""
    return {number: line.text for number, line in Listing.from_text(text).numbered().items()}


class BoardTruth:
    """What one board held before a job, and holds now."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.before = self.memory
        self.slots_before = self.slots
        self.flash_before = bytes(machine.chip.flash)
        self.was_said = False  # that opening the port will probably restart the board

    @property
    def memory(self) -> Lines:
        """What program memory holds now."""
        return texts(dict(self.machine.basic.lines))

    @property
    def slots(self) -> dict[str, Lines]:
        """What is stored in EEPROM now, by name."""
        return {name: texts(dict(lines)) for name, lines in self.machine.basic.eeprom.items()}

    @property
    def lists(self) -> int:
        """How often the board has listed its program, in memory or stored."""
        stored = dict(self.machine.kind.language.words)["stored"]
        shown = self.machine.kind.shelf.shows == "program"
        typed = [line.strip().decode("latin-1") for line in self.machine.typed]
        return self.machine.basic.teller.lists + shown * sum(line in stored for line in typed)

    @property
    def was_read_back(self) -> bool:
        """Whether the board listed its program after the last line that it stored or deleted."""
        typed = [line.strip() for line in self.machine.typed]
        stored = [at for at, line in enumerate(typed) if line[:1].isdigit()]
        listed = [at for at, line in enumerate(typed) if line == b"LIST"]
        return bool(listed) and (not stored or listed[-1] > stored[-1])

    @property
    def erased_by_opening(self) -> bool:
        """Whether the board restarted at the very opening of its port, and lost something."""
        return any(each.pulled and each.at == 0 and each.lines for each in self.machine.erased)

    def was_erased_by_chance(self, program: Lines) -> bool:
        """Whether a restart took this program, whole, that hostlink did not cause or had said."""
        return any(
            texts(each.lines) == program and (not each.pulled or (each.at == 0 and self.was_said))
            for each in self.machine.erased
        )

    def held(self, program: Lines) -> bool:
        """Whether memory holds a program, or held it before a restart that took it by chance."""
        return self.memory == program or self.was_erased_by_chance(program)

    def losses(self, kept: Iterable[Lines], *, one_more: bool) -> Iterator[Trouble]:
        """What was on the board before, and is neither there nor among what was kept.

        one_more: it was said that the board may hold one more line, all that it held, and why.
        """
        kept = list(kept)
        before = self.before
        is_safe = self.memory == before or before in kept or self.was_erased_by_chance(before)
        more = self.memory.keys() - before.keys()
        is_safe |= one_more and len(more) == 1 and before.items() <= self.memory.items()
        if before and not is_safe:
            yield Trouble("lost", "memory")
        now = self.slots
        for name, lines in self.slots_before.items():
            if now.get(name) != lines and lines not in kept:
                yield Trouble("lost", f"stored {name}")

    def lost_flash(self, archive: Archive, end: int) -> bool:
        """Whether flash below `end` is another now, and what it held is not in the archive."""
        flash = self.flash_before[:end]
        if bytes(self.machine.chip.flash[:end]) == flash:
            return False
        record = next(iter(archive.writes()), None)
        held = record.previous.flash if record is not None and record.previous else None
        return held is None or blank_padded(held, end) != flash


class Witness:
    """Looks at an archive from outside: what is committed, and what is on the disk for good."""

    def __init__(self, path: Path, syncs: Syncs | None) -> None:
        """syncs: None where the system's writes cannot be watched."""
        # Not by Archive.open, which reads the file's first bytes by itself: on POSIX the end of
        # that lets go of every lock that this process holds on it, those of SQLite with them
        # (https://www.sqlite.org/howtocorrupt.html, 2.2).
        self.archive = Archive(path, Access(path, read_only=True), utc_now)
        self._path = path
        self._syncs = syncs
        self._held = self._everything()

    def close(self) -> None:
        self.archive.close()

    def newest_listing(self) -> int:
        """The number of the listing that came last."""
        with self.archive.reading("the newest listing") as db:
            return int(db.execute("SELECT coalesce(max(id), 0) FROM listings").fetchone()[0])

    def listings_since(self, newest: int, *, proven: bool = False) -> list[Lines]:
        """All listings that came after that one, in whatever they are kept.

        proven: only those against which the archive says that nothing speaks.
        """
        only = " WHERE unproven = ''" if proven else ""
        holders = " UNION ".join(f"SELECT listing_id FROM {table}{only}" for table in _HOLDERS)
        sql = f"SELECT text FROM listings WHERE id > ? AND id IN ({holders})"
        with self.archive.reading("what was kept") as db:
            return [lines_of(row[0]) for row in db.execute(sql, (newest,))]

    def lines_kept_as(self, spec: str) -> Lines | None:
        """The program of a revision or rescue, None where it cannot be read."""
        try:
            return lines_of(self.archive.content(self.archive.revision(spec)).text)
        except HostlinkError:
            return None

    def acknowledged(self, spec: str) -> Iterator[Trouble]:
        """Look for what was just said to be kept: a revision, a rescue or a backup."""
        try:
            if spec.startswith("backup@"):
                self.archive.backup(spec)
            else:
                self.archive.content(self.archive.revision(spec))
        except HostlinkError as error:
            yield Trouble("archive", f"{spec} was acknowledged: {error.what}")
        if self._syncs is not None and self._syncs.unsynced(self._path):
            yield Trouble("archive", f"{spec} was acknowledged before it was on the disk")

    def gone(self) -> Iterator[Trouble]:
        """What was kept before the last look and is not, or is another, now."""
        before, self._held = self._held, self._everything()
        for table, uuid, listing in sorted(before - self._held):
            yield Trouble("archive", f"one of the {table} is gone or changed ({uuid}, {listing})")

    def _everything(self) -> set[tuple[str, str, str]]:
        """Each revision, rescue and item of a backup, with the hash of its listing."""
        sql = " UNION ALL ".join(
            f"SELECT '{table}', {table}.uuid, hex(sha256) FROM {table} "
            f"JOIN listings ON listings.id = listing_id"
            for table in _HOLDERS
        )
        with self.archive.reading("everything") as db:
            return {(row[0], row[1], row[2]) for row in db.execute(sql)}
