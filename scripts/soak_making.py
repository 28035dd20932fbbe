"""One virtual job as it is drawn from its number: its board, its profile, its programs.

What a plain job is comes from `random.Random(number)`, drawn in the order of old, so that it stays
the same job for ever; what the kind of its board puts over that comes from numbers of its own.
"""

from __future__ import annotations

import dataclasses
import random
from typing import Any

from soak_boards import PLAIN, Drawn, drawn_board, kind_of, with_lie, with_manner, with_wrong
from soak_boards import Kind as SoakKind
from soak_doing import CAN_BE_TOO_HARD, HAS_SLOTS, NEEDS_A_PROGRAM, PLAIN_SHARES, SHARES, SLOT
from soak_drawn import (
    FAULTS,
    Knowledge,
    a_board,
    a_program,
    fitting_profile,
    some_faults,
    some_knowledge,
)
from soak_kinds import profile_of, with_knowledge
from soak_truth import Lines, lines_of

from hostlink.archive import Origin
from hostlink.board.profile.model import Profile
from hostlink.jobs.listing_source import Material
from hostlink.practice.basic import Basic
from hostlink.practice.eeprom import ONLY
from hostlink.practice.kind import BoardKind, KindLanguage, KindStorage
from hostlink.practice.kind_file import find_kind
from hostlink.practice.machine import Machine
from hostlink.practice.storing import storing

PROGRAM_BYTES = 3000  # of every kind, so that programs fit
FORGETS_EVERY = (3, 7, 12)  # lines stored
LATEST_FLOOD = 900  # bytes typed before it, so that some jobs come to their end
LONG = 80  # characters of a line that is too long for any board here
APPLICATION_BYTES = 1536  # the part of flash that firmware is written to, smaller than a real one
SMALL_APPLICATION_BYTES = 384
_VECTORS = b"\x0c\x94\x40\x00" * 26  # JMP to word 0x0040, as an application begins
_PAGE = 128  # bytes of flash
_SIZES = (3, 5, 8, 12, 20, 40)  # lines of a program
_SLOTS = ("ONE", "TWO")
_FOLDING = storing(KindStorage(case="statements"), KindLanguage())


def whole(number: int, fault: str = "") -> dict[str, Any]:
    """What a job of the soak is: its kind, its fault and its board. fault: instead of a drawn one.

    Give it to VirtualJob. A job without it is on a plain board, drawn by its number alone.
    """
    choose = random.Random(f"whole {number}")
    kind = choose.choices(list(SHARES), list(SHARES.values()))[0]
    drawn = choose.choice(FAULTS)
    return {"kind": kind, "fault": fault or drawn, "drawn": drawn_board(choose)}


class Making:
    """Draws one job. kind, fault: in place of what the number gives. drawn: which board.

    settings, faults, profile: of the board. material: what is loaded, or saved as. flash: the image
    to be written. puts_slot: whether a backup that is put back has a stored program. fair: whether
    board, profile and job are such that it can succeed.
    """

    def __init__(self, number: int, kind: str = "", fault: str = "", drawn: Drawn = PLAIN) -> None:
        choose, self._other = random.Random(number), random.Random(f"board {number}")
        plain = choose.choices(list(PLAIN_SHARES), list(PLAIN_SHARES.values()))[0]
        plain_fault = choose.choice(FAULTS)
        self.number, self.drawn = number, drawn
        self.kind, self.fault = kind or plain, fault or plain_fault
        self.application_bytes = SMALL_APPLICATION_BYTES if drawn.small_chip else APPLICATION_BYTES
        self.faults = some_faults(choose, self.fault)
        plain_board = a_board(choose)
        known = some_knowledge(choose)
        kind_of_board = kind_of(drawn.kind)
        practice = kind_of_board.practice
        self.board = find_kind(practice) if practice else BoardKind(settings=plain_board)
        self._draw_programs(choose)
        self.settings = with_manner(self.board.settings, kind_of_board, self._other)
        if practice:
            self.settings = dataclasses.replace(
                self.settings, program_bytes=PROGRAM_BYTES, latency_ms=plain_board.latency_ms
            )
        self._draw_faults(kind_of_board)
        too_hard = drawn.hard and self.kind in (CAN_BE_TOO_HARD if not practice else ("load",))
        is_emptied = self.settings.restarts_on_open and self.kind in NEEDS_A_PROGRAM
        if too_hard:
            self._make_too_hard()
        asks = known.asks or kind_of_board.needs_question
        # Neither an echo nor a figure shows that such a board holds nothing: then hostlink may ask.
        is_unsure = not (self._held or asks or self.settings.echo)
        self.fair = drawn.fair and not (too_hard or is_emptied or is_unsure)
        self.board = dataclasses.replace(self.board, settings=self.settings)
        self.profile = self._draw_profile(dataclasses.replace(known, asks=asks))
        if practice:
            self.fair = self.fair and self._can_be_done()

    def _draw_faults(self, kind_of_board: SoakKind) -> None:
        """What the kind of board puts over the faults that any board may have."""
        drawn = self.drawn
        if drawn is not PLAIN and self.faults.flood_after_bytes:
            late = self._other.randrange(1, LATEST_FLOOD)
            self.faults = dataclasses.replace(self.faults, flood_after_bytes=late)
        self.faults = with_lie(self.faults, kind_of_board, drawn, self._other)
        if drawn.forgets:
            every = self._other.choice(FORGETS_EVERY)
            self.faults = dataclasses.replace(self.faults, forgets_every=every)

    def _draw_profile(self, known: Knowledge) -> Profile:
        """What the profile says: it fits, but for one value where that is to be wrong."""
        if kind_of(self.drawn.kind).practice:
            profile = with_knowledge(profile_of(self.board), known)
        else:
            profile = fitting_profile(self.settings, known)
        wrong = self.drawn.wrong
        return with_wrong(profile, wrong, self._other) if wrong else profile

    def _draw_programs(self, choose: random.Random) -> None:
        """What the board holds, what is to be loaded, and the image to be written."""
        full = self.kind != "load" or choose.random() < 0.5
        self._held = a_program(choose, choose.choice(_SIZES)) if full else ""
        self._stored: dict[str, str] = {}
        if self.kind in HAS_SLOTS:
            count = choose.randrange(3)
            for slot in _SLOTS[: max(count, 1) if self.kind == "recall" else count]:
                self._stored[slot] = a_program(choose, choose.choice([2, 4, 6]))
            if self.board.shelf.slots != "named":
                last = list(self._stored.values())[:1] if self.board.shelf.slots == "one" else []
                self._stored = dict.fromkeys([ONLY] * len(last), "".join(last))
        text = a_program(choose, choose.choice(_SIZES))
        self.flash = b""
        if self.kind == "firmware":
            self.flash = _VECTORS + choose.randbytes(self.application_bytes - 136) + b"\x01"
        self.puts_slot = self._other.random() < 0.5
        if self.drawn.small_letters:
            self._held, text = self._smaller(self._held), self._smaller(text)
            self._stored = {name: self._smaller(each) for name, each in self._stored.items()}
        self._held, text = self._taken(self._held), self._taken(text)
        self._stored = {name: self._taken(each) for name, each in self._stored.items()}
        name = f"P{self.number}"
        self.material = Material(name, name, text, text.encode(), "utf-8", Origin("file", name))

    def _taken(self, text: str) -> str:
        """A listing without the lines that a board which checks them refuses."""
        if not self.board.storage.checked:
            return text
        board = Basic(self.board)
        rows = text.splitlines(keepends=True)
        for row in rows:
            list(board.enter(row.rstrip().encode("latin-1")))
        return "".join(row for row in rows if int(row.split()[0]) in board.lines)

    def _can_be_done(self) -> bool:
        """Whether a kind of practice board can do the job at all, and nothing starts by itself."""
        shelf = self.board.shelf
        restarts = self.kind in ("firmware", "restart") or self.fault in ("restart", "mixture")
        starts = bool(shelf.slots == "one" and shelf.runs_at_start and self._stored)
        has_place = shelf.slots != "none" or self.kind not in ("store", "recall", "putback")
        # An empty place of such a board is refused like a wrong word, so the user has to be asked.
        asks = shelf.shows == "nothing" and self.kind in ("store", "putback") and not self._stored
        has_loader = self.settings.bootloader or self.kind != "firmware"
        return has_place and has_loader and not asks and not (restarts and starts)

    @property
    def slot(self) -> str:
        """Where this board keeps what is stored as SLOT."""
        return ONLY if self.board.shelf.slots == "one" else SLOT

    def _smaller(self, text: str) -> str:
        """A listing with half of its lines in small letters."""
        rows = text.splitlines(keepends=True)
        return "".join(row.lower() if self._other.random() < 0.5 else row for row in rows)

    def _make_too_hard(self) -> None:
        """Something that this board cannot do, so that a job which says it did is a lie."""
        if self.kind == "firmware":
            flash = Machine(self.settings).chip.flash
            worn = [at // _PAGE + 1 for at in range(0, len(self.flash), _PAGE)
                    if flash[at] != self.flash[at]]  # fmt: skip
            self.faults = dataclasses.replace(self.faults, worn_page=self._other.choice(worn))
            return
        if self.kind == "store":
            self.settings = dataclasses.replace(self.settings, eeprom_bytes=self._shelf() + 20)
            return
        needed, held = self._cost(self.material.text), [self._held, *self._stored.values()]
        least = max(map(self._cost, held))
        if needed > least + 1 and self._other.random() < 0.5:
            size = self._other.randrange(least + 1, needed)
            self.settings = dataclasses.replace(self.settings, program_bytes=size)
            return
        too_many = max(LONG, self.board.settings.longest_line)
        text = self.material.text + f'5000 PRINT "{"Z" * too_many}"\n'
        self.material = dataclasses.replace(self.material, text=text, raw=text.encode())

    def _cost(self, text: str) -> int:
        rules = storing(self.board.storage, self.board.language)
        return rules.program_bytes({n: line.encode() for n, line in self._typed(text).items()})

    def _shelf(self) -> int:
        """Bytes of EEPROM that what is stored takes."""
        return sum(len(name) + 3 + self._cost(text) for name, text in self._stored.items())

    def _typed(self, text: str) -> Lines:
        """What the board holds of a listing, with the blank after a number where it keeps that."""
        blank = " " if self.board.storage.blanks == "kept" else ""
        return {n: blank + line for n, line in self.as_stored(lines_of(text)).items()}

    def as_stored(self, lines: Lines) -> Lines:
        """What this board holds when these lines are typed: it folds each letter as it comes."""
        if self.board.name != "practice":
            rules = storing(self.board.storage, self.board.language)
            return {
                number: rules.kept(text.encode("latin-1")).decode("latin-1")
                for number, text in lines.items()
            }
        if not self.settings.fold_case:
            return lines
        stored: Lines = {}
        for number, text in lines.items():
            line = b""
            for byte in text.encode("latin-1"):
                folds = _FOLDING.folded(line + b"a").endswith(b"A")
                line += bytes((byte,)).upper() if folds else bytes((byte,))
            stored[number] = line.decode("latin-1")
        return stored

    def machine(self) -> Machine:
        """The board, holding what it holds before the job."""
        machine = Machine(self.settings, self.faults, kind=self.board)
        programs = {"": self._held, **self._stored}
        written = {
            name: {str(n): line for n, line in self._typed(text).items()}
            for name, text in programs.items()
        }
        held = {
            **machine.basic.to_state(),
            "lines": written.pop(""),
            "eeprom": written,
            "answered": True,
        }
        machine.basic.from_state(held)
        if self.board.messages.questions:
            machine.resume()  # past the questions of its start
        return machine
