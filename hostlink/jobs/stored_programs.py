"""A board's stored programs: listing them, and reading and writing one with proof.

Recalling overwrites the program in memory; the caller captures that before and puts it back.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace

from hostlink.advice import Ways, join_advice
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.dialogue.dialogue import PURPOSES, Dialogue
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.board.dialogue.loading import Loader
from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.dialogue.reading import (
    Reading,
    plain_names,
    raw_rows_of,
    rows_of,
    without_controls,
)
from hostlink.board.profile.model import ONE_PLACE, Profile
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    NotClearedError,
    NotKnownError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.session.patience import capture_s, load_s, time_limit_s
from hostlink.jobs.session.session import Session
from hostlink.link.exchange import Reach
from hostlink.listing import Line, Listing, canonical_lines, review, to_text
from hostlink.sentences import (
    BOARD_UNCHANGED,
    CHECK_WIRE,
    NOT_KEPT,
    NOT_OVERWRITTEN,
    is_unchanged,
    let_be_lost,
    may_hold_another,
    no_name_of,
)
from hostlink.words import capital, lines_named, plural, safe

_MOST_LISTS = 7  # how many times the board is asked for its list
_LEAST_BLANK = 64  # characters: fewer than the bytes of any EEPROM, more than any message
_RECALLS = 3  # attempts to recall a stored program if nothing comes
_SLOW = Reach(silence_s=8.0)  # a kilobyte of EEPROM takes about 3.5 s to write
_MARK = Listing.from_text("10 REM\n").numbered()  # is in memory while an empty place is recalled
_PLAIN_WORD = re.compile(r"[A-Za-z0-9_.-]{1,32}")

Lines = Mapping[int, Line]


@dataclass(frozen=True, slots=True)
class StoredSlot:
    """A stored program: its name and whatever else the board lists with it."""

    name: str
    row: str


def stored_slots(session: Session) -> list[StoredSlot]:
    """Return the programs stored on the board, from two lists that agree.

    A name damaged on the wire would hide a program that is about to be overwritten. On a board with
    a single place, it is the program that a command shows there. Raises RefusedError if this kind
    has no such list, ReadBackError if no two lists agree.
    """
    session.attach()
    commands = session.profile.commands
    if commands.list_stored and not commands.stored:
        lines = _place_held(session).lines
        return [StoredSlot(ONE_PLACE, plural(len(lines), "line"))] if lines else []
    command = session.dialogue.command_text("stored")
    heard: set[tuple[str, ...]] = set()
    for _ in range(_MOST_LISTS):
        answer = session.dialogue.ask(command)
        idle = ("", *commands.answer_rows)
        raw = (row.strip() for row in raw_rows_of(answer))
        rows = tuple(row for row in raw if not is_own(without_controls(row), idle))
        if rows in heard:
            _refuse_errors(session, "stored", answer)
            if not commands.error_words:
                _refuse_nonsense(session, command, answer)
            names = plain_names([row.split()[0] for row in rows])
            return [StoredSlot(name, row) for name, row in zip(names, rows, strict=True)]
        heard.add(rows)
    raise ReadBackError(
        f"The board was asked {_MOST_LISTS} times what it has stored, and no two answers agree.",
        kept=BOARD_UNCHANGED,
        advice=f"{CHECK_WIRE} Then try again.",
    )


def slots_on_board(session: Session) -> list[StoredSlot]:
    """Return the stored programs, or all slots if this kind of board cannot list the programs."""
    session.attach()
    commands = session.profile.commands
    if commands.places and (commands.has_unnamed_slot or not commands.stored):
        return [StoredSlot(name, "") for name in commands.places]
    return stored_slots(session)


def slot_names(session: Session) -> tuple[str, ...]:
    """Return the names of the slots that can be read and may hold a program, if known."""
    session.attach()
    commands = session.profile.commands
    if not commands.recall or not (commands.stored or commands.places):
        return ()
    return tuple(slot.name for slot in slots_on_board(session))


def recall_and_capture(session: Session, name: str) -> Capture:
    """Recall a stored program into memory and capture it. Raises RefusedError if the board refuses.

    Memory is cleared first, so that after a failed recall (command damaged, board restarted) the
    program in memory is not taken for the stored one; the recall is then repeated.
    """
    session.emit(Phase(f"Reading what is stored as {safe(name)}", capture_s(session.profile)))
    health = session.wire.health
    result = Capture({}, 0)
    for _ in range(_RECALLS):
        restarts = health.restarts
        if session.profile.commands.clear:
            session.dialogue.clear()
        _ask(session, "recall", name)
        try:
            result = session.dialogue.capture()
        except ReadBackError as error:
            # What the error says about the program in memory is outdated.
            raise error.but(kept="") from error
        if result.lines and health.restarts == restarts:
            break
    return result


def slot_held(session: Session, name: str) -> Capture:
    """Return what a place for stored programs holds.

    It counts as empty only if recalling it removes a line from memory: a wrong command brings
    nothing either, and a refusal proves nothing. Raises RefusedError if the board refuses,
    NotKnownError if memory stays as it was. If a command of the board shows its single place, that
    is used instead, and memory is not changed.
    """
    if session.profile.commands.list_stored:
        return _place_held(session)
    result = recall_and_capture(session, name)
    if result.lines:
        return result
    put_into_memory(session, _MARK, "")
    _ask(session, "recall", name)
    result = session.dialogue.capture()
    if same_program(session, result.lines, _MARK):
        raise NotKnownError(
            f"Nothing came when {safe(name)} was recalled, and memory stayed as it was."
        )
    return result


def held_before_storing(session: Session, name: str, *, discard: bool) -> Capture:
    """Return what a place holds before it is overwritten.

    discard: the user agreed to lose what is not known; it then counts as empty, with a warning.
    Raises NotKnownError, NotClearedError and the errors of a capture.
    """
    try:
        return slot_held(session, name)
    except NotClearedError:
        raise  # nothing was recalled
    except RefusedError as refused:
        if discard:
            session.emit(Warned(f"{capital(NOT_KEPT)}: what {safe(name)} holds. {refused.what}"))
            return Capture({}, 0)
        raise NotKnownError(
            f"What {safe(name)} holds is not known. {refused.what} "
            "Perhaps nothing is stored there yet.",
            kept=NOT_OVERWRITTEN,
            advice=join_advice(
                refused.advice, lambda by: f"If nothing there needs keeping, {let_be_lost(by)}."
            ),
        ) from refused


def _place_held(session: Session) -> Capture:
    """Capture the program in the single place by the command that shows it.

    Raises the errors of Dialogue.capture.
    """
    profile = session.profile
    commands = replace(profile.commands, list=profile.commands.list_stored, free_memory="")
    shown = replace(profile, commands=commands)
    dialogue = Dialogue(session.wire, shown, session.emit, evidence=session.dialogue.evidence)
    reading = dialogue.read_listing()
    return Capture({}, 1) if _is_blank(reading, profile) else dialogue.capture()


def _is_blank(reading: Reading, profile: Profile) -> bool:
    """Return whether an answer shows a blank EEPROM: one character, repeated, up to the prompt."""
    prompt = to_text(profile.talk.prompt, profile.rules.form.charset)
    said = "".join(reading.unexplained).removesuffix(prompt)
    return not reading.lines and len(said) >= _LEAST_BLANK and len(set(said)) == 1


def store_proven(session: Session, name: str, lines: Lines, *, kept: str) -> None:
    """Store the program in memory, which is `lines`, and prove it by recalling it.

    Raises RefusedError if the board refuses to store it, ReadBackError with `kept` if it stored
    something else.
    """
    session.emit(Phase(f"Storing as {safe(name)}"))
    _ask(session, "store", name)
    if not session.profile.commands.recall:
        session.emit(Warned("This board cannot recall, so what it stored could not be read back."))
        return
    try:
        result = recall_and_capture(session, name)
    except RefusedError as refused:
        what = f"What was stored as {safe(name)} cannot be recalled: {refused.what}"
    else:
        rules = session.profile.rules
        held, due = canonical_lines(result.lines, rules), canonical_lines(lines, rules)
        wrong = [n for n in sorted({*held, *due}) if held.get(n) != due.get(n)]
        if not wrong and result.doubt is None:
            return
        why = f"differs in {lines_named(wrong)}" if wrong else f"is not proven: {result.doubt}"
        what = f"What the board stored as {safe(name)} {why}."
    raise ReadBackError(
        what, kept=kept, advice="Store it again; the EEPROM may be full or worn out."
    )


def put_into_memory(
    session: Session, lines: Lines, doing: str = "Putting the program in memory back"
) -> None:
    """Replace the program in memory by `lines`, proven by reading it back.

    doing: how the work is reported, with its expected time; "" for no report. Takes no longer than
    a job on one program may.
    """
    if doing:
        session.emit(Phase(doing, load_s(lines, session.dialogue.pacing)))
    with session.patience.limited(time_limit_s(session.profile), session.wire.now):
        if lines:
            Loader(session.dialogue, lines).load()
        else:
            session.dialogue.clear()
            Loader(session.dialogue, lines).load({})  # nothing to send: reads back it is empty
    session.restarts.settle()


def same_program(session: Session, one: Lines, other: Lines) -> bool:
    """Return whether two listings are the same program for this kind of board."""
    rules = session.profile.rules
    return canonical_lines(one, rules) == canonical_lines(other, rules)


def memory_after(session: Session, error: HostlinkError, lines: Lines, spec: str) -> HostlinkError:
    """Try to put memory back after a job failed; return the error with the result of that.

    lines: what memory held. spec: what keeps it in the archive, "" for nothing.
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
        state = is_unchanged() if lines else "Memory is empty."
    elif spec:
        state = may_hold_another("Memory", spec)
        refused = review(Listing(tuple(lines.values())), session.profile.rules).errors

        def advice(by: Ways) -> str:
            way = by.load_despite_review(spec) if refused else by.load(spec)
            return f"Put it back {way}."

        error = error.but(advice=join_advice(error.advice, advice))
    elif lines:
        state = may_hold_another("Memory", "")
    else:
        state = "Memory, which was empty, may hold a program, or a part of one."
    return error.but(kept=f"{error.kept} {state}".strip())


def safe_slot_name(session: Session, name: str) -> str:
    """Return a slot's name if it is safe to type: one of the profile, or a plain word.

    Names from an archive or a board are data; after a character such as `:` the rest of a name
    would be executed as a statement.
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
        f"{no_name_of('stored program', name)}.",
        advice="Choose one word of 1 to 32 letters and digits.",
    )


def _ask(session: Session, command: str, name: str) -> None:
    """Type a slot command. Raises RefusedError with the board's message if it comes twice.

    A single message may be the answer to a command that was damaged on the wire.
    """
    text = session.dialogue.command_text(command).format(name=safe_slot_name(session, name))
    if _refusal(session, session.dialogue.ask(text, _SLOW)):
        _refuse_errors(session, command, session.dialogue.ask(text, _SLOW))


def _refuse_errors(session: Session, command: str, answer: str) -> None:
    """Raise RefusedError with the board's error message, if the profile describes those."""
    refusal = _refusal(session, answer)
    if refusal:
        raise RefusedError(f'The board refused to {PURPOSES[command]}: "{safe(refusal)}".')


def _refuse_nonsense(session: Session, command: str, answer: str) -> None:
    """Raise RefusedError if the board answers this command as it answers a word without meaning."""
    word = command.split()[0]
    nonsense = (NONSENSE * len(word))[: len(word)]
    said = session.dialogue.ask(command.replace(word, nonsense, 1))
    if said.replace(nonsense, word) == answer:
        raise RefusedError(
            f"The board does not know {safe(command)}, which should list its stored programs.",
            kept=BOARD_UNCHANGED,
            advice='Correct the command "stored" in its profile.',
        )


def _refusal(session: Session, answer: str) -> str:
    """Return the row of an answer that is an error message of the board, "" if none."""
    words = tuple(session.profile.commands.error_words)
    return next((row for row in rows_of(answer) if row.startswith(words)), "") if words else ""
