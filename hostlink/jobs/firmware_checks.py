"""Before firmware is written: which board it is, as far as can be told, and what it holds.

Machines of two alike boards (one runs the BASIC, one makes the picture) have the same chip, the
same bridge and often no serial number. What answers is therefore put beside what the image
expects, and where they do not agree the user says which board it is.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from hostlink.archive import ROLES, Archive, Backup, Board, FirmwareWrite, Role
from hostlink.board.events import Phase, Warned
from hostlink.errors import LinkError, LinkReason, Needed, RefusedError
from hostlink.firmware.image import Image
from hostlink.jobs.backup import collect, keep
from hostlink.jobs.events import BackupKept, BoardAnswered
from hostlink.jobs.session import Session

_UNTOUCHED = "Nothing was sent that changes the board."
EXPECTED: dict[str, str] = {"computer": "a BASIC prompt", "display": "silence"}


class Answer(Enum):
    """What the board answered when it was asked for a prompt."""

    PROMPT = "a BASIC prompt"
    SILENCE = "silence"
    UNREADABLE = "bytes that are no text at this speed"
    RUNNING = "text, but no prompt"


@dataclass(frozen=True, slots=True)
class Situation:
    """The board before the write. role: what the image is for. unfinished: a write that was cut
    off, of this board (is_own) or, for a silent one, of the same image elsewhere. error: why there
    was no prompt."""

    board: Board
    answer: Answer
    role: Role
    known_role: str
    unfinished: FirmwareWrite | None
    is_own: bool
    error: LinkError | None


def role_of(archive: Archive, image: Image, role: str) -> Role:
    """What an image is for, as told or as it was written before. Raises RefusedError."""
    named = role or archive.image_role(image.sha256)
    wanted = next((each for each in ROLES if each == named), None)
    if wanted is None:
        raise RefusedError(
            "It is not known yet what this image is for.",
            kept=_UNTOUCHED,
            advice="Say it with --role computer (it runs the BASIC) or --role display (it makes "
            "the picture).",
            needed=Needed.ROLE,
        )
    return wanted


def look(session: Session, archive: Archive, image: Image, role: str) -> Situation:
    """Find out what answers. Raises RefusedError where nobody knows what the image is for."""
    wanted = role_of(archive, image, role)
    session.emit(Phase("Looking for the board's prompt"))
    answer, error = _answer(session)
    board = session.board_in(archive)
    unfinished = None
    if answer is not Answer.PROMPT:
        unfinished = _cut_off(archive, board, image)
    session.emit(BoardAnswered(answer.value, EXPECTED[wanted]))
    own = unfinished is not None and unfinished.board_uuid == board.uuid
    known = archive.board_role(board.uuid)
    return Situation(board, answer, wanted, known, unfinished, own, error)


def must_be_the_board(
    session: Session, archive: Archive, situation: Situation, this_board: str
) -> None:
    """Stop a mismatch until the user says which board it is. Raises RefusedError."""
    role = situation.role
    running = situation.answer is Answer.RUNNING and role == "computer"
    if running and situation.error is not None and not this_board:
        raise situation.error
    if this_board and this_board != role:
        raise RefusedError(
            f"The image is for the {role}, and you say that this board is the {this_board}.",
            kept=_UNTOUCHED,
            advice=f"Plug in the {role}, or name its --port.",
        )
    doubts = _doubts(situation)
    if doubts and not this_board:
        raise RefusedError(
            f"This may be the wrong board: {'; '.join(doubts)}.",
            kept=_UNTOUCHED,
            advice=f"Look which board {session.choice.port} leads to. If it is the {role}, repeat "
            f"the command with --this-board {role}.",
            needed=Needed.WHICH_BOARD,
        )
    if this_board:
        archive.set_board_role(situation.board.uuid, role)


def save_programs(
    session: Session, archive: Archive, situation: Situation, *, discard: bool
) -> Backup | None:
    """Back up what the board's BASIC holds, before any restart; None where it holds nothing.

    Raises RefusedError where something may be there that cannot be kept, unless `discard`.
    """
    cut_off = situation.unfinished
    finishing = cut_off is not None and (situation.is_own or not discard)
    if cut_off is not None and finishing and situation.role == "computer":
        session.emit(Warned("An earlier write of firmware to this board was cut off; finishing."))
        return archive.backup(cut_off.backup) if cut_off.backup else None
    if discard:
        session.emit(Warned("What the board held was not captured, as you asked."))
        return None
    if situation.answer is not Answer.PROMPT:
        if situation.role == "display":
            return None
        raise RefusedError(
            "The board shows no prompt, so a program that may be in its memory cannot be kept.",
            kept=_UNTOUCHED,
            advice="Get it to its prompt first (--baud, --stop-running). If nothing on it needs "
            "keeping, repeat the command with --discard-board.",
            needed=Needed.LOSS,
        )
    found = collect(session, archive, situation.board)
    if found.unread:
        raise RefusedError(
            f"Not every stored program could be read: {', '.join(found.unread)}.",
            kept=_UNTOUCHED,
            advice="Look at it with `hostlink backup`. To go on without it, add --discard-board.",
            needed=Needed.LOSS,
        )
    if not found.items:
        return None
    kept = keep(session, archive, situation.board, found, note="before firmware was written")
    session.emit(BackupKept(kept.spec, tuple(item.name for item in kept.items)))
    return kept


def _answer(session: Session) -> tuple[Answer, LinkError | None]:
    """What comes back. A program that runs and may not be stopped is the user's to decide."""
    answers = {
        LinkReason.SILENT: Answer.SILENCE,
        LinkReason.UNREADABLE: Answer.UNREADABLE,
        LinkReason.RUNNING: Answer.RUNNING,
    }
    try:
        session.attach()
    except LinkError as error:
        if error.reason not in answers:
            raise
        return answers[error.reason], error
    return Answer.PROMPT, None


def _cut_off(archive: Archive, board: Board, image: Image) -> FirmwareWrite | None:
    """A write to this board that was cut off; or, since a board may be plugged in elsewhere
    afterwards, the newest write of the same image that was, wherever."""
    last = archive.last_write(board.uuid)
    if last is not None:
        return None if last.is_finished else last
    newest: dict[str, FirmwareWrite] = {}
    for write in archive.writes():
        newest.setdefault(write.board_uuid, write)
    for write in newest.values():
        if not write.is_finished and write.image.sha256 == image.sha256:
            return write
    return None


def _doubts(situation: Situation) -> list[str]:
    role, answer = situation.role, situation.answer
    cut_off = situation.unfinished
    if cut_off is not None and cut_off.role == role:
        return []
    found = []
    if situation.known_role and situation.known_role != role:
        found.append(f"it is known as the {situation.known_role}, the image is for the {role}")
    if answer.value != EXPECTED[role]:
        found.append(
            f"it answered with {answer.value}, the image is for the {role}, which answers with "
            f"{EXPECTED[role]}"
        )
    return found
