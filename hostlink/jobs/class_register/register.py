"""Read a class register: a TOML file that says who learns, at which board, with which handout.

    title = "Tuesday evening"
    hand_out = "TIDE"

    [[learner]]
    name = "Ada Brook"
    board = "Red"

`board` is a label, the serial number of a bridge, a port or an address. A learner may have a
`hand_out` of their own, and a `program`, the name under which their work is kept. Every fault is
reported with its line, unknown keys too: a misspelt key would have no effect.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hostlink.archive import Archive
from hostlink.archive.names import LONGEST_NAME, is_program_name
from hostlink.archive.records import LEARNER
from hostlink.board.profile.lines import key_lines, line_of_key
from hostlink.board.profile.toml_file import LARGEST_FILE, FileFaults, parse_toml, toml_text
from hostlink.errors import RegisterError
from hostlink.jobs.files import read_bytes
from hostlink.jobs.listing_source import SHIPPED, is_file, program_name
from hostlink.sentences import no_name_of
from hostlink.words import fold, natural, nearest, safe

MOST_LEARNERS = 200
LONGEST_TEXT = 200  # characters
LONGEST_PERSON = 60  # characters of a name
_TOP = ("title", "hand_out", "learner")
_KEYS = ("name", "board", "program", "hand_out")


@dataclass(frozen=True, slots=True)
class Learner:
    """One learner of a class.

    name: the person's. program: the name under which their work is kept. board: as in the file, ""
    for none yet. hand_out: the listing to hand out, "" for none.
    """

    name: str
    program: str
    board: str = ""
    hand_out: str = ""


@dataclass(frozen=True, slots=True)
class Register:
    """A class register, its learners in natural order of their names."""

    path: Path
    title: str
    learners: tuple[Learner, ...]


def read_register(path: Path) -> Register:
    """Return the register in a file. Raises RegisterError with all faults, each with its line."""
    name = safe(str(path))
    text = toml_text(read_bytes(path, LARGEST_FILE), name, RegisterError)
    document = parse_toml(text, name, RegisterError)
    faults = FileFaults(name, key_lines(text), RegisterError)
    title = _text(document, "title", faults)
    common = _text(document, "hand_out", faults)
    _check_keys(document, _TOP, faults)
    tables = document.get("learner", [])
    if not (isinstance(tables, list) and all(isinstance(each, dict) for each in tables)):
        faults.add(("learner",), "each learner has a table of their own, headed [[learner]]")
        tables = []
    elif not tables:
        faults.add((), "there is no [[learner]], so the class is empty")
    elif len(tables) > MOST_LEARNERS:
        faults.add(("learner",), f"a class has at most {MOST_LEARNERS} learners")
        tables = []
    found = [_learner(path, table, str(at), common, faults) for at, table in enumerate(tables)]
    _check_different(found, faults)
    faults.check()
    learners = sorted(found, key=lambda learner: natural(learner.name))
    return Register(path, title or path.stem, tuple(learners))


def check_programs(archive: Archive, register: Register) -> None:
    """Raise RegisterError if a learner's program name is that of a program without a learner."""
    kept = {fold(each.name): each for each in archive.programs(retired=None)}
    for learner in register.learners:
        program = kept.get(fold(learner.program))
        if program is not None and LEARNER not in program.tags:
            raise RegisterError(
                f"{program.name} is the name of another program, not of {learner.name}'s work.",
                kept="Nothing was sent or kept.",
                advice=f'Choose another name in {register.path}: program = "…".',
            )


def _learner(
    path: Path, table: dict[str, Any], at: str, common: str, faults: FileFaults
) -> Learner:
    _check_keys(table, _KEYS, faults, "learner", at)
    name = _text(table, "name", faults, "learner", at)
    if "name" not in table:
        faults.add(("learner", at), 'a learner needs a name: name = "…"')
    elif len(name) > LONGEST_PERSON:
        faults.add(("learner", at, "name"), f"a name has at most {LONGEST_PERSON} characters")
    program = _text(table, "program", faults, "learner", at)
    made = program or program_name(name)
    if name and len(name) <= LONGEST_PERSON and not is_program_name(made):
        says = f'{safe(name)} needs a program name in plain letters: program = "…"'
        if program:
            says = f"{no_name_of('program', program)}: use at most {LONGEST_NAME} characters, no @"
        faults.add(("learner", at, "program" if program else "name"), says)
    what = _text(table, "hand_out", faults, "learner", at) or common
    beside = path.parent / what  # the name of a file counts from the folder of the register
    if what and not what.startswith(SHIPPED) and is_file(beside):
        what = str(beside)
    return Learner(name, made, _text(table, "board", faults, "learner", at), what)


def _text(table: dict[str, Any], key: str, faults: FileFaults, *where: str) -> str:
    """Return the text of a key, "" without one; add a fault if it is not a text."""
    value = table.get(key, "")
    if isinstance(value, str) and value.isprintable() and len(value) <= LONGEST_TEXT:
        if key in table and not value.strip():
            faults.add((*where, key), f"{key} is empty")
        return value.strip()
    says = f"{key} must be text in quotation marks, one line of at most {LONGEST_TEXT} characters"
    faults.add((*where, key), says)
    return ""


def _check_keys(
    table: dict[str, Any], known: tuple[str, ...], faults: FileFaults, *where: str
) -> None:
    for key in table:
        if key in known:
            continue
        near = nearest(key, known, 1)
        meant = f"; did you mean {near[0]}?" if near else f"; the keys are {', '.join(known)}"
        faults.add((*where, key), f'"{safe(key[:40])}" is not a key of a register{meant}')


def _check_different(learners: list[Learner], faults: FileFaults) -> None:
    """Add a fault for each name, program or board that an earlier learner has.

    Learners of the same name get only the fault for the name, not one for the program.
    """
    for key, has in (("name", "name"), ("program", "program name"), ("board", "board")):
        first: dict[str, int] = {}
        for at, learner in enumerate(learners):
            value = getattr(learner, key)
            before = first.setdefault(fold(value), at) if value else at
            is_told = key == "program" and fold(learners[before].name) == fold(learner.name)
            if before != at and not is_told:
                line = line_of_key(faults.lines, _place(faults, before, key))
                says = f"the learner in line {line} also has the {has} {safe(value)}"
                faults.add(_place(faults, at, key), says)


def _place(faults: FileFaults, at: int, key: str) -> tuple[str, ...]:
    """Return the path of a learner's key, or that of the name from which a program is made."""
    own = ("learner", str(at), key)
    return own if own in faults.lines else (*own[:2], "name")
