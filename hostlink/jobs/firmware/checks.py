"""Checks before firmware is written: which board it is, as far as possible, and what it holds.

The two boards of a machine (one runs the BASIC, one makes the picture) have the same chip, the same
bridge and often no serial number. So the board's answer is compared with what the image expects,
and if they differ, the user has to say which board it is.
"""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.advice import Ways
from hostlink.archive import ROLES, Archive, Backup, Board, FirmwareWrite, JobEvent, Role
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.errors import ArchiveError, LinkError, LinkReason, Needed, ReadBackError, RefusedError
from hostlink.firmware.image import Image
from hostlink.firmware.knowledge import read_image
from hostlink.jobs.backup import BoardPrograms, collect, is_part_of, keep_collected
from hostlink.jobs.cautions import ROLES_TOLD
from hostlink.jobs.events import BackupKept, BoardAnswered
from hostlink.jobs.firmware.record import first_steps, left_without_prompt, owed_backup
from hostlink.jobs.firmware.request import FirstSteps, WriteRequest
from hostlink.jobs.firmware.situation import EXPECTED, Answer, Situation
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.looking import look_for_prompt
from hostlink.jobs.session.session import Session
from hostlink.sentences import LOOKING_FOR_PROMPT, NOT_KEPT, find_how_far, held_before, let_be_lost
from hostlink.words import capital, safe

_LONGEST_LOOK_S = 25.0  # a silent board takes 14 s, at a network port 20 s
_UNTOUCHED = "Nothing that changes the board was sent."


def role_of(archive: Archive, image: Image, role: str) -> Role:
    """Return the board that an image is for: as given, as recorded, or by its BASIC words.

    Raises RefusedError if that is not known.
    """
    named = role or archive.image_role(image.sha256)
    if not named and read_image(image.flash).has_basic:
        named = "computer"
    wanted = next((each for each in ROLES if each == named), None)
    if wanted is None:
        raise RefusedError(
            "It is not known yet which board this image is for.",
            kept=_UNTOUCHED,
            advice=lambda by: (
                f"Say whether it is for the computer ({ROLES_TOLD['computer']}) or the display "
                f"({ROLES_TOLD['display']}) {by.say_role}."
            ),
            needed=Needed.ROLE,
        )
    return wanted


def look(session: Session, archive: Archive, request: WriteRequest) -> Situation:
    """Find out how the board answers. Raises RefusedError if the image's purpose is unknown."""
    wanted = role_of(archive, request.image, request.role)
    session.emit(Phase(capital(LOOKING_FOR_PROMPT)))
    answer, error = _answer(session)
    board = session.board_in(archive)
    events = archive.events(board_uuid=board.uuid)
    left_by = None
    if answer is not Answer.PROMPT:
        left_by = _left_by(archive, board, request.image, events)
    owed = _owed(session, archive, events, left_by)
    session.emit(BoardAnswered(answer.value, EXPECTED[wanted]))
    known = archive.board_role(board.uuid)
    # Without a serial number another board in the same socket looks the same.
    is_unknown = not (session.identity.is_certain and any(e.outcome == "done" for e in events))
    return Situation(
        board,
        answer,
        wanted,
        known,
        left_by,
        owed,
        request.goes_back,
        error,
        is_unknown,
        first_steps(archive, left_by) if left_by is not None else FirstSteps(),
    )


def must_be_the_board(
    session: Session, archive: Archive, situation: Situation, request: WriteRequest
) -> None:
    """Check the answer of the board against the image.

    Raises RefusedError or LinkError for a mismatch, unless the user said which board it is.
    """
    role, this_board = situation.role, request.this_board
    running = situation.answer is Answer.RUNNING and role == "computer"
    if running and situation.error is not None and not (this_board or situation.is_explained):
        raise situation.error
    if this_board and this_board != role:
        raise RefusedError(
            f"You say that this board is the {this_board}, but the image was made for the {role}.",
            kept=_UNTOUCHED,
            advice=lambda by: f"Plug in the {role}, or name its port {by.name_port}.",
        )
    if situation.may_be_new and request.new_board:
        return
    if situation.looks_new and not this_board:
        raise _ask_if_new(session, situation)
    doubts = situation.doubts
    if doubts and not this_board:
        may_hold = role == "computer" and situation.answer is not Answer.PROMPT

        def advice(by: Ways) -> str:
            lost = f", and that its program may be lost {by.discard_board}" if may_hold else ""
            return (
                f"Check which board {session.choice.port} leads to. If it is the {role}, say so "
                f"{by.say_board(role)}{lost}."
            )

        raise RefusedError(
            f"This may be the wrong board: {'; '.join(doubts)}.",
            kept=_UNTOUCHED,
            advice=advice,
            needed=Needed.WHICH_BOARD,
        )
    if this_board:
        archive.set_board_role(situation.board.uuid, role)


def _ask_if_new(session: Session, situation: Situation) -> RefusedError:
    """Return the refusal that asks whether a silent board is new."""
    return RefusedError(
        f"The board at {session.choice.port} answers with {situation.answer.value}, like a new one "
        "that has a bootloader but no BASIC yet. If it is not new, the write erases any program in "
        "its memory.",
        kept=_UNTOUCHED,
        advice=lambda by: (
            f"If it is new, say so {by.say_new_board}. If it is not, first {find_how_far(by)}."
        ),
        needed=Needed.NEW_BOARD,
    )


def save_programs(
    session: Session, archive: Archive, situation: Situation, request: WriteRequest
) -> Backup | None:
    """Keep the programs of the board before any restart; return the backup to put back afterwards.

    It is a new backup, or the one owed to the board; None if there are no programs. Raises
    RefusedError if something cannot be kept, unless the request is to go on anyway.
    """
    discard = request.discard_board
    if situation.answer is Answer.PROMPT:
        return _at_prompt(session, archive, situation, discard=discard)
    if situation.role == "display" or (situation.may_be_new and request.new_board):
        return None
    running = situation.answer is Answer.RUNNING
    if situation.is_explained and (discard or not running) and (situation.is_own or not discard):
        return _left_on_it(session, situation)
    if discard:
        session.emit(Warned("What the board held was not captured, as you asked."))
        return None
    raise RefusedError(
        "The board shows no prompt, so its program cannot be kept first.",
        kept=_UNTOUCHED,
        advice=lambda by: (
            f"Get it to its prompt first: name its speed {by.name_speed}, or stop "
            f"the program {by.stop_running}. If nothing on it needs keeping, {let_be_lost(by)}."
        ),
        needed=Needed.LOSS,
    )


def _left_on_it(session: Session, situation: Situation) -> Backup | None:
    """Return the backup from before a write that left the board without a prompt."""
    left = situation.left_by
    assert left is not None
    if left.is_finished:
        what = f"The board has not shown its prompt since {left.image.name} was written to it"
    else:
        what = "An earlier write of firmware to this board was cut off"
    kept = f" {held_before(situation.owed.spec)}" if situation.owed else ""
    session.emit(Warned(f"{what}.{kept}"))
    return situation.owed


def _at_prompt(
    session: Session, archive: Archive, situation: Situation, *, discard: bool
) -> Backup | None:
    """Return a new backup, or the owed one if the board holds nothing else."""
    detail = {"for": "a write of firmware"}
    owed, board = situation.owed, situation.board
    with recorded_job(session, archive, "backup", board, parts=10, detail=detail) as record:
        found = _collected(session, archive, board, discard=discard)
        nothing_else = found is None or (owed and is_part_of(session, found.items, owed))
        if owed is not None and nothing_else:
            session.emit(
                Warned(
                    f"An earlier write of firmware ended before the board's programs, kept as "
                    f"{owed.spec}, were back on it. They go back after this one."
                )
            )
            return owed
        if owed is not None:
            session.emit(
                Warned(
                    f"What an earlier write of firmware took off the board is kept as {owed.spec}.",
                    advice=lambda by: f"Put it back {by.put_back(owed.spec)}.",
                )
            )
        if found is None or not found.items:
            return None
        kept = keep_collected(session, archive, board, found, note="before firmware was written")
        record.detail["backup"] = kept.spec
        session.emit(BackupKept(kept.spec, tuple(item.name for item in kept.items)))
        return kept


def _collected(
    session: Session, archive: Archive, board: Board, *, discard: bool
) -> BoardPrograms | None:
    """Collect the programs of the board; None if there are none.

    discard: give up those that cannot be read, with a warning. Raises RefusedError if a stored
    program cannot be read, and the errors of `collect`.
    """
    try:
        found = collect(session, archive, board)
    except (LinkError, ReadBackError, RefusedError) as error:
        if not discard or (isinstance(error, LinkError) and error.reason is LinkReason.GONE):
            raise
        session.emit(Warned(f"What the board holds is {NOT_KEPT}: {error.what}"))
        return None
    missing = [safe(name) for name in found.unread]
    missing += [f"{safe(name)}, of which {doubt}" for name, doubt in found.doubts.items()]
    unread = ", ".join(missing)
    if unread and not discard:
        raise RefusedError(
            f"Not every program could be read: {unread}.",
            kept=_UNTOUCHED,
            advice=lambda by: (
                f"Look at what the board holds {by.look_by_backup}. To go on without it, "
                f"{let_be_lost(by)}."
            ),
            needed=Needed.LOSS,
        )
    if unread:
        session.emit(Warned(f"{capital(NOT_KEPT)}: {unread}."))
    return found


def _answer(session: Session) -> tuple[Answer, LinkError | None]:
    """Ask the board for its prompt; return how it answered, and the error if it did not.

    A board whose port is open already is asked again, since it may be silent since its last
    firmware. The user decides about a running program that may not be stopped.
    """
    answers = {
        LinkReason.SILENT: Answer.SILENCE,
        LinkReason.UNREADABLE: Answer.UNREADABLE,
        LinkReason.FLOODING: Answer.UNREADABLE,
        LinkReason.LOOPED: Answer.UNREADABLE,
        LinkReason.RUNNING: Answer.RUNNING,
    }
    try:
        look_for_prompt(session, _LONGEST_LOOK_S, again=True)
    except LinkError as error:
        if error.reason not in answers:
            raise
        return answers[error.reason], error
    return Answer.PROMPT, None


def _left_by(
    archive: Archive, board: Board, image: Image, events: Sequence[JobEvent]
) -> FirmwareWrite | None:
    """Return the write that left a board without a prompt, None if there is none.

    For a board without known writes, which may have moved to another port, it is the newest
    interrupted write of the same image to any board.
    """
    if archive.last_write(board.uuid) is not None:
        return left_without_prompt(archive, board, events)
    newest: dict[str, FirmwareWrite] = {}
    for write in archive.writes():
        newest.setdefault(write.board_uuid, write)
    for write in newest.values():
        if not write.is_finished and write.image.sha256 == image.sha256:
            return write
    return None


def _owed(
    session: Session, archive: Archive, events: Sequence[JobEvent], left_by: FirmwareWrite | None
) -> Backup | None:
    """Return the backup owed to the board, if it is undamaged; warn of a damaged one."""
    try:
        owed = owed_backup(archive, events)
        if owed is None and left_by is not None and not left_by.is_finished and left_by.backup:
            owed = archive.backup(left_by.backup)
    except ArchiveError as damaged:
        session.emit(Warned(f"What an earlier write took off the board is damaged: {damaged}"))
        return None
    return owed
