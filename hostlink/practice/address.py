"""Opening a practice board by its address: `practice://NAME?option=value&option`.

A named board keeps memory, EEPROM and flash in a locked state file, so that one command can load a
program and the next can save it; options hold for one opening. Without a name it is called "desk".

Options: `fresh` starts with empty memory, EEPROM and a new flash; `time=virtual` does not wait;
every field of BoardSettings and Faults by its name: `line_ms=15&receive_buffer=2&to_host=0.001`.
`seed` is both: where the board's random numbers start, and which faults happen.
"""

from __future__ import annotations

import base64
import contextlib
import dataclasses
import json
import os
import re
import urllib.parse
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from hostlink.errors import LinkError, LinkReason, RefusedError, UsageError
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings

SCHEME = "practice://"
DEFAULT_NAME = "desk"
_FORMAT = 1
_NAME = re.compile(r"[A-Za-z0-9_-]{1,40}")
_LARGEST_STATE = 1 << 20
_LARGEST_BOOT = 4096  # ATmega328P data sheet 7810C, table 26-7: 2048 words


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
    if not url.startswith(SCHEME):
        raise UsageError(
            f'"{url[:60]}" is not the address of a practice board.',
            advice=f"It begins with {SCHEME}.",
        )
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
        elif key in _FIELDS[BoardSettings] or key in _FIELDS[Faults]:
            for fields, values in ((BoardSettings, settings), (Faults, faults)):
                if key in _FIELDS[fields]:
                    values[key] = _value(key, value, _FIELDS[fields][key])
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
        if key == "line_end" and not text:
            raise UsageError("The practice board's line_end cannot be empty.")
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
    if key in ("baud", "bootloader_baud") and number < 50:
        raise UsageError(f"The practice board's {key} must be 50 or more.")
    if key == "boot_bytes" and number > _LARGEST_BOOT:
        raise UsageError(f"The practice board's boot_bytes can be {_LARGEST_BOOT} at most.")
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

    folder: where the state files are. Raises LinkError where the board is open elsewhere or the
    folder cannot be used, RefusedError where its program does not fit the settings.
    """
    path = folder / f"{address.name}.json"
    with _folder_trouble(folder):
        folder.mkdir(parents=True, exist_ok=True)
        handle = path.with_suffix(".lock").open("ab")
    lock = _lock(handle, address.name)
    machine = Machine(address.settings, address.faults, host_baud=host_baud)
    if not address.fresh:
        try:
            _restore(machine, path)
        except RefusedError:
            lock.close()
            raise

    def keep(machine: Machine) -> None:
        flash = base64.b64encode(zlib.compress(machine.chip.flash)).decode("ascii")
        state = {"format": _FORMAT, "basic": machine.basic.to_state(), "flash": flash}
        temporary = path.with_suffix(".new")
        with lock, _folder_trouble(folder):
            temporary.write_text(json.dumps(state), encoding="utf-8")
            temporary.replace(path)

    return machine, keep


def _restore(machine: Machine, path: Path) -> None:
    """Put a saved state back; a spoilt one means an empty board, as after a power cut.

    Raises RefusedError where a sound one does not fit the settings: it must not be lost.
    """
    try:
        if path.stat().st_size > _LARGEST_STATE:
            return
        state = json.loads(path.read_text(encoding="utf-8"))
        if state["format"] == _FORMAT:
            machine.basic.from_state(state["basic"])
            if "flash" in state:
                _restore_flash(machine, state["flash"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return


def _restore_flash(machine: Machine, kept: str) -> None:
    """Put the flash back; a spoilt one is left as new. Never unpacks more than a flash holds."""
    size = len(machine.chip.flash)
    try:
        flash = zlib.decompressobj().decompress(base64.b64decode(kept), size + 1)
    except zlib.error:
        return
    if len(flash) == size:
        machine.hold_flash(flash)


@contextlib.contextmanager
def _folder_trouble(folder: Path) -> Iterator[None]:
    """Say in a LinkError that the folder of the state files cannot be used."""
    try:
        yield
    except OSError as error:
        raise LinkError(
            f"The practice board's folder {folder} cannot be used: {error.strerror}.",
            kept="What it held before is kept.",
            advice="Free some space or allow writing there.",
        ) from error


def _lock(handle: IO[bytes], name: str) -> IO[bytes]:
    """Hold the board for this process; the system lets go of it even after a kill."""
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
