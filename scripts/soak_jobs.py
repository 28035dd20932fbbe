"""Whole jobs in virtual time under every fault: load, save, backup, firmware. Each by its seed.

After each job the board's memory and flash are read behind the wire's back and compared with what
the job said, and with what the archive was given:

silent  a job was called done and is not; or a wrong listing went into the archive as read
lost    what the board held is neither there nor in the archive, and no fault of the board took it
hang    the job did not end within MOST_SECONDS of virtual time
uncaught  an error that is not one of hostlink's own

expected is how many silent errors the voting rules let through on average, from the formulas of
tests/board/test_faulty_wire.py: for damage p a byte and B bytes of listing, and with
s(k) = 2 (p/3)^k + 255 (p/765)^k, a capture passes a wrong listing with B s(2) / (1-p)^2 (two
captures; B 255 (p/765)^2 / (1-p)^2 where free memory was asked too), 4 B s(3) or 5 B s(4); a load
with B (p/3)(2p/3)(2p/3), without echo or on a wire known to be damaged B (p/3) 4 (2p/3)^2.
"""

from __future__ import annotations

import contextlib
import os
import random
import tempfile
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from soak_drawn import FAULTS, a_board, a_program, fitting_profile, some_faults

import hostlink.jobs.session
from hostlink.archive import Archive, Origin
from hostlink.errors import HostlinkError
from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Image
from hostlink.firmware.plan import blank_padded
from hostlink.jobs.backup import backup
from hostlink.jobs.firmware import WriteRequest, write_firmware
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.material import Material
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session import LinkChoice, Session
from hostlink.link.clock import VirtualClock
from hostlink.listing import Listing
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort

MOST_SECONDS = 1800.0  # of virtual time, for one job
JOBS_IN_ARCHIVE = 250  # then a new one is begun
KINDS = ("load", "save", "backup", "firmware")
SHARES = (45, 30, 15, 10)  # of the kinds, in a hundred
_VECTORS = b"\x0c\x94\x40\x00" * 26  # JMP to word 0x0040, as an application begins
_BOOT = 512  # bytes of the bootloader's own section
_SLOTS = ("ONE", "TWO")

Lines = dict[int, str]


class Hang(Exception):
    """A job did not end in the time it may take."""


@dataclass
class Outcome:
    """How one job ended. error: "" where it was done. trouble: what must not have happened."""

    kind: str
    fault: str
    error: str = ""
    silent: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    hang: bool = False
    uncaught: str = ""
    expected: float = 0.0

    @property
    def done(self) -> bool:
        return not (self.error or self.hang or self.uncaught)

    @property
    def trouble(self) -> list[str]:
        return [*self.silent, *self.lost, *(["hang"] if self.hang else []),
                *([self.uncaught] if self.uncaught else [])]  # fmt: skip


# --- one job -------------------------------------------------------------------------------------


def texts(program: dict[int, bytes]) -> Lines:
    return {number: text.decode("latin-1") for number, text in program.items()}


def lines_of(text: str) -> Lines:
    return {number: line.text for number, line in Listing.from_text(text).numbered().items()}


class VirtualJob:
    """One job on one board with everything drawn from its seed.

    application_bytes: the part of flash that firmware is written to, smaller than a real chip's.
    """

    application_bytes = 1536

    def __init__(self, seed: int, archive: Archive, *, kind: str = "", fault: str = "") -> None:
        """kind, fault: in place of what the seed gives."""
        choose = self._choose = random.Random(seed)
        self.seed = seed
        self.archive = archive
        drawn = choose.choices(KINDS, SHARES)[0], choose.choice(FAULTS)
        self.kind, self.fault = kind or drawn[0], fault or drawn[1]
        self.faults = some_faults(choose, self.fault)
        self.settings = a_board(choose)
        self.profile = fitting_profile(self.settings, choose)
        self.clock = VirtualClock()
        self.machine = Machine(self.settings, self.faults)
        self.outcome = Outcome(self.kind, self.fault)
        self._fill_board()
        self.material = self._material()

    def _fill_board(self) -> None:
        choose, basic = self._choose, self.machine.basic
        full = self.kind != "load" or choose.random() < 0.5
        if full:
            text = a_program(choose, choose.choice([3, 5, 8, 12, 20, 40]))
            self._put(text)
        if self.kind in ("backup", "firmware"):
            for slot in _SLOTS[: choose.randrange(3)]:
                stored = lines_of(a_program(choose, choose.choice([2, 4, 6])))
                basic.eeprom[slot] = {n: text.encode("latin-1") for n, text in stored.items()}
        self.before = texts(dict(basic.lines))
        self.slots = {name: texts(dict(lines)) for name, lines in basic.eeprom.items()}
        self.flash = bytes(self.machine.chip.flash)

    def _put(self, text: str) -> None:
        basic = self.machine.basic
        basic.from_state(
            {**basic.to_state(), "lines": {str(n): t for n, t in lines_of(text).items()}}
        )

    def _material(self) -> Material:
        text = a_program(self._choose, self._choose.choice([3, 5, 8, 12, 20, 40]))
        name = f"P{self.seed}"
        return Material(name, name, text, text.encode(), "utf-8", Origin("file", f"{name}.bas"))

    def run(self) -> Outcome:
        """Do it, then look at everything behind the wire's back."""
        newest = self._newest_listing()
        try:
            with self._session() as session:
                self._do(session)
        except Hang:
            self.outcome.hang = True
        except HostlinkError as error:
            self.outcome.error = f"{type(error).__name__}: {error.what}"
            if not str(error).isprintable():
                self.outcome.uncaught = f"not fit to be shown: {error!r}"
        except Exception:  # noqa: BLE001 - what is looked for
            self.outcome.uncaught = traceback.format_exc().splitlines()[-1]
        self._look_for_losses(newest)
        return self.outcome

    @contextlib.contextmanager
    def _session(self) -> Iterator[Session]:
        def open_port(_name: str, baud: int) -> tuple[PracticePort, VirtualClock]:
            port = PracticePort(self.machine, self.clock, jump=self.clock.advance_to)
            port.baudrate = baud
            return port, self.clock

        def cancelled() -> bool:
            if self.clock.now() > MOST_SECONDS:
                raise Hang
            return False

        before = hostlink.jobs.session.open_port
        hostlink.jobs.session.open_port = open_port
        try:
            choice = LinkChoice("practice://soak", self.profile)
            with Session(choice, lambda _: None, cancelled, archive=self.archive) as session:
                yield session
        finally:
            hostlink.jobs.session.open_port = before

    def _do(self, session: Session) -> None:
        doing: dict[str, Callable[[Session], None]] = {
            "load": self._load,
            "save": self._save,
            "backup": self._backup,
            "firmware": self._firmware,
        }
        doing[self.kind](session)

    def _wrong(self, what: str) -> None:
        self.outcome.silent.append(f"seed {self.seed}: {what}")

    # --- each kind, and what must be true when it is called done ----------------------------------

    def _load(self, session: Session) -> None:
        load(session, self.archive, self.material, LoadOptions(despite_review=True))
        if texts(dict(self.machine.basic.lines)) != lines_of(self.material.text):
            self._wrong("called loaded, but the board holds something else")
        self.outcome.expected += self._expected_capture(session, self.before)
        self.outcome.expected += self._expected_load(session, lines_of(self.material.text))

    def _save(self, session: Session) -> None:
        saved = save(session, self.archive, SaveOptions(name=self.material.name))
        held = texts(dict(self.machine.basic.lines))
        if lines_of(self.archive.content(saved.revision).text) != held:
            self._wrong("called saved, but the board holds something else")
        self.outcome.expected += self._expected_capture(session, self.before)

    def _backup(self, session: Session) -> None:
        made = backup(session, self.archive)
        for item in made.backup.items:
            due = self.before if item.kind == "memory" else self.slots.get(item.slot)
            if lines_of(item.content.text) != due:
                self._wrong(f"called backed up, but {item.name} is something else")
        missing = set(self.slots) - {item.slot for item in made.backup.items} - set(made.unread)
        if missing:
            self._wrong("called backed up, but a stored program is left out without a word")
        if texts(dict(self.machine.basic.lines)) != self.before:
            self._wrong("called backed up, but memory is not as it was before")
        for program in (self.before, *self.slots.values()):
            self.outcome.expected += self._expected_capture(session, program)
        if self.slots:
            self.outcome.expected += self._expected_load(session, self.before)

    def _firmware(self, session: Session) -> None:
        flash = _VECTORS + self._choose.randbytes(self.application_bytes - 136) + b"\x01"
        chip = Chip(
            "ATmega328P",
            b"\x1e\x95\x0f",
            flash_bytes=self.application_bytes + _BOOT,
            boot_sizes=(_BOOT,),
        )
        image = Image("new.hex", flash, ((0, len(flash)),))
        request = WriteRequest(image, chip, _BOOT, "computer")
        written = write_firmware(session, self.archive, request)
        if bytes(self.machine.chip.flash[: request.end]) != blank_padded(flash, request.end):
            self._wrong("called written, but flash holds something else")
        if written.restored and texts(dict(self.machine.basic.lines)) != self.before:
            self._wrong("called put back, but memory is not as it was before")
        for program in (self.before, *self.slots.values()):
            self.outcome.expected += self._expected_capture(session, program)
        self.outcome.expected += 2 * self._expected_load(session, self.before)

    # --- whatever happened ------------------------------------------------------------------------

    def _newest_listing(self) -> int:
        with self.archive.reading("the newest listing") as db:
            return int(db.execute("SELECT coalesce(max(id), 0) FROM listings").fetchone()[0])

    def _look_for_losses(self, newest: int) -> None:
        """What the job put into the archive is true; what it took off the board is there."""
        with self.archive.reading("what was kept") as db:
            kept = [
                lines_of(row[0])
                for row in db.execute("SELECT text FROM listings WHERE id > ?", (newest,))
            ]
        true = [self.before, *self.slots.values(), lines_of(self.material.text)]
        for lines in kept:
            if lines not in true:
                self._wrong("a listing was kept that the board never held")
        now = texts(dict(self.machine.basic.lines))
        restarted = self.faults.restart_after_bytes > 0
        if self.before and now != self.before and self.before not in kept and not restarted:
            self.outcome.lost.append(f"seed {self.seed}: memory")
        stored = {name: texts(dict(lines)) for name, lines in self.machine.basic.eeprom.items()}
        for name, lines in self.slots.items():
            if stored.get(name) != lines and lines not in kept:
                self.outcome.lost.append(f"seed {self.seed}: stored {name}")
        self._look_at_flash()

    def _look_at_flash(self) -> None:
        end = len(self.flash) if self.kind != "firmware" else self.application_bytes
        if bytes(self.machine.chip.flash[:end]) == self.flash[:end]:
            return
        record = next(iter(self.archive.writes()), None)
        held = record.previous.flash if record is not None and record.previous else None
        if held is None or blank_padded(held, end) != self.flash[:end]:
            self.outcome.lost.append(f"seed {self.seed}: flash")

    # --- what the rules let through ---------------------------------------------------------------

    def _rate(self) -> float:
        return max(self.faults.to_board, self.faults.to_host)

    def _expected_capture(self, session: Session, program: Lines) -> float:
        need = session.dialogue.evidence.readings_needed()
        witness = bool(self.profile.commands.free_memory)
        return expected_in_capture(program, self._rate(), need, witness=witness)

    def _expected_load(self, session: Session, program: Lines) -> float:
        stored, mended = self._rate() / 3, 2 * self._rate() / 3
        if self.settings.echo and session.dialogue.evidence.is_clean:
            return size_of(program) * stored * mended * mended
        return size_of(program) * stored * (mended if self.settings.echo else 1) * 4 * mended**2


def size_of(program: Lines) -> int:
    return sum(len(f"{number} {text}") + 2 for number, text in program.items())


def expected_in_capture(program: Lines, p: float, need: int, *, witness: bool) -> float:
    """How many wrong readings of a program are accepted, on average. witness: of free memory."""
    share = undetected_share(p, need)
    if need > 2 or not witness:
        return size_of(program) * share
    flipped = size_of(program) * 255 * (p / 765) ** 2 / (1 - p) ** 2
    # The digits of line numbers cost the board the same memory however many they are.
    return flipped + sum(len(str(number)) for number in program) * share


def undetected_share(p: float, need: int) -> float:
    """For each byte of a listing, the chance that a wrong reading is accepted."""

    def alike(times: int) -> float:
        return 2 * (p / 3) ** times + 255 * (p / 765) ** times

    if need == 2:
        return alike(2) / (1 - p) ** 2
    return 4 * alike(3) if need == 3 else 5 * alike(4)


def in_memory() -> Path | None:
    """Where files stand in memory only, None where the system has no such place."""
    memory = Path("/dev/shm")
    return memory if os.access(memory, os.W_OK) else None


def run_jobs(first: int, count: int) -> list[Outcome]:
    """Jobs by their seeds, on archives in memory where the system has files there."""
    outcomes = []
    for begin in range(first, first + count, JOBS_IN_ARCHIVE):
        with (
            tempfile.TemporaryDirectory(prefix="hostlink-soak-", dir=in_memory()) as name,
            Archive.open(Path(name) / "archive.sqlite3") as archive,
        ):
            end = min(begin + JOBS_IN_ARCHIVE, first + count)
            outcomes += [VirtualJob(seed, archive).run() for seed in range(begin, end)]
            if findings := archive.prove().findings:
                outcomes[-1].uncaught = f"the archive is damaged: {findings[0]}"
    return outcomes
