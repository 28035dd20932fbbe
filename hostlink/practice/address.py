"""Opening a practice board by its address: `practice://NAME?option=value&option`.

A named board keeps memory, EEPROM and settings of its last use in a locked state file, so that one
command can load a program and the next can save it. Without a name the board is called "desk".

Options: `fresh` starts with empty memory and EEPROM; `time=virtual` does not wait in real time;
every field of BoardSettings and Faults by its name: `line_ms=15&receive_buffer=2&to_host=0.001`.
"""

from __future__ import annotations

import dataclasses
import json
import os
import re
import urllib.parse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from hostlink.errors import LinkError, LinkReason, UsageError
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings

SCHEME = "practice://"
DEFAULT_NAME = "desk"
_FORMAT = 1
_NAME = re.compile(r"[A-Za-z0-9_-]{1,40}")
_LARGEST_STATE = 1 << 20


@dataclass(frozen=True, slots=True)
class Address:
    """A practice address taken apart."""

    name: str
    settings: BoardSettings
    faults: Faults
    fresh: bool
    virtual: bool


def parse_address(url: str) -> Address:
    """Read a practice address. Raises UsageError naming what is not understood."""
    rest = url[len(SCHEME) :]
    name, _, query = rest.partition("?")
    name = name.strip("/") or DEFAULT_NAME
    if not _NAME.fullmatch(name):
        raise UsageError(
            f'"{name[:60]}" cannot be the name of a practice board.',
            advice="Use up to 40 letters, digits, - and _.",
        )
    fresh = virtual = False
    settings: dict[str, Any] = {}
    faults: dict[str, Any] = {}
    for key, value in urllib.parse.parse_qsl(query, keep_blank_values=True):
        if key == "fresh":
            fresh = value not in ("0", "no")
        elif key == "time":
            virtual = _one_of(key, value, "real", "virtual") == "virtual"
        elif key in _FIELDS[BoardSettings]:
            settings[key] = _value(key, value, _FIELDS[BoardSettings][key])
        elif key in _FIELDS[Faults]:
            faults[key] = _value(key, value, _FIELDS[Faults][key])
        else:
            known = ", ".join(["fresh", "time", *_FIELDS[BoardSettings], *_FIELDS[Faults]])
            raise UsageError(
                f'The practice board has no option "{key}".', advice=f"Known: {known}."
            )
    return Address(name, BoardSettings(**settings), Faults(**faults), fresh, virtual)


def _field_defaults(kind: type[BoardSettings] | type[Faults]) -> dict[str, Any]:
    return {field.name: field.default for field in dataclasses.fields(kind)}


_FIELDS: dict[type, dict[str, Any]] = {
    BoardSettings: _field_defaults(BoardSettings),
    Faults: _field_defaults(Faults),
}


def _value(key: str, text: str, default: Any) -> Any:
    """A value of the same kind as the option's default."""
    if isinstance(default, bool):
        return _one_of(key, text or "yes", "yes", "no", "1", "0") in ("yes", "1")
    if isinstance(default, bytes):
        return text.encode("latin-1", "replace")
    if isinstance(default, str):
        return _one_of(key, text, "echo", "prompt", "after-prompt")
    try:
        number = type(default)(text)
    except ValueError:
        number = -1
    if not 0 <= number <= 10_000_000:
        raise UsageError(
            f'The practice board\'s {key} cannot be "{text[:40]}"; it is a number from 0.'
        )
    if key == "baud" and number < 50:
        raise UsageError("The practice board's baud must be 50 or more.")
    return number


def _one_of(key: str, text: str, *allowed: str) -> str:
    if text not in allowed:
        raise UsageError(
            f'The practice board\'s {key} cannot be "{text[:40]}".',
            advice=f"It is {' or '.join(allowed)}.",
        )
    return text


def open_board(
    address: Address, folder: Path, host_baud: int
) -> tuple[Machine, Callable[[Machine], None]]:
    """A machine with the state it was left in, and what to call with it when the port is closed.

    folder: where the state files are. Raises LinkError where the board is open elsewhere.
    """
    folder.mkdir(parents=True, exist_ok=True)
    lock = _lock(folder / f"{address.name}.lock", address.name)
    path = folder / f"{address.name}.json"
    machine = Machine(address.settings, address.faults, host_baud=host_baud)
    if not address.fresh and path.exists():
        _restore(machine, path)

    def keep(machine: Machine) -> None:
        state = {"format": _FORMAT, "basic": machine.basic.to_state()}
        temporary = path.with_suffix(".new")
        temporary.write_text(json.dumps(state), encoding="utf-8")
        temporary.replace(path)
        lock.close()

    return machine, keep


def _restore(machine: Machine, path: Path) -> None:
    """Put a saved state back; a spoilt one means an empty board, as after a power cut."""
    try:
        if path.stat().st_size > _LARGEST_STATE:
            return
        state = json.loads(path.read_text(encoding="utf-8"))
        if state["format"] == _FORMAT:
            machine.basic.from_state(state["basic"])
    except (OSError, ValueError, KeyError, TypeError):
        return


def _lock(path: Path, name: str) -> IO[bytes]:
    """Hold the board for this process; the system lets go of it even after a kill."""
    handle = path.open("ab")
    try:
        if os.name == "nt":  # pragma: no cover - reviewed against the library reference, not run
            import msvcrt

            handle.seek(0)
            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(handle.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        handle.close()
        raise LinkError(
            f'The practice board "{name}" is in use by another hostlink.',
            reason=LinkReason.BUSY,
            kept="Nothing was sent.",
            advice="Close the other one, or use another name: practice://OTHER.",
        ) from error
    return handle
