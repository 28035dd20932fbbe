"""A board's stored programs: listing them, reading and writing one, asked with care and proven.

Recalling overwrites the program in memory: the caller has captured that before, and puts it back.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

from hostlink.advice import Ways, joined
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.board.dialogue.loading import Loader
from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.dialogue.reading import Reading, rows_of
from hostlink.board.profile.model import ONE_PLACE, Profile
from hostlink.errors import ArchiveError, HostlinkError, NotKnownError, ReadBackError, RefusedError
from hostlink.jobs.session.patience import capture_s, load_s
from hostlink.jobs.session.session import Session
from hostlink.link.exchange import Reach
from hostlink.listing import Line, Listing, canonical_lines, review, to_text
from hostlink.words import plural, safe

_MOST_LISTS = 7  # times the board is asked what it has stored
_LEAST_BLANK = 64  # characters: fewer than any EEPROM has bytes, more than a word of the board's
_RECALLS = 3  # times that a stored program is asked for, where nothing comes
_SLOW = Reach(silence_s=8.0)  # a kilobyte of EEPROM takes about 3.5 s to write
_PLAIN_WORD = re.compile(r"[A-Za-z0-9_.-]{1,32}")

# ATmega328P data sheet DS40002061A, features: 100,000 EEPROM write/erase cycles.
WEAR_WARNING = (
    "Each store wears the EEPROM a little; the ATmega328P's is made for 100,000 writes of a byte."
)

Lines = Mapping[int, Line]


@dataclass(frozen=True, slots=True)
class Slot:
    """A stored program: its name and whatever else the board says of it."""

    name: str
    row: str


def stored(session: Session) -> list[Slot]:
    """The programs stored in the board, as two answers of it agree; or the one in its one place,
    where a command shows that.

    A name damaged on the wire would hide what a slot holds from whoever is about to overwrite it.
    Raises RefusedError where its kind has no such list, ReadBackError where no two answers agree.
    """
    session.attach()
    commands = session.profile.commands
    if commands.list_stored and not commands.stored:
        lines = _place_held(session).lines
        return [Slot(ONE_PLACE, plural(len(lines), "line"))] if lines else []
    command = session.dialogue.can("stored", "list stored programs")
    heard: set[tuple[str, ...]] = set()
    for _ in range(_MOST_LISTS):
        answer = session.dialogue.ask(command)
        idle = ("", *commands.answer_rows)
        rows = tuple(row.strip() for row in rows_of(answer) if not is_own(row, idle))
        if rows in heard:
            _refuse_errors(session, "list stored programs", answer)
            return [Slot(row.split()[0], row) for row in rows]
        heard.add(rows)
    raise ReadBackError(
        f"The board was asked {_MOST_LISTS} times what it has stored, and no two answers agree.",
        kept="Nothing on the board was changed.",
        advice="Check the cable and the speed, then try again.",
    )


def listed(session: Session) -> list[Slot]:
    """The stored programs as `stored` tells them, or the slots that this kind of board has."""
    session.attach()
    commands = session.profile.commands
    if commands.places and (commands.has_unnamed_slot or not commands.stored):
        return [Slot(name, "") for name in commands.places]
    return stored(session)


def slot_names(session: Session) -> tuple[str, ...]:
    """The slots that may hold something and can be read; none where a board can tell neither."""
    session.attach()
    commands = session.profile.commands
    if not commands.recall or not (commands.stored or commands.places):
        return ()
    return tuple(slot.name for slot in listed(session))


def recalled(session: Session, name: str) -> Capture:
    """Recall a stored program into memory and capture it. Raises RefusedError if it will not.

    Memory is cleared before, so that a recall that came to nothing (its command damaged, the board
    restarted) is never taken for what was in memory; then it is asked again.
    """
    session.emit(Phase(f"Reading what is stored as {safe(name)}", capture_s(session.profile)))
    health = session.wire.health
    result = Capture({}, 0)
    for _ in range(_RECALLS):
        restarts = health.restarts
        if session.profile.commands.clear:
            session.dialogue.clear()
        _ask(session, "recall", "recall a stored program", name)
        try:
            result = session.dialogue.capture()
        except (NotKnownError, ReadBackError) as error:
            # What it says of the program in memory is no longer so.
            raise error.but(kept="") from error
        if result.lines and health.restarts == restarts:
            break
    return result


def slot_held(session: Session, name: str) -> Capture:
    """As `recalled`, but nothing where a board that cannot list its slots refuses an empty one.

    Where the board shows its one place by a command, memory is not touched.
    """
    commands = session.profile.commands
    if commands.list_stored:
        return _place_held(session)
    try:
        return recalled(session, name)
    except RefusedError:
        if commands.stored and not commands.has_unnamed_slot:
            raise
        return Capture({}, 0)


def _place_held(session: Session) -> Capture:
    """Capture what the one place holds, by the command that shows it.

    Raises as Dialogue.capture does.
    """
    profile = session.profile
    commands = replace(profile.commands, list=profile.commands.list_stored, free_memory="")
    shown = replace(profile, commands=commands)
    dialogue = Dialogue(session.wire, shown, session.emit, evidence=session.dialogue.evidence)
    reading = dialogue.read_listing()
    return Capture({}, 1) if _is_blank(reading, profile) else dialogue.capture()


def _is_blank(reading: Reading, profile: Profile) -> bool:
    """Whether an answer is an EEPROM that was never written: one character, again and again.

    No row end stands between them and the prompt.
    """
    prompt = to_text(profile.talk.prompt, profile.rules.form.charset)
    said = "".join(reading.unexplained).removesuffix(prompt)
    return not reading.lines and len(said) >= _LEAST_BLANK and len(set(said)) == 1


def store_proven(session: Session, name: str, lines: Lines, *, kept: str) -> None:
    """Store what memory holds, which is `lines`, and prove it by recalling it.

    Raises RefusedError where the board will not store it, ReadBackError with `kept` where it
    stored something else.
    """
    session.emit(Phase(f"Storing as {safe(name)}"))
    _ask(session, "store", "store a program", name)
    if not session.profile.commands.recall:
        session.emit(Warned("This board cannot recall, so what it stored could not be read back."))
        return
    try:
        result = recalled(session, name)
    except RefusedError as refused:
        what = f"What was stored as {safe(name)} cannot be recalled: {refused.what}"
    else:
        rules = session.profile.rules
        held, due = canonical_lines(result.lines, rules), canonical_lines(lines, rules)
        wrong = [n for n in sorted({*held, *due}) if held.get(n) != due.get(n)]
        if not wrong and result.doubt is None:
            return
        numbers = ", ".join(map(str, wrong[:8]))
        why = f"differs in line {numbers}" if wrong else f"is not proven: {result.doubt}"
        what = f"What the board stored as {safe(name)} {why}."
    raise ReadBackError(
        what, kept=kept, advice="Store it again; the EEPROM may be full or worn out."
    )


def put_into_memory(
    session: Session, lines: Lines, doing: str = "Putting the program in memory back"
) -> None:
    """Make memory hold `lines`, whatever it holds; proven by reading it back.

    doing: what that is told as, with the time that it takes; "" for not at all.
    """
    if doing:
        session.emit(Phase(doing, load_s(lines, session.dialogue.pacing)))
    if lines:
        Loader(session.dialogue, lines).load()
    else:
        session.dialogue.clear()
        Loader(session.dialogue, lines).load({})  # nothing to send: reads back that it is empty
    session.restarts.settle()


def same_program(session: Session, one: Lines, other: Lines) -> bool:
    """Whether two listings are the same program for this kind of board."""
    rules = session.profile.rules
    return canonical_lines(one, rules) == canonical_lines(other, rules)


def memory_after(session: Session, error: HostlinkError, lines: Lines, spec: str) -> HostlinkError:
    """Try to put memory back after a job was cut short; return an error that says how that went.

    lines: what memory held. spec: where the archive keeps it, "" where it does not.
    """
    back = False
    with session.unstoppable(), suppress(HostlinkError):
        session.dialogue.regain(may_interrupt=True)
        put_into_memory(session, lines)
        back = True
    if not back and session.archive is not None:
        with suppress(ArchiveError):
            session.archive.drop_host_copy(session.board_in(session.archive).uuid)
    if back:
        state = "Memory holds what it held before." if lines else "Memory is empty."
    elif spec:
        state = f"Memory may hold another program; what it held is kept as {spec}."
        refused = review(Listing(tuple(lines.values())), session.profile.rules).errors

        def advice(by: Ways) -> str:
            way = by.load_despite_review(spec) if refused else by.load(spec)
            return f"Put it back {way}."

        error = error.but(advice=joined(error.advice, advice))
    elif lines:
        state = "Memory may hold another program; what it held was not kept, as you asked."
    else:
        state = "Memory, which was empty, may hold a program, or a part of one."
    return error.but(kept=f"{error.kept} {state}".strip())


def checked(session: Session, name: str) -> str:
    """A slot's name fit to be typed: one that the profile has, or a plain word.

    Names in an archive or from a board are data; with a sign such as `:` in it the rest of a name
    would be a statement of its own.
    """
    slots = session.profile.commands.slots
    if name in slots if slots else _PLAIN_WORD.fullmatch(name):
        return name
    if slots:
        raise RefusedError(
            f'Boards of profile {session.profile.name} have no slot "{safe(name)}".',
            advice=f"They have: {', '.join(slots)}.",
        )
    raise RefusedError(
        f'"{safe(name)}" cannot be the name of a stored program.',
        advice="Choose one word of 1 to 32 letters and digits.",
    )


def _ask(session: Session, command: str, what: str, name: str) -> None:
    """Type a slot command. Raises RefusedError with the board's own words, said twice.

    Once they may be its answer to a command that was damaged on the way.
    """
    text = session.dialogue.can(command, what).format(name=checked(session, name))
    if _refusal(session, session.dialogue.ask(text, _SLOW)):
        _refuse_errors(session, what, session.dialogue.ask(text, _SLOW))


def _refuse_errors(session: Session, what: str, answer: str) -> None:
    """Raise the board's own error words, where the profile knows what they look like."""
    refusal = _refusal(session, answer)
    if refusal:
        raise RefusedError(f'The board refused to {what}: "{safe(refusal)}".')


def _refusal(session: Session, answer: str) -> str:
    """The row of an answer that is an error of the board's, "" where there is none."""
    words = tuple(session.profile.commands.error_words)
    return next((row for row in rows_of(answer) if row.startswith(words)), "") if words else ""
