"""Read and check the values of a profile file, one class for each kind of value.

A kind turns a value from `tomllib` into the value of a profile, or raises `Wrong` with the rest of
the sentence "KEY is VALUE; ...". written.py converts back.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol


class Wrong(Exception):
    """A value is invalid; the message completes "KEY is VALUE; ..."."""


class Kind(Protocol):
    """The kind of value that a key may have."""

    def read(self, value: object) -> Any:
        """Return the profile's value for a TOML value; raises `Wrong`."""


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number within inclusive bounds. TOML's true and false are not numbers."""

    low: int
    high: int

    def read(self, value: object) -> int:
        """Return a whole number within the bounds."""
        if isinstance(value, bool) or not isinstance(value, int):
            raise Wrong(f"it must be a whole number from {self.low} to {self.high}")
        if not self.low <= value <= self.high:
            raise Wrong(f"it must be from {self.low} to {self.high}")
        return value


@dataclass(frozen=True, slots=True)
class Number:
    """A finite number, whole or not, within inclusive bounds."""

    low: float
    high: float

    def read(self, value: object) -> float:
        """Return a number within the bounds."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise Wrong(f"it must be a number from {self.low:g} to {self.high:g}")
        if not self.low <= value <= self.high:  # so is a NaN
            raise Wrong(f"it must be from {self.low:g} to {self.high:g}")
        return float(value)


@dataclass(frozen=True, slots=True)
class Flag:
    """true or false."""

    def read(self, value: object) -> bool:
        """Return true or false."""
        if not isinstance(value, bool):
            raise Wrong("it must be true or false, without quotes")
        return value


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words."""

    words: tuple[str, ...]

    def read(self, value: object) -> str:
        """Return one of the words."""
        if not isinstance(value, str) or value not in self.words:
            raise Wrong(f"it must be {_either(self.words)}")
        return value


@dataclass(frozen=True, slots=True)
class Text:
    """Text of printable characters. shortest, longest: characters. ascii: only codes 32 to 126."""

    longest: int
    shortest: int = 0
    ascii: bool = False

    def read(self, value: object) -> str:
        """Return a text of printable characters."""
        if not isinstance(value, str):
            raise Wrong("it must be text in quotes")
        if len(value) < self.shortest:
            raise Wrong("it must not be empty")
        if len(value) > self.longest:
            raise Wrong(f"it has {len(value)} characters; at most {self.longest} are allowed")
        bad = next((ch for ch in value if not ch.isprintable()), "")
        if bad:
            raise Wrong(f"it must be printable, but holds the control character {code(bad)}")
        bad = next((ch for ch in value if self.ascii and not ch.isascii()), "")
        if bad:
            raise Wrong(f"it is typed to the board and must be plain ASCII, without {bad}")
        return value


@dataclass(frozen=True, slots=True)
class Name:
    """The short word that a profile is called by."""

    def read(self, value: object) -> str:
        """Return a name of small letters, digits and hyphens."""
        if not isinstance(value, str) or not re.fullmatch(r"[a-z][a-z0-9-]{0,39}", value):
            raise Wrong(
                "it must be one word of small letters, digits and hyphens that begins with a "
                "letter, at most 40 characters"
            )
        return value


@dataclass(frozen=True, slots=True)
class Octets:
    """Bytes, written as text whose code points are byte values ("\\r", "\\u0003")."""

    longest: int
    shortest: int = 0

    def read(self, value: object) -> bytes:
        """Return the bytes that a text stands for."""
        if not isinstance(value, str):
            raise Wrong('it must be text in quotes, control characters as "\\r" or "\\u0003"')
        bad = next((ch for ch in value if ord(ch) > 255), "")
        if bad:
            raise Wrong(f"it stands for bytes, and {code(bad)} is more than 255")
        if not self.shortest <= len(value) <= self.longest:
            least = f"{self.shortest} to " if self.shortest else "at most "
            raise Wrong(f"it is {len(value)} bytes long and must be {least}{self.longest}")
        return value.encode("latin-1")


@dataclass(frozen=True, slots=True)
class Template:
    """Text that holds each field once, in this order, or "" where it may be empty."""

    fields: tuple[str, ...]
    longest: int
    may_be_empty: bool = False
    digits: bool = True

    def read(self, value: object) -> str:
        """Return a text with its fields in braces."""
        text = Text(self.longest, ascii=True).read(value)
        if self.may_be_empty and not text:
            return text
        wanted = " and ".join(self.fields)
        if re.findall(r"\{[^{}]*\}", text) != list(self.fields):
            raise Wrong(f"it must hold {wanted}, once" + (" each, in this order" * self._several))
        rest = text
        for name in self.fields:
            rest = rest.replace(name, "")
        if "{" in rest or "}" in rest:
            raise Wrong(f"it may hold no braces but those of {wanted}")
        if not self.digits and any(ch.isdigit() for ch in rest):
            raise Wrong("it may hold no digit besides the line number")
        return text

    @property
    def _several(self) -> bool:
        return len(self.fields) > 1


@dataclass(frozen=True, slots=True)
class Slot:
    """A command with the field {name} once, or without it if the only place has no name."""

    longest: int

    def read(self, value: object) -> str:
        """Return a command with a place for a name, or without."""
        if isinstance(value, str) and "{" not in value:
            return Text(self.longest, ascii=True).read(value)
        return Template(("{name}",), self.longest).read(value)


@dataclass(frozen=True, slots=True)
class ErrorForm:
    """How an error message names its line: {message} with {number} or {line}."""

    longest: int

    def read(self, value: object) -> str:
        """Return a template of an error message."""
        if not isinstance(value, str) or len(value) > self.longest:
            raise Wrong(f"it must be text in quotes of at most {self.longest} characters")
        fields = re.findall(r"\{[^{}]*\}", value)
        allowed = ({"{message}", "{number}"}, {"{message}", "{line}"})
        if set(fields) not in allowed or len(set(fields)) < len(fields):
            raise Wrong("it must hold {message}, and {number} or {line}, once each")
        bad = next((ch for ch in value if not ch.isprintable() and ch != "\n"), "")
        if bad:
            raise Wrong(f"it must be printable, but holds the control character {code(bad)}")
        return value


@dataclass(frozen=True, slots=True)
class Mark:
    """One character that cannot be mistaken for part of a word, a number or quoted text, or ""."""

    def read(self, value: object) -> str:
        """Return one punctuation character."""
        if value == "":
            return ""
        fits = isinstance(value, str) and re.fullmatch(r"[!#-/:-@\[-`{-~]", value)
        if not isinstance(value, str) or not fits:
            raise Wrong('it must be one punctuation mark other than ", or empty')
        return value


@dataclass(frozen=True, slots=True)
class Quotes:
    """The characters that each open and close quoted text, one after the other."""

    def read(self, value: object) -> str:
        """Return the characters that open quoted text."""
        if not isinstance(value, str) or not re.fullmatch(r"[!-/:-@\[-`{-~]{0,4}", value):
            raise Wrong("it must be up to 4 punctuation marks, such as '\"'")
        if len(set(value)) < len(value):
            raise Wrong("it holds a mark twice")
        return value


@dataclass(frozen=True, slots=True)
class Keyword:
    """A word of the board's BASIC, in capitals."""

    def read(self, value: object) -> str:
        """Return a keyword in capitals."""
        fits = isinstance(value, str) and re.fullmatch(r"[!#-`{-~]+( [!#-`{-~]+)*", value)
        if not isinstance(value, str) or not fits or len(value) > 20:
            raise Wrong("a keyword must be text in capitals, 1 to 20 characters")
        return value


@dataclass(frozen=True, slots=True)
class Charset:
    """A codec that maps each of the 256 bytes to one character and back, ASCII to itself."""

    def read(self, value: object) -> str:
        """Return the name of a one-byte character set that Python knows."""
        if not isinstance(value, str) or not re.fullmatch(r"[A-Za-z0-9_.-]{1,40}", value):
            raise Wrong('it must name a character set, such as "latin-1"')
        if not _lossless(value):
            raise Wrong(
                "it must map each of the 256 bytes to one character and back, and ASCII to "
                'itself, as "latin-1" and "cp437" do'
            )
        return value


def _lossless(name: str) -> bool:
    """Return whether a codec maps each byte to one character and back."""
    # One byte at a time first: codecs that join bytes into characters stop there.
    every = [bytes([byte]) for byte in range(256)]
    try:
        held = [byte.decode(name) for byte in every]
        back = [character.encode(name) for character in held]
        whole = b"".join(every).decode(name)
    except (LookupError, ValueError, AssertionError):
        return False
    # Escape codecs read some runs of ASCII as one character.
    tricky = b"\\u0041 \\x41 +AEE-"
    if tricky.decode(name) != "".join(held[byte] for byte in tricky):
        return False
    text = "".join(held)
    plain = b"".join(every[:128]).decode("ascii")
    return (
        len(set(held)) == len(text) == 256
        and back == every
        and whole == text[:256]
        and (text[:128] == plain)
    )


def code(character: str) -> str:
    """Return a character by its number, for a message: "U+0007"."""
    return f"U+{ord(character):04X}"


def _either(words: Sequence[str]) -> str:
    quoted = [json.dumps(word) for word in words]
    return " or ".join([", ".join(quoted[:-1]), quoted[-1]] if len(quoted) > 1 else quoted)
