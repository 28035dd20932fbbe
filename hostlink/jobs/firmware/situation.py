"""What is known of a board before firmware is written to it, from its answer and the archive."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from hostlink.archive import Backup, Board, FirmwareWrite, Role
from hostlink.errors import LinkError
from hostlink.jobs.firmware.request import FirstSteps

EXPECTED: dict[str, str] = {"computer": "a BASIC prompt", "display": "silence"}


class Answer(Enum):
    """How the board answered when it was asked for a prompt."""

    PROMPT = "a BASIC prompt"
    SILENCE = "silence"
    UNREADABLE = "bytes that are not text at this speed"
    RUNNING = "text, but no prompt"


@dataclass(frozen=True, slots=True)
class Situation:
    """The board before the write. role: what the image is for. error: why there was no prompt.

    left_by: the earlier write that left it without a prompt, because it was interrupted or its
    image never showed one. It was a write to this board (is_own) or, for a board without writes,
    one of the same image to another. owed: the backup that an earlier write still has to put back.
    goes_back: as in WriteRequest. is_unknown: no job is known to have succeeded on this very board.
    first: the first steps that were to follow `left_by`.
    """

    board: Board
    answer: Answer
    role: Role
    known_role: str
    left_by: FirmwareWrite | None
    owed: Backup | None
    goes_back: bool
    error: LinkError | None
    is_unknown: bool
    first: FirstSteps

    @property
    def may_be_new(self) -> bool:
        """Return whether it answers like a computer board with a bootloader but no BASIC yet."""
        mute = self.answer in (Answer.SILENCE, Answer.UNREADABLE)
        return mute and self.role == "computer" and self.known_role != "display"

    @property
    def looks_new(self) -> bool:
        """Return whether the board may be new and nothing is known of it."""
        return self.may_be_new and self.is_unknown and not self.is_explained

    @property
    def is_own(self) -> bool:
        """Return whether the write that left it without a prompt was to this board."""
        return self.left_by is not None and self.left_by.board_uuid == self.board.uuid

    @property
    def is_explained(self) -> bool:
        """Return whether an earlier write shows which board this is and why it has no prompt."""
        left = self.left_by
        return left is not None and (self.goes_back or left.role == self.role)

    @property
    def doubts(self) -> list[str]:
        """Return what speaks against this being the board for the image."""
        role, answer = self.role, self.answer
        if self.is_explained:
            return []
        found = []
        if self.known_role and self.known_role != role:
            found.append(f"it is known as the {self.known_role}, the image is for the {role}")
        if answer.value != EXPECTED[role]:
            found.append(
                f"it answered with {answer.value}, the image is for the {role}, which answers with "
                f"{EXPECTED[role]}"
            )
        return found
