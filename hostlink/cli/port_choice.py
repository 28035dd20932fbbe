"""The ports that a command uses; a board's label stands for its port."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hostlink.cli.output import say
from hostlink.errors import LinkError, UsageError
from hostlink.sentences import NO_BOARD_HERE, NO_PORT_OPENED, PLUG_IN
from hostlink.words import natural, plural

if TYPE_CHECKING:
    from pathlib import Path

    from hostlink.archive import Archive, Board
    from hostlink.cli.context import CommonOptions


def resolve_ports(common: CommonOptions) -> None:
    """Replace labels by the ports of their boards.

    If no USB bridge is plugged in, --all means the labelled practice boards, so that an evening
    can be rehearsed. Raises LinkError if no board has a label, or the board is not plugged in.
    """
    if common.open_link is not None:
        return
    if common.all_boards:
        common.ports = _rehearsed(common)
    elif not all("://" in each for each in common.ports):
        common.ports = tuple(_port(common, each) for each in common.ports)
    if common.ports:
        common.port = common.ports[0]


def resolved_ports(common: CommonOptions, named: tuple[str, ...]) -> tuple[str, ...]:
    """Replace labels by ports for a command that opens none; unknown labels stay."""
    try:
        return tuple(_port(common, each) if each else each for each in named)
    except LinkError:
        return named


def _port(common: CommonOptions, named: str) -> str:
    """Return the port for a port name or for a label that one of the archives knows."""
    from hostlink.jobs.boards import looks_like_label, port_labelled

    if not named.strip():
        raise UsageError(
            "--port is given but names no port.",
            kept=NO_PORT_OPENED,
            advice="Name one, or leave --port out: then the only board plugged in is used.",
        )
    if not looks_like_label(named):
        return named
    return port_labelled(_known_boards(common), named)


def names_no_board(common: CommonOptions, named: str) -> bool:
    """Return whether a word is neither a port nor what one of the archives calls a board."""
    from hostlink.board.port.ports import boards_here
    from hostlink.jobs.boards import find_at_port, looks_like_label

    if not looks_like_label(named):
        return False
    return find_at_port(named, _known_boards(common), boards_here()) == (None, "")


def _known_boards(common: CommonOptions) -> list[Board]:
    """Return the boards of the archives in which labels are looked up; create no archive."""
    from hostlink.archive import Archive

    boards: list[Board] = []
    for file in label_archives(common):
        if file.exists():
            with Archive.open(file, create=False, read_only=True) as archive:
                boards += archive.boards()
    return boards


def _rehearsed(common: CommonOptions) -> tuple[str, ...]:
    """Return the ports of the labelled practice boards, none if a USB bridge is plugged in."""
    from hostlink.archive import Archive
    from hostlink.board.port.ports import usb_ports
    from hostlink.jobs.boards import practice_labelled

    file = label_archives(common)[-1]
    if usb_ports() or not file.exists():
        return ()
    with Archive.open(file, create=False, read_only=True) as archive:
        found = practice_labelled(archive)
    if found:
        boards = plural(len(found), "labelled practice board")
        say(f"{NO_BOARD_HERE}; {boards} instead.", quiet=common.quiet)
    return tuple(found)


def label_archives(common: CommonOptions) -> list[Path]:
    """Return the archives to look up labels in: the user's, then the practice boards'."""
    from hostlink.archive.database.place import archive_path

    if common.archive_path:
        return [common.archive_path.expanduser()]
    return list(dict.fromkeys((archive_path(), archive_path(practice=True))))


def known_ports(common: CommonOptions, archive: Archive) -> list[str]:
    """Return the ports of the known boards that are plugged in, sorted by label.

    Other ports are reported and left alone: anything may be connected to a USB bridge, so nothing
    is typed to a device that was never named as a board.
    """
    from hostlink.board.port.ports import usb_ports
    from hostlink.jobs.session.last_known import known_board

    found: list[tuple[str, str]] = []
    for identity in usb_ports():
        board = known_board(archive, identity)
        if board is not None and (board.profile or board.label):
            found.append((board.label, identity.port))
        else:
            say(
                f"{identity.port} was left alone: no board is known there. Use it once with "
                "--port, or label it with `hostlink boards --label`.",
                quiet=common.quiet,
            )
    if not found:
        raise UsageError(
            "No known board is plugged in.",
            kept=NO_PORT_OPENED,
            advice=f"{PLUG_IN}, or name each --port.",
        )
    found.sort(key=lambda each: (not each[0], natural(each[0]), natural(each[1])))
    return [port for _, port in found]
