"""Reading and writing one stored program, for backup and putback: asked with care, captured proven.

Recalling overwrites the program in memory: the caller has captured that before, and puts it back.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress

from hostlink.board.captures import Tally
from hostlink.board.events import Phase
from hostlink.board.listed import rows_of, shown
from hostlink.board.loading import Loader
from hostlink.errors import HostlinkError, ReadBackError, RefusedError
from hostlink.jobs.session import Session
from hostlink.jobs.slots import stored
from hostlink.link.exchange import Reach
from hostlink.listing import Line, canonical_lines

_RECALLS = 3  # times that a stored program is asked for, where nothing comes
_SLOW = Reach(silence_s=8.0)  # a kilobyte of EEPROM takes about 3.5 s to write
_PLAIN_WORD = re.compile(r"[A-Za-z0-9_.-]{1,32}")

Lines = Mapping[int, Line]


def slot_names(session: Session) -> tuple[str, ...]:
    """The stored programs: those that the board lists, else those that its profile names."""
    commands = session.profile.commands
    if not commands.recall:
        return ()
    if commands.stored:
        return tuple(slot.name for slot in stored(session))
    return commands.slots


def recalled(session: Session, name: str) -> Tally:
    """Recall a stored program into memory and capture it. Raises RefusedError if it will not.

    Memory is cleared before, so that a recall that came to nothing (its command damaged, the board
    restarted) is never taken for what was in memory; then it is asked again.
    """
    session.emit(Phase(f"Reading what is stored as {shown(name)}"))
    health = session.wire.health
    result = Tally(0, {}, (), True)
    for _ in range(_RECALLS):
        restarts = health.restarts
        if session.profile.commands.clear:
            session.dialogue.clear()
        _ask(session, "recall", "recall a stored program", name)
        result = session.dialogue.capture()
        if result.lines and health.restarts == restarts:
            break
    return result


def store_proven(session: Session, name: str, lines: Lines) -> None:
    """Store what memory holds, which is `lines`, and prove it by recalling it."""
    session.emit(Phase(f"Storing as {shown(name)}"))
    _ask(session, "store", "store a program", name)
    if not session.profile.commands.recall:
        return
    if not same_program(session, recalled(session, name).lines, lines):
        raise ReadBackError(
            f"What the board stored as {shown(name)} differs from what was put back.",
            kept="The backup is unchanged.",
            advice="Put it back again; the EEPROM may be worn out.",
        )


def put_into_memory(session: Session, lines: Lines) -> None:
    """Make memory hold `lines`, whatever it holds; proven by reading it back."""
    if lines:
        Loader(session.dialogue, lines).load()
    else:
        session.dialogue.clear()
        Loader(session.dialogue, lines).load({})  # nothing to send: reads back that it is empty
    session.memory_is_known()


def same_program(session: Session, one: Lines, other: Lines) -> bool:
    """Whether two listings are the same program for this kind of board."""
    rules = session.profile.rules
    return canonical_lines(one, rules) == canonical_lines(other, rules)


def memory_after(session: Session, error: HostlinkError, lines: Lines, spec: str) -> None:
    """After a job was cut short: try to put memory back, and let the error say how that went."""
    cancelled = session.wire.cancelled
    session.wire.cancelled = lambda: False
    back = False
    try:
        with suppress(HostlinkError):
            session.dialogue.regain(may_interrupt=True)
            put_into_memory(session, lines)
            back = True
    finally:
        session.wire.cancelled = cancelled
    if back:
        state = "Memory holds what it held before."
    elif spec:
        state = f"Memory may hold another program; what it held is kept as {spec}."
    else:
        state = "Memory, which was empty, may hold a stored program."
    error.kept = f"{error.kept} {state}".strip()


def _ask(session: Session, command: str, what: str, name: str) -> None:
    """Type a slot command. Raises RefusedError with the board's own words."""
    text = session.dialogue.can(command, what).format(name=_checked(session, name))
    answer = session.dialogue.ask(text, _SLOW)
    for row in rows_of(answer):
        if row.startswith(tuple(session.profile.commands.error_words)):
            raise RefusedError(f'The board refused to {what}: "{shown(row)}".')


def _checked(session: Session, name: str) -> str:
    """A slot's name fit to be typed: one that the profile has, or a plain word.

    Names in an archive or from a board are data; with a sign such as `:` in it the rest of a name
    would be a statement of its own.
    """
    slots = session.profile.commands.slots
    if name in slots if slots else _PLAIN_WORD.fullmatch(name):
        return name
    raise RefusedError(
        f'Boards of profile {session.profile.name} cannot have "{shown(name)}" stored.'
    )
