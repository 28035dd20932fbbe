"""Which boards are here, and which are known."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.archive import Archive, Board
from hostlink.board.ports import Identity, identity_of
from hostlink.jobs.attaching import is_board


@dataclass(frozen=True, slots=True)
class KnownBoard:
    """A row for the list of boards. port is "" for a board that is not plugged in."""

    label: str
    port: str
    chip: str
    recognised_by: str
    profile: str
    holds: str

    def as_dict(self) -> dict[str, str | None]:
        return {key: value or None for key, value in dataclasses.asdict(self).items()}


def known_boards(archive: Archive, here: Sequence[Identity]) -> list[KnownBoard]:
    """The ports that are here, each with the board known at it, then the boards that are not."""
    boards = archive.boards()
    rows: list[KnownBoard] = []
    seen: set[str] = set()
    for identity in here:
        board = next((each for each in boards if is_board(identity, each)), None)
        if board is not None:
            seen.add(board.uuid)
        rows.append(_row(archive, board, identity))
    rows += [_row(archive, board, None) for board in boards if board.uuid not in seen]
    return rows


def label_board(archive: Archive, port: str, label: str) -> Board:
    """Give the board at a port a label."""
    identity = identity_of(port)
    board = archive.board_seen(
        vid=identity.vid, pid=identity.pid, serial=identity.serial, location=identity.location
    )
    return archive.board_label(board.uuid, label)


def _row(archive: Archive, board: Board | None, identity: Identity | None) -> KnownBoard:
    copy = archive.host_copy(board.uuid) if board is not None else None
    serial = identity.serial if identity is not None else (board.serial if board else "")
    place = identity.location if identity is not None else (board.location if board else "")
    return KnownBoard(
        label=board.label if board else "",
        port=identity.port if identity else _address(serial),
        chip=identity.chip if identity else "",
        recognised_by=_recognised_by(serial, place),
        profile=board.profile if board else "",
        holds=copy.revision if copy else "",
    )


def _address(serial: str) -> str:
    """The address of a practice board, which is always here; "" for every other board."""
    kind, _, name = serial.partition(":")
    return f"practice://{name}" if kind == "practice" else ""


def _recognised_by(serial: str, place: str) -> str:
    if _address(serial):
        return "its name"
    return f"serial number {serial}" if serial else f"socket {place}"
