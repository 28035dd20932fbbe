"""Listing the boards that are present or known, with the facts about each."""

from __future__ import annotations

import dataclasses
import os
import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from hostlink.archive import Archive, Board
from hostlink.archive.boards import taken_words
from hostlink.board.port.bridges import BRIDGES, driver_hint
from hostlink.board.port.ports import Identity, boards_here, identity_of, usb_ports
from hostlink.errors import LinkError, LinkReason, RefusedError
from hostlink.jobs.session.last_known import doubt_of_copy, is_board, last_held
from hostlink.link.opening import keep_practice_kind
from hostlink.sentences import MEMORY_IS_LOST
from hostlink.words import fold, natural, nearest, safe

_IS_COM = re.compile(r"COM[0-9]+$", re.IGNORECASE)  # ports on Windows
_IS_PORT = re.compile(r"(?:COM|tty(?:USB|ACM|S))[0-9]+$|(?:cu|tty)\.|practice$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class KnownBoard:
    """A board or port, in words. port: "" for a board that is not plugged in.

    usb_id: vendor and product, as in lsusb. also: other names of the port. restarts_on_open: as
    seen, None if unknown. access: what to do before the port can be opened, "" if nothing. holds:
    the revision that it was last known to hold, or a description; "" if unknown. changed: whether
    that was changed since. may_lack_edits: whether it may have been edited since. holds_proven_at:
    when that was last read back, in ISO 8601; "" if never, or if it is only the rest of a load.
    """

    label: str
    port: str
    also: tuple[str, ...]
    chip: str
    usb_id: str
    driver: str
    access: str
    recognised_by: str
    restarts_on_open: bool | None
    profile: str
    holds: str
    changed: bool
    may_lack_edits: bool
    holds_proven_at: str

    @property
    def opening_words(self) -> str:
        """Describe what opening the port does to the board, as far as it has been seen."""
        if self.restarts_on_open is None:
            return "not known yet whether that restarts it"
        if self.restarts_on_open:
            return f"restarts it: {MEMORY_IS_LOST}"
        return "did not restart it when last tried"

    @property
    def held_words(self) -> str:
        """Describe what the board was last known to hold and how certain that is, or ""."""
        if not self.holds:
            return ""
        words, since = self.holds, ", perhaps edited since" * self.may_lack_edits
        if self.holds_proven_at:
            at = datetime.fromisoformat(self.holds_proven_at).astimezone()
            words += f", proven {at:%Y-%m-%d %H:%M}"
        return words + (", changed since" if self.changed else since)

    def as_dict(self) -> dict[str, object]:
        """Return the fields for JSON output, with None for those that are empty."""
        return {
            key: None if value in ("", ()) else value
            for key, value in dataclasses.asdict(self).items()
        }


def known_boards(archive: Archive, ports: Sequence[Identity]) -> list[KnownBoard]:
    """Return the ports that are present, with their known boards, then the absent boards."""
    boards = archive.boards()
    rows: list[KnownBoard] = []
    seen: set[str] = set()
    for identity in ports:
        board = next((each for each in boards if is_board(identity, each)), None)
        if board is not None:
            seen.add(board.uuid)
        rows.append(_row(archive, board, identity))
    absent = [board for board in boards if board.uuid not in seen]
    absent.sort(key=lambda board: (not board.label, natural(board.label)))
    return rows + [_row(archive, board, _absent(board)) for board in absent]


def label_board(archive: Archive, port: str, label: str) -> tuple[Board, str]:
    """Give the board at a port a label; return the board and its previous label.

    A practice board keeps the kind that its address names. Raises RefusedError for a label that
    looks like a port or an option, and for a practice board of another kind.
    """
    is_port = _IS_PORT.match(label) or any(sign in label for sign in "/\\:")
    if is_port or label.startswith("-"):
        raise RefusedError(
            f'"{safe(label)}" cannot be a label: it would be taken for a port or an option.',
            kept="The board's label was not changed.",
            advice="Choose a word that is not the name of a port, has no /, \\ or : in it and does "
            "not begin with -.",
        )
    identity = identity_of(port)
    keep_practice_kind(port)
    board = archive.board_seen(
        vid=identity.vid, pid=identity.pid, serial=identity.serial, location=identity.location
    )
    return archive.board_label(board.uuid, label), board.label


def check_free_label(archive: Archive, port: str, label: str) -> None:
    """Raise RefusedError if a board other than the one at a port has this label."""
    holder = next((one for one in archive.boards() if fold(one.label) == fold(label)), None)
    if holder is not None and not is_board(identity_of(port), holder):
        raise RefusedError(
            taken_words(holder.label), kept="Nothing was written.", advice="Choose another label."
        )


def looks_like_label(text: str) -> bool:
    """Return whether a text given as a port can only be the label of a board."""
    if "://" in text or text.startswith("practice:") or os.path.basename(text) != text:  # noqa: PTH119
        return False
    return (
        not Path(text).is_char_device()
        and identity_of(text).vid is None
        and not _IS_COM.match(text)
    )


def port_labelled(boards: Sequence[Board], label: str) -> str:
    """Return the port of the board with a label. Raises LinkError if it is not plugged in.

    boards: the known ones; if several have the label, the first that is plugged in counts.
    """
    labelled = [board for board in boards if board.label and fold(board.label) == fold(label)]
    if not labelled:
        raise _no_such(label, list({each.label for each in boards if each.label}))
    for board in labelled:
        if port := port_of_board(board, boards_here()):
            return port
    raise LinkError(
        f"The board {labelled[0].label} is not plugged in.",
        reason=LinkReason.NOT_FOUND,
        advice=lambda by: f"Plug it in and try again; list the ports {by.ports}.",
    )


def port_of_board(board: Board, found: Sequence[Identity]) -> str:
    """Return the port of a known board, "" if it is not plugged in. found: those that are."""
    return next((each.port for each in found if is_board(each, board)), _absent(board).port)


def find_at_port(
    named: str, boards: Sequence[Board], found: Sequence[Identity]
) -> tuple[Board | None, str]:
    """Return a board and its port: None if the board is not known yet, "" if it is not plugged in.

    named: a label, the serial number of a bridge, a port or an address; a label takes precedence.
    boards: the known ones. found: those that are plugged in.
    """
    for labelled in boards:
        if labelled.label and fold(labelled.label) == fold(named):
            return labelled, port_of_board(labelled, found)
    identity = next((each for each in found if each.serial and each.serial == named), None)
    if identity is None and not looks_like_label(named):
        identity = identity_of(named)
    if identity is not None:
        board = next((each for each in boards if is_board(identity, each)), None)
        is_here = "://" in named or identity.vid is not None or os.path.exists(identity.port)  # noqa: PTH110
        return board, identity.port if is_here else ""
    return next((each for each in boards if each.serial and each.serial == named), None), ""


def _no_such(label: str, labels: Sequence[str]) -> LinkError:
    """Return the error for a name that is neither a port nor a label, with similar ones."""
    ports = {os.path.basename(each.port): each.port for each in usb_ports()}  # noqa: PTH119
    ports["practice"] = "practice://"
    near = [ports.get(each, each) for each in nearest(label, [*labels, *ports])]
    hints = [
        f"Did you mean {' or '.join(near)}?" if near else "",
        f"The labels are {', '.join(sorted(labels, key=natural))}." if labels else "",
    ]
    return LinkError(
        f"There is no port {safe(label)}, and no board with that label.",
        reason=LinkReason.NOT_FOUND,
        advice=" ".join(filter(None, hints))
        or (lambda by: f"List the ports {by.ports}; give a board a label {by.label_board}."),
    )


def practice_labelled(archive: Archive) -> list[str]:
    """Return the addresses of labelled practice boards, by label."""
    labelled = [board for board in archive.boards() if board.label]
    ports = [_absent(each).port for each in sorted(labelled, key=lambda each: natural(each.label))]
    return [port for port in ports if port.startswith("practice:")]


def access_advice(port: str) -> str:
    """Return what to do before a port can be opened; "" if nothing, or if unknown."""
    if not port or "://" in port or os.name != "posix" or not Path(port).exists():
        return ""
    if os.access(port, os.R_OK | os.W_OK):
        return ""
    from hostlink.link.serial_port import permission_advice

    return permission_advice(port)


def no_port_words(driver: str = "") -> str:
    """Return the end of the sentence that a bridge has no port. driver: its name."""
    named = f" ({driver})" if driver else ""
    return f"no port: its driver{named} is not loaded, or another program uses the chip."


def without_port(found: Sequence[tuple[str, int, int]], system: str = sys.platform) -> list[str]:
    """Return a sentence for each connected bridge without a port (see `hidden_bridges`)."""
    shows = {
        "linux": " `sudo dmesg | tail` shows which.",
        "win32": " The device manager shows it with a warning sign.",
    }.get(system, "")
    return [
        f"A {BRIDGES[vid, pid].name} ({usb_id(vid, pid)}) is plugged in{place and f' at {place}'} "
        f"but has {no_port_words(driver_hint(vid, pid, system))}{shows}"
        for place, vid, pid in found
    ]


def _absent(board: Board) -> Identity:
    """Describe a board that is not plugged in; a practice board or address is always available."""
    kind, _, name = board.serial.partition(":")
    port = f"practice://{name}" if kind == "practice" and board.vid is None else ""
    if "://" in board.location and not port:
        port = board.location
    chip = "practice board" if port.startswith("practice:") else "network port" if port else ""
    if board.vid is not None and board.pid is not None:
        bridge = BRIDGES.get((board.vid, board.pid))
        chip = bridge.name if bridge else "unknown bridge"
    return Identity(port, board.vid, board.pid, board.serial, board.location, chip)


def _row(archive: Archive, board: Board | None, identity: Identity) -> KnownBoard:
    copy = archive.host_copy(board.uuid) if board is not None else None
    holds, changed = last_held(archive, copy) if copy is not None else ("", False)
    doubt = doubt_of_copy(archive, board, copy) if board is not None and copy is not None else ""
    if doubt and copy is not None:
        holds = f"{holds}, {doubt}" if copy.revision else doubt
    access = access_advice(identity.port)
    return KnownBoard(
        label=board.label if board else "",
        port=identity.port,
        also=identity.also,
        chip=identity.chip,
        usb_id=usb_id(identity.vid, identity.pid),
        driver=driver_hint(identity.vid, identity.pid),
        access=f"You have no access to it. {access}" if access else "",
        recognised_by=recognised_by(identity),
        restarts_on_open=board.restarts_on_open if board else None,
        profile=board.profile if board else "",
        holds=holds,
        changed=changed,
        may_lack_edits=copy is not None and copy.may_lack_edits,
        holds_proven_at=copy.proven_at.isoformat() if copy and copy.proven_at and not doubt else "",
    )


def usb_id(vid: int | None, pid: int | None) -> str:
    """Return the USB numbers of a bridge as printed by lsusb, "" without them."""
    return f"{vid:04x}:{pid:04x}" if vid is not None and pid is not None else ""


def recognised_by(identity: Identity) -> str:
    """Describe how a board is identified, and whether that is certain."""
    if identity.chip == "practice board":
        return "its name"
    if "://" in identity.location:
        return "its address; another board there would look the same"
    if identity.serial:
        return f"serial number {identity.serial}"
    if identity.vid is None:
        return f"the port's name {identity.location}"
    why = "its bridge has no serial number"
    if identity.shared_serial:
        why = f"its serial number {identity.shared_serial} is also that of another board here"
    return f"USB socket {identity.location} only: {why}, so another board there looks the same"
