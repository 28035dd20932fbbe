"""Opening a practice board by its address: `practice://NAME?option=value&option`.

A named board keeps memory, EEPROM, flash and its kind in a locked state file, so that one command
can load a program and the next can save it; the other options hold for one opening. Without a name
it is called "desk".

Options: `kind` is one of hostlink.practice.kind_file; `like` is a profile, of which the board is
a twin (hostlink.board.twin); `fresh` starts with empty memory, EEPROM and a new flash;
`time=virtual` does not wait; every field of BoardSettings and Faults by its name, instead of the
kind's own: `line_ms=15&receive_buffer=2&to_host=0.001`. `seed` is both: where the board's random
numbers start, and which faults happen.
"""

from __future__ import annotations

import base64
import dataclasses
import json
import re
import typing
import urllib.parse
import zlib
from collections import Counter
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from hostlink.errors import LinkError, LinkReason, RefusedError, UsageError, file_errors
from hostlink.locking import try_lock
from hostlink.practice.faults import Faults
from hostlink.practice.kind import BoardKind
from hostlink.practice.kind_file import (
    DEFAULT,
    find_kind,
    kind_from_data,
    kind_names,
    kind_to_data,
)
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings, setting_fault
from hostlink.sentences import START_FRESH, held_before, no_name_of
from hostlink.words import nearest, safe

SCHEME = "practice://"
DEFAULT_NAME = "desk"
_FORMAT = 1
_NAME = re.compile(r"[A-Za-z0-9_-]{1,40}")
_LARGEST_STATE = 1 << 20


@dataclass(frozen=True, slots=True)
class Address:
    """A parsed practice address.

    kind: the name of a kind, or "". like: the profile of which it is a twin, or "". given: settings
    that replace those of the kind.
    """

    name: str
    faults: Faults
    fresh: bool
    virtual: bool
    kind: str = ""
    like: str = ""
    given: Mapping[str, Any] = field(default_factory=dict)

    @property
    def settings(self) -> BoardSettings:
        """Return the settings of a new board at the address."""
        return self.applied(find_kind(self.kind or DEFAULT)).settings

    def applied(self, kind: BoardKind) -> BoardKind:
        """Return the kind with the settings of the address."""
        settings = dataclasses.replace(kind.settings, **self.given)
        return dataclasses.replace(kind, settings=settings)


def parse_address(url: str) -> Address:
    """Parse a practice address. Raises UsageError that names what is not understood."""
    if not url.startswith(SCHEME):
        raise UsageError(
            f'"{safe(url[:60])}" is not the address of a practice board.',
            advice=f"It begins with {SCHEME}.",
        )
    rest = url[len(SCHEME) :]
    name, _, query = rest.partition("?")
    name = name.strip("/") or DEFAULT_NAME
    if not _NAME.fullmatch(name):
        raise UsageError(
            f"{no_name_of('practice board', name)}.",
            advice="Use up to 40 letters, digits, - and _.",
        )
    fresh = virtual = False
    kind = like = ""
    settings: dict[str, Any] = {}
    faults: dict[str, Any] = {}
    for key, value in _options(query).items():
        if key == "fresh":
            fresh = value not in ("0", "no")
        elif key == "like":
            if not value:
                raise UsageError("like names a profile: like=tiny.")
            like = value
        elif key == "kind":
            kind = find_kind(value).name
        elif key == "time":
            virtual = _one_of(key, value, "real", "virtual") == "virtual"
        elif key in _FIELDS[BoardSettings] or key in _FIELDS[Faults]:
            for fields, values in ((BoardSettings, settings), (Faults, faults)):
                if key in _FIELDS[fields]:
                    values[key] = _value(key, value, _FIELDS[fields][key])
        else:
            raise _unknown_option(key)
    return Address(name, Faults(**faults), fresh, virtual, kind, like, settings)


def _options(query: str) -> dict[str, str]:
    """Return the options of an address. Raises UsageError if one is given twice."""
    given = urllib.parse.parse_qsl(query, keep_blank_values=True)
    options = dict(given)
    if len(options) < len(given):
        key = next(key for key, count in Counter(key for key, _ in given).items() if count > 1)
        raise UsageError(
            f"The practice board's {safe(key[:40])} is given more than once.",
            advice="Give it once.",
        )
    return options


def _unknown_option(key: str) -> UsageError:
    fields = {**_FIELDS[BoardSettings], **_FIELDS[Faults]}
    known = ["kind", "like", "fresh", "time", *sorted(fields)]
    near = nearest(key, known, 1)
    hint = f"Did you mean {near[0]}? " if near else ""
    return UsageError(
        f'The practice board has no option "{safe(key[:40])}".',
        advice=f"{hint}Known: {', '.join(known)}.",
    )


_FIELDS: dict[type, dict[str, Any]] = {
    owner: {name: typing.get_type_hints(owner)[name] for name in owner.__dataclass_fields__}
    for owner in (BoardSettings, Faults)
}


def _value(key: str, text: str, annotation: Any) -> Any:
    """Return the value of an option with the type of its field."""
    if typing.get_origin(annotation) is typing.Literal:
        return _one_of(key, text, *typing.get_args(annotation))
    if annotation is bool:
        return _one_of(key, text or "yes", "yes", "no", "1", "0") in ("yes", "1")
    value: Any
    if annotation is bytes:
        value = text.encode("latin-1", "replace")
    else:
        value = _number(key, text, annotation)
    fault = setting_fault(key, value)
    if fault:
        raise UsageError(f"The practice board's {key} {fault}.")
    return value


def _number(key: str, text: str, annotation: Callable[[str], float]) -> float:
    try:
        number = annotation(text)
    except ValueError:
        number = -1
    if not 0 <= number <= 10_000_000:
        raise UsageError(
            f'The practice board\'s {key} cannot be "{safe(text[:40])}"; it is a number, 0 or more.'
        )
    return number


def _one_of(key: str, text: str, *allowed: str) -> str:
    if text not in allowed:
        raise UsageError(
            f'The practice board\'s {key} cannot be "{safe(text[:40])}".',
            advice=f"It is {' or '.join(allowed)}.",
        )
    return text


def open_board(
    address: Address, folder: Path, host_baud: int, kind: BoardKind | None = None
) -> tuple[Machine, Callable[[Machine], None]]:
    """Return a machine in the state in which it was closed, and a function that saves its state.

    folder: of the state files. kind: replaces the one in the address. Raises LinkError if the board
    is open elsewhere or the folder cannot be used, RefusedError if its program does not fit the
    settings or it is a board of another kind.
    """
    path = folder / f"{address.name}.json"
    with _folder_trouble(folder):
        folder.mkdir(parents=True, exist_ok=True)
        handle = path.with_suffix(".lock").open("ab")
    lock = _lock(handle, address.name)
    try:
        state = {} if address.fresh else _read_state(path)
        wanted = kind or (find_kind(address.kind) if address.kind else None)
        of_kind = _settled(address, wanted, state)
        applied = address.applied(of_kind)
        machine = Machine(applied.settings, address.faults, kind=applied, host_baud=host_baud)
        _restore(machine, state)
    except RefusedError:
        lock.close()
        raise

    def keep(machine: Machine) -> None:
        state = _state_of(machine, of_kind)
        temporary = path.with_suffix(".new")
        with lock, _folder_trouble(folder):
            temporary.write_text(json.dumps(state), encoding="utf-8")
            temporary.replace(path)

    return machine, keep


def _state_of(machine: Machine, kind: BoardKind) -> dict[str, Any]:
    """Return what the state file keeps of a machine, as JSON data."""
    flash = base64.b64encode(zlib.compress(machine.chip.flash)).decode("ascii")
    state = {
        "format": _FORMAT,
        "kind": kind.name,
        "basic": machine.basic.to_state(),
        "flash": flash,
    }
    if kind.name not in kind_names() or kind != find_kind(kind.name):
        state["kind_data"] = kind_to_data(kind)
    return state


def _read_state(path: Path) -> dict[str, Any]:
    """Return the saved state of a board, or {} if there is none or it is damaged."""
    try:
        if path.stat().st_size > _LARGEST_STATE:
            return {}
        state = json.loads(path.read_text(encoding="utf-8"))
        sound = state["format"] == _FORMAT and isinstance(state["basic"], dict)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}
    return dict(state) if sound else {}


def _settled(address: Address, wanted: BoardKind | None, state: Mapping[str, Any]) -> BoardKind:
    """Return the kind of the board. Raises RefusedError if it was saved as another kind.

    A board saved before there were kinds is a practice board.
    """
    name = str(state.get("kind", DEFAULT))
    if not state:
        return wanted or find_kind(DEFAULT)
    if wanted is not None and wanted.name != name:
        raise RefusedError(
            f'The practice board "{address.name}" is of the kind {name}, not {wanted.name}.',
            kept="What it holds was not touched.",
            advice=f"Use another name for a new board, or lose what this one holds: {SCHEME}"
            f"{address.name}?kind={wanted.name}&fresh.",
        )
    if wanted is not None:
        return wanted
    data = state.get("kind_data")
    try:
        return kind_from_data(name, data) if isinstance(data, dict) else find_kind(name)
    except UsageError as error:
        raise RefusedError(
            f'The kind of the practice board "{address.name}" cannot be read back.',
            kept="It was not changed.",
            advice=f"Name its kind, or {START_FRESH}.",
        ) from error


def _restore(machine: Machine, state: Mapping[str, Any]) -> None:
    """Restore a saved state; the board was switched on long ago and sends nothing.

    Raises RefusedError if a sound state does not fit the settings, because it must not be lost.
    """
    if state:
        machine.basic.from_state(state["basic"])
    if isinstance(state.get("flash"), str):
        _restore_flash(machine, state["flash"])
    machine.resume()


def _restore_flash(machine: Machine, kept: str) -> None:
    """Restore the flash, unless it is damaged. Never unpacks more than a flash holds."""
    size = len(machine.chip.flash)
    try:
        flash = zlib.decompressobj().decompress(base64.b64decode(kept), size + 1)
    except (ValueError, zlib.error):
        return
    if len(flash) == size:
        machine.chip.flash[:] = flash


def _folder_trouble(folder: Path) -> AbstractContextManager[None]:
    """Raise LinkError for errors with the folder of the state files."""
    return file_errors(
        LinkError,
        f"The practice board's folder {folder} cannot be used",
        kept=held_before(),
        advice="Free some space or allow writing there.",
    )


def _lock(handle: IO[bytes], name: str) -> IO[bytes]:
    """Lock the board for this process; the system releases it even after a kill."""
    try:
        is_free = try_lock(handle)
    except OSError:
        is_free = False
    if not is_free:
        handle.close()
        raise LinkError(
            f'The practice board "{name}" is in use by another hostlink.',
            reason=LinkReason.BUSY,
            kept="Nothing was sent.",
            advice=lambda by: (
                f"Close the other one, or name another, practice://OTHER, {by.name_port}."
            ),
        )
    return handle
