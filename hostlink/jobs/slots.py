"""Programs stored in a board's EEPROM: list, store, recall. Nothing is overwritten unsaved.

Recalling overwrites the program in memory, and storing may overwrite a slot. So what is there is
captured and kept first; a slot can only be read by recalling it, and then memory is put back.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass

from hostlink.archive import Archive, Board, Revision
from hostlink.board.events import Phase, Warned
from hostlink.board.listed import rows_of, shown
from hostlink.board.loading import Loader
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.attaching import as_known
from hostlink.jobs.rescuing import NOTHING, Held, forget_copy, held_content, rescue_held
from hostlink.jobs.session import Session
from hostlink.link.exchange import Reach
from hostlink.listing import canonical_lines

# ATmega328P data sheet DS40002061A, features: 100,000 EEPROM write/erase cycles.
WEAR_WARNING = (
    "Each store wears the EEPROM a little; the ATmega328P's is made for 100,000 writes of a byte."
)
_SLOW = Reach(silence_s=8.0)  # a kilobyte of EEPROM takes about 3.5 s to write
_MOST_LISTS = 7  # times the board is asked what it has stored


@dataclass(frozen=True, slots=True)
class Slot:
    """A stored program: its name and whatever else the board says of it."""

    name: str
    row: str


def stored(session: Session) -> list[Slot]:
    """The programs stored in the board, as two answers of it agree.

    A name damaged on the wire would hide what a slot holds from whoever is about to overwrite it.
    Raises RefusedError where its kind has no such list, ReadBackError where no two answers agree.
    """
    session.attach()
    command = session.dialogue.can("stored", "list stored programs")
    heard: set[tuple[str, ...]] = set()
    for _ in range(_MOST_LISTS):
        answer = session.dialogue.ask(command)
        rows = tuple(row.strip() for row in rows_of(answer) if row.strip())
        if rows in heard:
            _refuse_errors(session, answer)
            return [Slot(row.split()[0], row) for row in rows]
        heard.add(rows)
    raise ReadBackError(
        f"The board was asked {_MOST_LISTS} times what it has stored, and no two answers agree.",
        kept="Nothing on the board was changed.",
        advice="Check the cable and the speed, then try again.",
    )


def listed(session: Session) -> list[Slot]:
    """The stored programs as `stored` tells them, or the slots that this kind of board has."""
    commands = session.profile.commands
    if commands.slots and not commands.stored:
        session.attach()
        return [Slot(name, "") for name in commands.slots]
    return stored(session)


def store(session: Session, archive: Archive, name: str) -> Held:
    """Store the program in memory under `name`; returns what the slot held before.

    Proven by recalling it. Raises RefusedError with the board's own words where it will not.
    """
    command = session.dialogue.can("store", "store a program").format(name=_checked(session, name))
    board = _board(session, archive)
    with archive.event("store", board_uuid=board.uuid, detail={"slot": name}) as record:
        memory = rescue_held(session, archive, board)
        if not memory.lines:
            raise RefusedError("The board holds no program to store.", kept="Nothing was changed.")
        with _memory_kept_as(session, archive, board, memory):
            before = NOTHING
            if name.casefold() in _names(session):
                before = _look_into(session, archive, name, memory)
                record.detail["slot_held"] = before.spec
            session.emit(Phase(f"Storing as {name}"))
            session.emit(Warned(WEAR_WARNING))
            _refuse_errors(session, session.dialogue.ask(command, _SLOW))
            _prove(session, archive, name, memory)
        record.detail["stored"] = memory.spec
        return before


def recall(session: Session, archive: Archive, name: str) -> Held:
    """Bring a stored program into memory; returns it, captured. Memory is rescued first.

    spec of what is returned: the revision or rescue that is the same program, "" if none is.
    """
    command = session.dialogue.can("recall", "recall a stored program")
    command = command.format(name=_checked(session, name))
    board = _board(session, archive)
    with archive.event("recall", board_uuid=board.uuid, detail={"slot": name}) as record:
        memory = rescue_held(session, archive, board)
        session.emit(Phase(f"Recalling {name}"))
        with _memory_kept_as(session, archive, board, memory):
            _refuse_errors(session, session.dialogue.ask(command, _SLOW))
            result = session.dialogue.capture()
            content = held_content(session, result)
            holders = archive.holds(content)
            named = [one.spec for one in holders if one.program.casefold() == name.casefold()]
            same = as_known(holders, named[0] if named else "")
            record.revision = same if isinstance(same, Revision) else None
            archive.set_host_copy(board.uuid, content, proven=True, revision=record.revision)
        return Held(result.lines, result.count, same.spec if same is not None else "")


def _look_into(session: Session, archive: Archive, name: str, memory: Held) -> Held:
    """What a slot holds, kept in the archive; memory is put back as it was, proven."""
    commands = session.profile.commands
    if not commands.recall:
        session.emit(Warned(f"What {name} holds now cannot be read, so it is not kept."))
        return NOTHING
    session.emit(Phase(f"Reading what is stored as {name}"))
    try:
        before = _recalled(session, archive, name)
    except RefusedError:
        if commands.stored:
            raise
        return NOTHING  # a slot of this kind of board that is empty
    session.emit(Phase("Putting the program in memory back"))
    Loader(session.dialogue, memory.lines).load(before.lines)
    session.memory_is_known()
    return before


@contextlib.contextmanager
def _memory_kept_as(
    session: Session, archive: Archive, board: Board, memory: Held
) -> Iterator[None]:
    """Where this ends early the board may hold another program: say where the first one is."""
    try:
        yield
    except HostlinkError as error:
        if isinstance(error, Interrupted):
            session.abandon()
            error.what = "Stopped; the board's memory may hold a stored program, or a part of one."
        if not isinstance(error, RefusedError):
            with contextlib.suppress(ArchiveError):
                copy = archive.host_copy(board.uuid)
                if copy is not None:
                    forget_copy(archive, board, copy.content)
        if memory.spec and memory.spec not in error.kept:
            error.kept = f"{error.kept} What was in memory is kept as {memory.spec}.".strip()
        raise


def _board(session: Session, archive: Archive) -> Board:
    session.attach()
    return session.board_in(archive)


def _names(session: Session) -> set[str]:
    """The slots that may hold something already; where a board has neither list, nobody knows."""
    commands = session.profile.commands
    if not (commands.stored or commands.slots):
        return set()
    return {slot.name.casefold() for slot in listed(session)}


def _checked(session: Session, name: str) -> str:
    """A slot's name fit to be typed: one of the profile's, or one short word."""
    slots = session.profile.commands.slots
    if slots and name not in slots:
        raise RefusedError(
            f'Boards of profile {session.profile.name} have no slot "{shown(name)}".',
            advice=f"They have: {', '.join(slots)}.",
        )
    if not name or len(name) > 32 or not name.isprintable() or " " in name:
        raise RefusedError(
            f'"{shown(name)}" cannot be the name of a stored program.',
            advice="Choose one word of 1 to 32 letters and digits.",
        )
    return name


def _recalled(session: Session, archive: Archive, name: str) -> Held:
    command = session.dialogue.can("recall", "recall a stored program")
    _refuse_errors(session, session.dialogue.ask(command.format(name=name), _SLOW))
    return rescue_held(session, archive, session.board_in(archive))


def _prove(session: Session, archive: Archive, name: str, memory: Held) -> None:
    """Read the slot back by recalling it; memory holds the same program afterwards.

    It is cleared before: what it holds would else prove a recall that came to nothing.
    """
    commands = session.profile.commands
    if not commands.recall:
        session.emit(Warned("This board cannot recall, so what it stored could not be read back."))
        return
    if commands.clear:
        session.dialogue.clear()
    rules = session.profile.rules
    try:
        got = _recalled(session, archive, name).lines
    except RefusedError as refused:
        what = f"What was stored as {name} cannot be recalled: {refused.what}"
    else:
        held, due = canonical_lines(got, rules), canonical_lines(memory.lines, rules)
        wrong = [n for n in sorted({*held, *due}) if held.get(n) != due.get(n)]
        if not wrong:
            return
        numbers = ", ".join(map(str, wrong[:8]))
        what = f"What the board stored as {name} differs in line {numbers}."
    session.emit(Phase("Putting the program in memory back"))
    Loader(session.dialogue, memory.lines).load()
    raise ReadBackError(
        what,
        kept=f"Memory holds the program again, which is in the archive as {memory.spec}.",
        advice="Store it again; the EEPROM may be full or worn out.",
    )


def _refuse_errors(session: Session, answer: str) -> None:
    """Raise the board's own error words, where the profile knows what they look like."""
    for row in rows_of(answer):
        for word in session.profile.commands.error_words:
            if row.startswith(word):
                raise RefusedError(
                    f'The board refused: "{shown(row)}".',
                    kept="What it held is in the archive.",
                    advice="`hostlink stored` lists what is stored there.",
                )
