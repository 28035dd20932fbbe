"""Opening a port by name or address; the only module that knows all kinds of port."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path

import platformdirs

from hostlink.errors import UsageError
from hostlink.link.clock import Clock, RealClock, VirtualClock
from hostlink.link.port import Port
from hostlink.practice.kind import BoardKind
from hostlink.sentences import no_port_address
from hostlink.words import safe

_OF_THE_SYSTEM = ("/dev/null", "/dev/zero", "/dev/full", "/dev/random", "/dev/urandom")
_NO_PORTS: dict[str, Callable[[Path], bool]] = {
    "folder": Path.is_dir,
    "file": Path.is_file,
    "named pipe": Path.is_fifo,
    "Unix socket": Path.is_socket,
    "disk": Path.is_block_device,
    "device of the system itself": lambda path: str(path.resolve()) in _OF_THE_SYSTEM,
}
_HOST_AND_PORT = re.compile(r"[^/?#]+:[0-9]{1,5}(?![0-9a-zA-Z])")
PRACTICE_FOLDER_VARIABLE = "HOSTLINK_PRACTICE"


def open_port(name: str, baud: int, kind: BoardKind | None = None) -> tuple[Port, Clock]:
    """Open a device, `practice://`, `rfc2217://` or `socket://`; return the port and its clock.

    kind: the kind of practice board, overriding the address. Raises LinkError if the port cannot be
    opened, UsageError for an invalid address.
    """
    if name.startswith("practice:"):
        return _open_practice(name, baud, kind)
    from hostlink.link.serial_port import SerialPort  # pyserial is not needed for a practice board

    return SerialPort(name, baud), RealClock()


def sizes_told(name: str) -> dict[str, int]:
    """Return the memory sizes that an address sets for its practice board, in bytes.

    Keys: program_bytes and eeprom_bytes, each only if the address contains it. Raises UsageError
    for an invalid address.
    """
    told = [key for key in ("program_bytes", "eeprom_bytes") if f"{key}=" in name]
    if not name.startswith("practice:") or not told:
        return {}
    from hostlink.practice.address import parse_address

    settings = parse_address(name).settings
    return {key: getattr(settings, key) for key in told}


def check_address(name: str) -> None:
    """Raise UsageError for a name that no port can have.

    Such a name is the address of a practice board with an invalid option, an address of an unknown
    kind or without a port number, a file, a folder, a disk, or a device of the system itself.
    """
    if name.startswith("practice:"):
        from hostlink.practice.address import parse_address

        parse_address(name)
    elif "://" in name:
        _check_network_address(name)
    elif what := next(
        (what for what, is_it in _NO_PORTS.items() if name and is_it(Path(name))), ""
    ):
        from hostlink.link.serial_port import not_an_address

        raise not_an_address(name, f'"{safe(name)}" is a {what}, not a port')


def _check_network_address(name: str) -> None:
    scheme, _, rest = name.partition("://")
    if scheme not in ("rfc2217", "socket", "loop"):
        from hostlink.link.serial_port import not_an_address

        raise not_an_address(name, f"{no_port_address(name)}: {safe(scheme)}:// is not known")
    if scheme != "loop" and not _HOST_AND_PORT.match(rest):
        raise UsageError(
            f"{no_port_address(name)}: an address needs :PORT, a number up to 65535, after the "
            "name of its computer.",
            advice=f"Write {scheme}://HOST:PORT, such as {scheme}://127.0.0.1:4000.",
        )


def practice_folder() -> Path:
    """Return the folder in which practice boards keep their state between commands."""
    named = os.environ.get(PRACTICE_FOLDER_VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    return Path(platformdirs.user_state_dir("hostlink", appauthor=False)) / "practice"


def _open_practice(name: str, baud: int, kind: BoardKind | None) -> tuple[Port, Clock]:
    from hostlink.practice.address import open_board, parse_address
    from hostlink.practice.port import PracticePort

    address = parse_address(name)
    machine, keep = open_board(address, practice_folder(), baud, kind)
    if address.virtual:
        virtual = VirtualClock()
        return PracticePort(machine, virtual, jump=virtual.advance_to, on_close=keep), virtual
    clock = RealClock()
    return PracticePort(machine, clock, on_close=keep), clock


def keep_practice_kind(name: str) -> None:
    """Fix a practice board to the kind that its address names, without opening the port.

    Raises RefusedError if it is of another kind, LinkError if it is open elsewhere.
    """
    from hostlink.practice.address import open_board, parse_address

    if name.startswith("practice:") and (address := parse_address(name)).kind:
        machine, keep = open_board(address, practice_folder(), 9600)
        keep(machine)


def is_practice_kind(name: str) -> bool:
    """Return whether there are practice boards of this kind."""
    from hostlink.practice.kind_file import kind_names

    return name in kind_names()


def practice_kinds() -> list[dict[str, str]]:
    """Return the kinds of practice board, the default one first.

    Keys of each: kind (its name), title, and about (what is special about it).
    """
    from hostlink.practice.kind_file import find_kind, kind_names

    kinds = map(find_kind, kind_names())
    return [{"kind": kind.name, "title": kind.title, "about": kind.about} for kind in kinds]
