"""Read and change the app's settings: theme, port, profile, minutes between readings, keys.

They are one small TOML file in the user's configuration folder, or where HOSTLINK_SETTINGS says. A
file that cannot be used never keeps the app from starting: the fault is shown, and the file is left
as it is.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import platformdirs

from hostlink.app.keys import fault_in
from hostlink.app.themes import DARK, NAMES
from hostlink.errors import RefusedError, file_errors
from hostlink.words import safe
from hostlink.writing import toml_string, write_whole

VARIABLE = "HOSTLINK_SETTINGS"
CAPTURE_MINUTES = 5
"""How often a board is read again, since a class usually types at the board's own keyboard."""

MOST_MINUTES = 1_440
_LARGEST = 65_536  # bytes


@dataclass(frozen=True, slots=True)
class Settings:
    """The app's settings. port, profile: "" for none. capture_minutes: 0 for never.

    fault: why the file or its keys were not used, or "". keys: by the names of actions.
    """

    theme: str = DARK
    port: str = ""
    profile: str = ""
    capture_minutes: int = CAPTURE_MINUTES
    fault: str = ""
    keys: dict[str, str] = field(default_factory=dict)

    @property
    def usable_keys(self) -> dict[str, str]:
        """Return the user-defined keys, none of them if one cannot be used."""
        return {} if fault_in(self.keys) else self.keys


def settings_path() -> Path:
    """Return the path of the settings file."""
    named = os.environ.get(VARIABLE, "").strip()
    if named:
        return Path(named).expanduser()
    return Path(platformdirs.user_config_dir("hostlink", appauthor=False)) / "settings.toml"


def read_settings(path: Path) -> Settings:
    """Read the settings file; use the defaults if it is missing or invalid."""
    try:
        held = _parsed(_read(path))
    except FileNotFoundError:
        return Settings()
    except (OSError, ValueError) as error:
        return _defaults(path, f"cannot be read: {error}")
    values = {key: held.get(key, "") for key in ("theme", "port", "profile")}
    if not all(isinstance(value, str) for value in values.values()):
        return _defaults(path, "have a theme, port or profile that is not text")
    minutes = held.get("capture_minutes", CAPTURE_MINUTES)
    if not is_minutes(minutes):
        return _defaults(path, f"need a whole number up to {MOST_MINUTES:,} as capture_minutes")
    keys = held.get("keys", {})
    if not (isinstance(keys, dict) and all(isinstance(key, str) for key in keys.values())):
        return _defaults(path, "have a key that is not text")
    theme = values.pop("theme") or DARK
    faults = list[str]()
    if wrong := fault_in(keys):
        faults.append(f"The settings {path} {wrong}. The default keys are used.")
    if theme not in NAMES:
        faults.append(f'The settings {path} name an unknown theme, "{theme}"; {DARK} is used.')
        theme = DARK
    fault = safe(" ".join(faults))
    return Settings(theme=theme, capture_minutes=minutes, fault=fault, keys=keys, **values)


def _defaults(path: Path, wrong: str) -> Settings:
    """Return the default settings. wrong: why the file is not used, after its name."""
    return Settings(fault=safe(f"The settings {path} {wrong}. The defaults are used."))


def is_minutes(value: object) -> bool:
    """Return whether a value is valid as minutes between two captures."""
    return type(value) is int and 0 <= value <= MOST_MINUTES


def _read(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_LARGEST + 1)


def _parsed(raw: bytes) -> dict[str, Any]:
    """Return what a settings file holds. Raises ValueError where that is not TOML."""
    import tomllib  # most have no settings file

    if len(raw) > _LARGEST:
        raise ValueError(f"it has more than {_LARGEST:,} bytes")
    try:
        return tomllib.loads(raw.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise ValueError("it is not UTF-8 text") from error
    except RecursionError as error:
        raise ValueError("it is nested too deeply") from error


def change_settings(path: Path, **changes: str | int) -> None:
    """Change settings by name in the file; all else in it stays, such as keys and comments.

    The file is replaced whole or not at all. Raises RefusedError, also for one that is not TOML.
    """
    stays = "The file is unchanged; the new settings hold until you close the app."
    with file_errors(RefusedError, f"The settings {path} cannot be written", kept=stays):
        path.parent.mkdir(parents=True, exist_ok=True)
        raw = _read(path) if path.exists() else b""
        _parsed(raw)
        held = raw.decode("utf-8")
        for name, value in changes.items():
            held = _with_row(held, name, toml_string(value) if isinstance(value, str) else value)
        changed = held.encode("utf-8")
        _parsed(changed)
        write_whole(path, changed)


def _with_row(held: str, name: str, value: str | int) -> str:
    """Return the file's text with a new value for a name, which stands before the first table."""
    table = re.search(r"^[ \t]*\[", held, re.MULTILINE)
    end = table.start() if table is not None else len(held)
    row, top = f"{name} = {value}\n", held[:end]
    named = rf"""^[ \t]*["']?{name}["']?[ \t]*=.*\n?"""
    top, count = re.subn(named, lambda _: row, top, count=1, flags=re.MULTILINE)
    if not count:
        top += "\n" * (top[-1:] not in ("", "\n")) + row
    return top + held[end:]
