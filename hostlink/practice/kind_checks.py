"""Check the values of a kind: by the types of the fields, then against each other."""

from __future__ import annotations

import dataclasses
import re
import string
import typing
from collections.abc import Callable, Mapping
from typing import Any

from hostlink.pins import PIN_FIELDS, pin_form_fault
from hostlink.practice.complaint import Reason
from hostlink.practice.kind import WORDS, BoardKind, Messages
from hostlink.practice.settings import setting_fault

_LARGEST = 10_000_000
_FREE = re.compile(r"[A-Z]+(\(\)|\([A-Z0-9]\))?")
_ROW_SPEC = re.compile(r"[<>]?[0-9]{0,2}")

# The names that each template may hold besides {end}.
_FIELDS: dict[str, tuple[str, ...]] = {
    "greeting": ("free", "eeprom", "eeprom_left"),
    "memory": ("free", "eeprom", "eeprom_left"),
    "error": ("what", "where"),
    "stopped": ("where",),
    "where": ("number", "row"),
    "where_direct": ("typed",),
    "list_row": ("row",),
    "list_end": ("count", "used"),
    "wrong_answer": ("wanted",),
}
_TEXTS = (each.name for each in dataclasses.fields(Messages) if each.type == "str")
_TEMPLATES = tuple(name for name in _TEXTS if name != "mark")  # the mark stands as it is


class WrongSetting(Exception):
    """A value is invalid; the message completes "KEY is VALUE; it ..."."""


def setting_value(annotation: Any, value: object) -> Any:
    """Convert a value in a file to the type of its field, `annotation`. Raises WrongSetting."""
    if typing.get_origin(annotation) is typing.Literal:
        words = typing.get_args(annotation)
        if value not in words:
            raise WrongSetting(f"must be {' or '.join(words)}")
        return value
    if typing.get_origin(annotation) is tuple and annotation not in _PLAIN:
        if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
            raise WrongSetting("must be a list of texts")
        return tuple(byte_text(each) for each in value)
    return _PLAIN[annotation](value)


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise WrongSetting("must be true or false")
    return value


def whole_number(value: object) -> int:
    """Return a whole number. Raises WrongSetting."""
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= _LARGEST:
        raise WrongSetting(f"must be a whole number, 0 to {_LARGEST}")
    return value


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise WrongSetting("must be a number")
    if not 0 <= value <= _LARGEST:
        raise WrongSetting(f"must be from 0 to {_LARGEST}")
    return float(value)


def byte_text(value: object) -> str:
    """Return text in which each character stands for one byte. Raises WrongSetting."""
    if not isinstance(value, str):
        raise WrongSetting("must be text in quotes")
    if any(ord(each) > 255 for each in value):
        raise WrongSetting("stands for bytes, so no character may be above 255")
    return value


def _ranges(value: object) -> tuple[tuple[int, int], ...]:
    """Return inclusive ranges of whole numbers, such as [[2, 13]]. Raises WrongSetting."""
    if not isinstance(value, list) or not all(isinstance(e, list) and len(e) == 2 for e in value):
        raise WrongSetting("must be a list of ranges such as [[2, 13]]")
    pairs = tuple((whole_number(low), whole_number(high)) for low, high in value)
    if any(low > high for low, high in pairs):
        raise WrongSetting("must hold ranges that go upwards")
    return pairs


def _octets(value: object) -> bytes:
    return byte_text(value).encode("latin-1")


_PLAIN: dict[Any, Callable[[object], Any]] = {
    bool: _flag,
    int: whole_number,
    float: _number,
    str: byte_text,
    bytes: _octets,
    tuple[tuple[int, int], ...]: _ranges,
}


def kind_faults(kind: BoardKind) -> list[str]:
    """Return sentences on values of a kind that are invalid or contradict each other."""
    return [
        *_template_faults(kind),
        *_setting_faults(kind),
        *_storage_faults(kind),
        *_word_faults(kind),
        *_pin_faults(kind),
    ]


def _template_faults(kind: BoardKind) -> list[str]:
    texts: list[tuple[str, str, tuple[str, ...]]] = [
        (f"[messages] {name}", getattr(kind.messages, name), _FIELDS.get(name, ()))
        for name in _TEMPLATES
    ]
    texts += [
        (f"[errors] {reason.value}", said, ("where", *reason.fields))
        for reason, said in kind.messages.errors
    ]
    faults = [fault for each in texts if (fault := _template_fault(*each))]
    if Reason.PUZZLED not in dict(kind.messages.errors):
        faults.append("[errors] must have the key puzzled, used for errors that are not given.")
    return faults


def _template_fault(key: str, said: str, fields: tuple[str, ...]) -> str:
    try:
        parts = [part for _, *part in string.Formatter().parse(said) if part[0] is not None]
    except ValueError as error:
        return f"{key} cannot be read: {error}."
    for name, spec, conversion in parts:
        if name not in ("end", *fields):
            known = ", ".join(f"{{{each}}}" for each in ("end", *fields))
            return f"{key} may hold {known}, and not {{{name}}}."
        if spec or conversion:
            return f"{key} may hold {{{name}}} only without a format."
    return ""


def _setting_faults(kind: BoardKind) -> list[str]:
    settings = kind.settings
    values: Mapping[str, Any] = {name: getattr(settings, name) for name in settings.__slots__}
    return [
        f"[talk] {name} {fault}."
        for name, value in values.items()
        if (fault := setting_fault(name, value))
    ]


def _storage_faults(kind: BoardKind) -> list[str]:
    storage = kind.storage
    tokens = storage.form == "tokens"
    faults = []
    if not tokens and (storage.keywords or storage.token_bytes):
        faults.append('[storage] keywords are for the form "tokens".')
    if not tokens and storage.blanks == "squeezed":
        faults.append('[storage] blanks can be "squeezed" with the form "tokens" only.')
    if not 0 <= storage.first_line <= storage.last_line <= 65535:
        faults.append("[storage] first_line and last_line must be from 0 to 65535, in this order.")
    parts = [part for _, *part in string.Formatter().parse(storage.row) if part[0] is not None]
    names = [name for name, *_ in parts]
    if names != ["number", "text"] or not all(
        _ROW_SPEC.fullmatch(spec or "") for _, spec, _ in parts
    ):
        faults.append("[storage] row must hold {number} and {text}, once each, in this order.")
    if 0 < storage.row_width < 20:
        faults.append("[storage] row_width must be 20 or more; 0: none.")
    return faults


def _word_faults(kind: BoardKind) -> list[str]:
    words = dict(kind.language.words)
    missing = [meaning for meaning in ("list", "new", "run") if not words.get(meaning)]
    if kind.shelf.slots != "none":
        missing += [meaning for meaning in ("store", "recall") if not words.get(meaning)]
    faults = [f"[words] {meaning} must have a word." for meaning in missing]
    free = kind.language.free
    if free and not _FREE.fullmatch(free):
        faults.append('[language] free must be like "SIZE", "ROOM()" or "FRE(0)", or empty.')
    known = dict(WORDS)
    faults += [
        f"[messages] done_after knows no {each}; it knows {', '.join(known)}."
        for each in kind.messages.done_after
        if each not in known
    ]
    return faults


def _pin_faults(kind: BoardKind) -> list[str]:
    pins = kind.language.pins
    faults = {name: pin_form_fault(name, getattr(pins, name)) for name in PIN_FIELDS}
    return [f"[pins] {name} is wrong: {fault}." for name, fault in faults.items() if fault]
