"""Kinds of practice board as files: one TOML file each in the folder `kinds`, read strictly.

Tables: [board] (title, about, source), [talk], [storage], [messages], [errors], [language],
[words], [eeprom] and [pins] (hostlink.pins.Pins; other kinds without it have no pins). Each key is
a field of the value in hostlink.practice.kind or of BoardSettings; what is left out is as on the
practice board. Text stands for bytes ("\\r", "\\u0003"). An unknown key is an error; all faults are
reported at once.
"""

from __future__ import annotations

import dataclasses
import tomllib
import typing
from collections.abc import Iterable, Mapping
from functools import lru_cache
from importlib.resources import files
from typing import Any

from hostlink.errors import UsageError
from hostlink.pins import Pins
from hostlink.practice.complaint import Reason
from hostlink.practice.kind import (
    WORDS,
    BoardKind,
    KindLanguage,
    KindShelf,
    KindStorage,
    Messages,
    Words,
)
from hostlink.practice.kind_checks import (
    WrongSetting,
    byte_text,
    kind_faults,
    setting_value,
    whole_number,
)
from hostlink.practice.settings import BoardSettings
from hostlink.words import nearest, safe

DEFAULT = "practice"
_SUFFIX = ".toml"
_BOARD = ("title", "about", "source")
_REASONS = {reason.value: reason for reason in Reason}
# Table to the value that it fills, and the field of BoardKind for it.
_TABLES: dict[str, tuple[type, str]] = {
    "talk": (BoardSettings, "settings"),
    "storage": (KindStorage, "storage"),
    "messages": (Messages, "messages"),
    "language": (KindLanguage, "language"),
    "eeprom": (KindShelf, "shelf"),
}
# A field that is a table in its table. It and fields with a table of their own are read apart.
_IN_TABLE = ("storage", "token_bytes")
_PIN_KEYS = dataclasses.fields(Pins)
_APART = {("messages", "errors"), ("language", "words"), ("language", "pins"), _IN_TABLE}


def kind_names() -> list[str]:
    """Return the names of all kinds, the practice board's own first."""
    folder = files("hostlink.practice").joinpath("kinds")
    found = (each.name for each in folder.iterdir())
    names = sorted(name.removesuffix(_SUFFIX) for name in found if name.endswith(_SUFFIX))
    return sorted(names, key=lambda name: name != DEFAULT)


@lru_cache(maxsize=64)
def find_kind(name: str) -> BoardKind:
    """Return the kind of that name. Raises UsageError that names the known ones."""
    if name not in kind_names():
        near = nearest(name, kind_names(), 1)
        hint = f"Did you mean {near[0]}? " if near else ""
        raise UsageError(
            f'There is no kind of practice board called "{safe(name[:40])}".',
            advice=f"{hint}Known: {', '.join(kind_names())}.",
        )
    file = files("hostlink.practice").joinpath("kinds", name + _SUFFIX)
    return read_kind(file.read_text(encoding="utf-8"), name)


def read_kind(toml: str, name: str) -> BoardKind:
    """Return the kind that a TOML text describes. Raises UsageError with all its faults."""
    try:
        data = tomllib.loads(toml)
    except tomllib.TOMLDecodeError as error:
        raise _faulty(name, [f"It is not TOML: {error}."]) from error
    return kind_from_data(name, data)


def kind_from_data(name: str, data: Mapping[str, Any]) -> BoardKind:
    """Return the kind that tables describe. Raises UsageError with all its faults."""
    faults: list[str] = []
    known = (*_TABLES, "board", "errors", "words", "pins")
    faults += [f"There is no table [{table}]." for table in data if table not in known]
    tables = {table: _table(data, table, faults) for table in known}
    board = _checked(tables["board"], dict.fromkeys(_BOARD, str), "board", faults)
    values = {
        field: value(**_checked(tables[table], _annotations(table, value), table, faults))
        for table, (value, field) in _TABLES.items()
    }
    values["messages"] = dataclasses.replace(values["messages"], **_errors(tables, faults))
    values["language"] = dataclasses.replace(values["language"], **_words(tables, faults))
    if "pins" in data or name != DEFAULT:
        pins = Pins(**_checked(tables["pins"], typing.get_type_hints(Pins), "pins", faults))
        values["language"] = dataclasses.replace(values["language"], pins=pins)
    values["storage"] = dataclasses.replace(values["storage"], **_token_bytes(tables, faults))
    kind = BoardKind(name=name, **board, **values)
    faults += kind_faults(kind)
    if faults:
        raise _faulty(name, faults)
    return kind


def kind_to_data(kind: BoardKind) -> dict[str, Any]:
    """Return a kind as tables that JSON and TOML can hold; `kind_from_data` reads them."""
    data: dict[str, Any] = {"board": {key: getattr(kind, key) for key in _BOARD}}
    for table, (value, field) in _TABLES.items():
        held, own = getattr(kind, field), value()
        data[table] = {
            key: _written(getattr(held, key))
            for key in _annotations(table, value)
            if getattr(held, key) != getattr(own, key)
        }
    data["errors"] = {reason.value: said for reason, said in kind.messages.errors}
    data["words"] = {meaning: list(words) for meaning, words in kind.language.words}
    pins = kind.language.pins
    data["pins"] = {each.name: _written(getattr(pins, each.name)) for each in _PIN_KEYS}
    if kind.storage.token_bytes:
        data["storage"]["token_bytes"] = dict(kind.storage.token_bytes)
    return data


def _written(value: Any) -> Any:
    if isinstance(value, bytes):
        return value.decode("latin-1")
    return [_written(each) for each in value] if isinstance(value, tuple) else value


def _annotations(table: str, value: type) -> dict[str, Any]:
    """Return the fields that stand in the table itself, each with its type."""
    hints = typing.get_type_hints(value)
    names = (field.name for field in dataclasses.fields(value))
    return {name: hints[name] for name in names if (table, name) not in _APART}


def _table(data: Mapping[str, Any], name: str, faults: list[str]) -> dict[str, Any]:
    table = data.get(name, {})
    if isinstance(table, dict):
        return dict(table)
    faults.append(f"{name} must be a table, [{name}].")
    return {}


def _checked(
    table: Mapping[str, Any], known: Mapping[str, Any], name: str, faults: list[str]
) -> dict[str, Any]:
    """Return the valid values of a table, and report the others."""
    values = {}
    for key, value in table.items():
        if key not in known:
            if (name, key) != _IN_TABLE:
                faults.append(f"[{name}] has no key {key}; it has {', '.join(known)}.")
            continue
        try:
            values[key] = setting_value(known[key], value)
        except WrongSetting as wrong:
            faults.append(f"[{name}] {key} is {str(value)[:40]!r}; it {wrong}.")
    return values


def _errors(tables: Mapping[str, Any], faults: list[str]) -> dict[str, Any]:
    table = tables["errors"]
    if not table:
        return {}
    read = _checked(table, dict.fromkeys(_REASONS, str), "errors", faults)
    return {"errors": tuple((_REASONS[key], said) for key, said in read.items())}


def _words(tables: Mapping[str, Any], faults: list[str]) -> dict[str, Any]:
    known = dict(WORDS)
    read = _checked(tables["words"], dict.fromkeys(known, tuple[str, ...]), "words", faults)
    words: Words = tuple((meaning, read.get(meaning, own)) for meaning, own in WORDS)
    return {"words": words}


def _token_bytes(tables: Mapping[str, Any], faults: list[str]) -> dict[str, Any]:
    table = tables["storage"].get("token_bytes", {})
    if not isinstance(table, dict):
        faults.append("[storage] token_bytes must be a table of word to bytes.")
        return {}
    costs: list[tuple[str, int]] = []
    for word, cost in table.items():
        try:
            costs.append((byte_text(word), whole_number(cost)))
        except WrongSetting as wrong:
            faults.append(f"[storage] token_bytes of {word} is {cost!r}; it {wrong}.")
    return {"token_bytes": tuple(costs)}


def _faulty(name: str, faults: Iterable[str]) -> UsageError:
    told = " ".join(faults)
    return UsageError(f'The kind of practice board "{name}" cannot be used. {told}')
