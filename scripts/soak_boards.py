"""The kinds of board that virtual jobs are drawn from, as data: manners, lies, wrong profiles.

To add a kind: a row in MANNERS (what an honest board does; `soak_drawn.fitting_profile` says what a
profile rightly tells of it), in LIES (what a board says that is not so), or in WRONG (a value of a
profile, and what else it may be). Nothing else names a kind.
"""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from hostlink.board.profile.model import Profile
from hostlink.practice.faults import Faults
from hostlink.practice.kind_file import kind_names
from hostlink.practice.settings import BoardSettings

FOR_EVER = 1_000_000
CAPTURES_OF_NOTHING = 3  # what hostlink takes at the least where it has heard as little as this

Values = Mapping[str, Sequence[Any]]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of board. settings, faults: fields of BoardSettings and Faults, each with the values
    that one is drawn from. needs_question: it is a lie only where the free memory is asked for.
    practice: the kind of practice board that it is, "" for one with nothing odd about it."""

    name: str
    settings: Values = field(default_factory=dict)
    faults: Values = field(default_factory=dict)
    needs_question: bool = False
    practice: str = ""


MANNERS = (
    Kind("plain"),
    Kind("polled", {"transmit_buffer": (0,)}),
    Kind("slow characters", {"char_ms": (0.3, 1.0, 3.0)}),
    Kind("wraps", {"wrap_ms": (4.0, 20.0), "screen_width": (20, 40)}),
    Kind("folds case", {"fold_case": (True,)}),
    Kind("pages", {"page_lines": (2, 4, 10)}),
    Kind("late prompt", {"prompt_late_ms": (20.0, 150.0, 300.0)}),
    Kind("restarts when opened", {"restarts_on_open": (True,)}),
    *(Kind(f"kind {name}", practice=name) for name in kind_names() if name != "practice"),
)

LIES = (
    Kind("skips a line", faults={"skipped_line": (1, 2, 3, 5)}),
    Kind("skips now and then", faults={"skipped_line": (1, 2, 3), "lies_every": (2, 3)}),
    Kind("repeats a line", faults={"repeated_line": (1, 2, 3), "lies_every": (1, 2)}),
    Kind("refuses to list", faults={"refused_lists": (1, 1, 2, 2, 3, 5, 8, FOR_EVER)}),
    Kind("lists nothing", faults={"empty_lists": (1, 1, 2, 2, 3, 5, FOR_EVER)}),
    Kind("false free memory", faults={"free_bytes_off": (1, 26, 200, 9999)}, needs_question=True),
    Kind("prompts before it lists", {"prompts_first": (True,)}),
)

# What else a value of a profile may be. The one that it is already is never drawn.
WRONG: Values = {
    "talk.baud": (2400, 9600, 57600),
    "talk.echo": (True, False),
    "talk.line_end": (b"\n", b"\r\n"),
    "talk.reply_end": (b"\n", b"\n\r"),
    "talk.prompt": (b"> ", b"+", b""),
    "talk.line_done": ("echo", "prompt", "after-prompt"),
    "talk.receive_buffer": (0, 40, 255),
    "talk.line_ms": (0.0, 1.0, 300.0),
    "talk.char_ms": (0.0, 5.0),
    "talk.line_window": (0, 1, 40),
    "talk.flow": ("xon-xoff",),
    "talk.line_cancel": (b"", b"\x18"),
    "talk.erase": (b"", b"\x7f"),
    "talk.interrupt": (b"", b"\x1b"),
    "talk.banner": ("", "some other board"),
    "talk.restarts_on_open": (True, False),
    "talk.restart_ms": (50.0, 5000.0),
    "talk.page_prompt": ("", "MORE?"),
    "talk.ready": (b"OK\r\n", b"READY\r\n"),
    "commands.list": ("SHOW", "LIST ALL"),
    "commands.answer_rows": (("OK",), ("READY",)),
    "commands.free_answer": ("{free} bytes",),
    "commands.clear": ("SCRATCH", "SCR"),
    "commands.free_memory": ("PRINT SIZE", "PRINT 77"),
    "commands.store": ("SAVE {name}",),
    "commands.recall": ("LOAD {name}",),
    "commands.stored": ("CATALOG", "SHELF"),
    "commands.error_words": ((), ("ERROR",)),
    "rules.form.case": ("kept", "upper"),
    "rules.form.spacing": ("kept", "free"),
    "rules.form.list_form": ("{number}: {text}", "{number}| {text}"),
    "rules.form.longest_line": (30, 0),
    "rules.storage.program_bytes": (0, 999, 2999),
    "rules.storage.number_bytes": (3,),
    "rules.storage.blank_after_number": ("kept",),
}

# Decision: of a hundred boards so many lie, and of so many one value of the profile is wrong; the
# others are as their profile says. Each of these three is a board by itself: two untruths at once
# may agree with each other, and then nobody could tell.
OF_A_HUNDRED = {"honest": 68, "lie": 16, "wrong": 16}


@dataclass(frozen=True, slots=True)
class Drawn:
    """Which board a job is on. kind: its manner or its lie. wrong: the profile's wrong value, "".

    hard: the job is one that this board cannot do (a line too long, too little memory, a worn page
    of flash). kept: the archive has the board's program before. escapes: the board's words carry
    control characters. small_letters: programs hold some. small_chip: its flash is small enough to
    be written over a wire that damages one byte in a hundred. forgets: now and then it loses a line
    that it called stored, which only reading it back can show.
    """

    kind: str = "plain"
    wrong: str = ""
    hard: bool = False
    kept: bool = False
    escapes: bool = False
    small_letters: bool = False
    small_chip: bool = False
    forgets: bool = False

    @property
    def lies(self) -> bool:
        return any(self.kind == lie.name for lie in LIES)

    @property
    def fair(self) -> bool:
        """Whether the board is as its profile says, and the job one that it can do."""
        return not (self.lies or self.wrong or self.hard or self.forgets)

    @property
    def name(self) -> str:
        """How the board is called in a table."""
        return f"wrong {self.wrong}" if self.wrong else self.kind


PLAIN = Drawn()
NAMES = (*(kind.name for kind in (*MANNERS, *LIES)), *(f"wrong {path}" for path in WRONG))


def drawn_board(choose: random.Random) -> Drawn:
    """Draw a board of every kind there is."""
    sort = choose.choices(list(OF_A_HUNDRED), list(OF_A_HUNDRED.values()))[0]
    kind = choose.choice(LIES if sort == "lie" else MANNERS).name
    wrong = choose.choice(list(WRONG)) if sort == "wrong" else ""
    return Drawn(
        kind,
        wrong,
        hard=choose.random() < 0.2,
        kept=choose.random() < 0.25,
        escapes=choose.random() < 0.5,
        small_letters=choose.random() < 0.4,
        small_chip=choose.random() < 0.6,
        forgets=choose.random() < 0.2,
    )


def kind_of(name: str) -> Kind:
    """The kind of that name."""
    return next(kind for kind in (*MANNERS, *LIES) if kind.name == name)


def with_manner(board: BoardSettings, kind: Kind, choose: random.Random) -> BoardSettings:
    """A board with the settings of a kind."""
    return dataclasses.replace(board, **picked(kind.settings, choose))


def with_lie(faults: Faults, kind: Kind, drawn: Drawn, choose: random.Random) -> Faults:
    """Faults with those of a kind, and the board's control characters."""
    return dataclasses.replace(faults, **picked(kind.faults, choose), escapes=drawn.escapes)


def picked(values: Values, choose: random.Random) -> dict[str, Any]:
    """One of the values of each field."""
    return {name: choose.choice(each) for name, each in values.items()}


def with_wrong(profile: Profile, path: str, choose: random.Random) -> Profile:
    """A profile of which the value at a path ("talk.echo") is another one."""
    *outer, name = path.split(".")
    holders: list[Any] = [profile]
    for part in outer:
        holders.append(getattr(holders[-1], part))
    is_now = getattr(holders[-1], name)
    value = choose.choice([other for other in WRONG[path] if other != is_now])
    for part, holder in zip([name, *reversed(outer)], reversed(holders), strict=True):
        value = dataclasses.replace(holder, **{part: value})
    changed: Profile = value
    return changed


def is_beyond_any_host(drawn: Drawn, faults: Faults, *, asks: bool) -> bool:
    """Whether what this board says is untrue in a way that no host could notice.

    A board is only known by what it says. Where it leaves out the same line each time, or lists
    nothing as often as it is asked though LIST was echoed and answered, every capture agrees with
    every other, and a board with one line less, or with none, would say the same, byte for byte.
    Only a second witness can contradict: the question for the free memory, which not every profile
    knows. Where it is asked, or where the board says something else from time to time, the lie can
    be noticed. A board without echo must also refuse a word that no BASIC knows, and this one does.

    asks: whether the profile has that question.
    """
    skips = faults.skipped_line > 0 and faults.lies_every <= 1
    silent = faults.empty_lists >= CAPTURES_OF_NOTHING
    return drawn.lies and not asks and (skips or silent)
