"""The jobs that store the program in memory on the board, and recall a stored one.

Recalling overwrites the program in memory, and storing may overwrite a slot. So the programs there
are captured and kept first. A slot can only be read by recalling it; memory is put back afterwards.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from hostlink.archive import Archive, Board, Revision
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Warned
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    NotKnownError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.cautions import WEAR_WARNING
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.last_known import as_known
from hostlink.jobs.session.rescuing import (
    NOTHING,
    HeldProgram,
    held_content,
    keep_held,
    require_certain,
    rescue_held,
)
from hostlink.jobs.session.session import Session
from hostlink.jobs.stored_programs import (
    held_before_storing,
    put_into_memory,
    recall_and_capture,
    safe_slot_name,
    slot_names,
    slots_on_board,
    store_proven,
)
from hostlink.sentences import (
    NOT_OVERWRITTEN,
    STILL_IN_MEMORY,
    UNREADABLE_NOW,
    is_unchanged,
    no_program,
)
from hostlink.words import plural, safe

_AGAIN = "The program is in memory again, and is kept as {spec}."


def store(
    session: Session, archive: Archive, name: str, *, discard_board: bool = False
) -> HeldProgram:
    """Store the program in memory under `name`; return what the slot held before.

    It is proven by recalling it. discard_board: store even if it is not known what would be lost.
    Raises RefusedError with the board's message if the board refuses, and NotKnownError, without
    overwriting the slot, if its contents are not known for certain.
    """
    session.attach()  # before this, it is not known what a new board can do
    session.dialogue.command_text("store")
    safe_slot_name(session, name)
    board = session.board_in(archive)
    with recorded_job(session, archive, "store", board, parts=2, detail={"slot": name}) as record:
        memory = rescue_held(session, archive, board)
        if not memory.lines:
            raise RefusedError(no_program(" to store"), kept="Nothing was changed.")
        with _naming_what_is_kept(session, archive, board, memory) as was:
            before = _look_into(session, archive, board, name, memory, discard=discard_board)
            record.detail["slot_held"] = before.spec
            was[f"stored as {safe(name)}"] = before.spec
            session.emit(Warned(WEAR_WARNING))
            try:
                store_proven(session, name, memory.lines, kept=_AGAIN.format(spec=memory.spec))
            except ReadBackError:
                put_into_memory(session, memory.lines)
                raise
            except RefusedError as refused:
                kept = refused.kept or STILL_IN_MEMORY
                raise refused.but(kept=kept) from refused
        record.detail["stored"] = memory.spec
        return before


def recall(session: Session, archive: Archive, name: str) -> HeldProgram:
    """Recall a stored program into memory, after rescuing the one there; return it as captured.

    `doubt` of the result: what contradicts it, None if it is proven. `spec`: the equal revision or
    rescue, "" if none.
    """
    session.attach()
    session.dialogue.command_text("recall")
    safe_slot_name(session, name)
    board = session.board_in(archive)
    with recorded_job(session, archive, "recall", board, parts=2, detail={"slot": name}) as record:
        _must_be_listed(session, name)
        memory = rescue_held(session, archive, board)
        with _naming_what_is_kept(session, archive, board, memory):
            result = _recalled_or_back(session, name, memory)
            content = held_content(session, result)
            holders = archive.holds(content)
            named = [one.spec for one in holders if one.program.casefold() == name.casefold()]
            same = as_known(holders, named[0] if named else "")
            record.revision = same if isinstance(same, Revision) else None
            archive.set_host_copy(
                board.uuid, content, proven=result.is_proven, revision=record.revision
            )
        spec = same.spec if same is not None else ""
        return HeldProgram(result.lines, result.count, spec, doubt=result.doubt)


def stored_words(name: str, before: HeldProgram) -> str:
    """Return the sentence that a program was stored. before: what the slot held."""
    was = f"; before, it held what is kept as {before.spec}" if before.spec else ""
    return f"Stored as {name} and read back{was}."


def recalled_words(name: str, held: HeldProgram) -> str:
    """Return the sentence that a stored program was recalled, and how certain its capture is."""
    known = f", the same as {held.spec}" if held.spec else ""
    proof = f", not proven ({held.doubt})" if held.doubt is not None else ""
    return f"{name} is in memory: {plural(len(held.lines), 'line')}{known}{proof}."


def _recalled_or_back(session: Session, name: str, memory: HeldProgram) -> Capture:
    """Return the recalled program. Raises RefusedError, memory put back, if there is none."""
    try:
        result = recall_and_capture(session, name)
        if not result.lines:
            raise RefusedError(f"Nothing came when {safe(name)} was recalled.")
    except RefusedError as refused:
        put_into_memory(session, memory.lines)
        raise refused.but(kept=is_unchanged()) from refused
    return result


def _must_be_listed(session: Session, name: str) -> None:
    """Raise RefusedError for a program that the board does not list, before memory is cleared."""
    commands = session.profile.commands
    if commands.has_unnamed_slot:
        return
    names = slot_names(session)
    if commands.stored and name.casefold() not in {n.casefold() for n in names}:
        has = f"It has: {', '.join(map(safe, names))}." if names else "It has nothing stored."
        raise RefusedError(
            f"The board has nothing stored as {name}.", kept="Nothing was changed.", advice=has
        )


def _look_into(
    session: Session,
    archive: Archive,
    board: Board,
    name: str,
    memory: HeldProgram,
    *,
    discard: bool,
) -> HeldProgram:
    """Read and keep the program in a slot; put memory back, proven."""
    commands = session.profile.commands
    slots = slots_on_board(session) if commands.stored or commands.places else []
    is_there = name.casefold() in {slot.name.casefold() for slot in slots}
    if not (is_there or commands.has_unnamed_slot):
        return NOTHING
    if not commands.recall:
        session.emit(Warned(f"What {name} holds {UNREADABLE_NOW}, and is not kept."))
        return NOTHING
    try:
        held = held_before_storing(session, name, discard=discard)
    except NotKnownError as error:
        if not commands.list_stored:
            put_into_memory(session, memory.lines)
        raise error.but(kept=f"{error.kept} {is_unchanged()}") from error
    before = keep_held(session, archive, board, held)
    if not commands.list_stored:
        put_into_memory(session, memory.lines)
    return before if discard else require_certain(before, safe(name), NOT_OVERWRITTEN)


@contextlib.contextmanager
def _naming_what_is_kept(
    session: Session, archive: Archive, board: Board, memory: HeldProgram
) -> Iterator[dict[str, str]]:
    """Add to an error of the block the specs under which the board's programs are kept.

    Yields a mapping to extend: where a program was, to the spec under which it is kept.
    """
    was = {"in memory": memory.spec}
    try:
        yield was
    except HostlinkError as error:
        what = error.what
        if isinstance(error, Interrupted):
            session.abandon()
            what = "Stopped; the board's memory may hold all or a part of a stored program."
        if not isinstance(error, RefusedError):
            with contextlib.suppress(ArchiveError):
                archive.drop_host_copy(board.uuid)
        kept = error.kept
        for where, spec in was.items():
            if spec and f"{spec}." not in kept:
                kept = f"{kept} What was {where} is kept as {spec}.".strip()
        raise error.but(what=what, kept=kept) from error
