"""Where the learners of a class sit: the board of each, and the port at which it is now."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from hostlink.archive import Archive, Board
from hostlink.board.port.ports import Identity, boards_here, identity_of, same_board
from hostlink.errors import UsageError
from hostlink.jobs.boards import find_at_port, looks_like_label
from hostlink.jobs.class_register.register import Learner, Register
from hostlink.sentences import NO_PORT_OPENED
from hostlink.words import safe


@dataclass(frozen=True, slots=True)
class Seat:
    """A learner and their board. board: None if it is not known yet. port: "" if unplugged."""

    learner: Learner
    board: Board | None = None
    port: str = ""

    @property
    def is_unknown(self) -> bool:
        """Return whether the register names the board by a label that no known board has."""
        named = self.learner.board
        return bool(named and self.board is None and not self.port and looks_like_label(named))

    @property
    def place(self) -> str:
        """Return the board and where it is plugged in, as in "Red, ttyUSB0"."""
        if not self.learner.board:
            return "none yet"
        label = self.board.label if self.board is not None else ""
        name = label or _plain(self.learner.board)
        port = _plain(self.port) or ("unknown" if self.is_unknown else "absent")
        return name if port == name else f"{name}, {port}"


def _plain(port: str) -> str:
    """Return a port without its common prefix and its options."""
    return port.partition("?")[0].removeprefix("practice://").removeprefix("/dev/")


def unknown_words(seats: Iterable[Seat]) -> str:
    """Return the sentence on labels that no known board has; "" if there are none."""
    labels = [safe(each.learner.board) for each in seats if each.is_unknown]
    return f"No board is known as {' or '.join(labels)}." if labels else ""


def seats_of(register: Register, archive: Archive) -> list[Seat]:
    """Return the present seat of each learner, without opening a port.

    Raises UsageError if two learners have the same board.
    """
    found, boards = boards_here(), archive.boards()
    seats: list[Seat] = []
    taken: list[tuple[Identity, Learner]] = []
    for learner in register.learners:
        board, port = find_at_port(learner.board, boards, found)
        if port:
            identity = identity_of(port)
            for other, one in taken:
                if same_board(identity, other):
                    raise UsageError(
                        f"{safe(one.name)} ({safe(one.board)}) and {safe(learner.name)} "
                        f"({safe(learner.board)}) have the same board.",
                        kept=NO_PORT_OPENED,
                        advice=f"In {register.path}, give one of them another board, or put both "
                        "into one entry.",
                    )
            taken.append((identity, learner))
        seats.append(Seat(learner, board, port))
    return seats
