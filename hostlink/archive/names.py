"""Check the names of programs, and parse the short specs that name a revision or rescue."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from hostlink.advice import Advice, Ways
from hostlink.errors import ArchiveError, ArchiveReason
from hostlink.words import fold, nearest

LONGEST_NAME = 40
RESCUE = "rescue"
_NOT_IN_FILES = re.compile(r'[<>:"/\\|?*]+')
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[\d¹²³]) *(\..*)?")


def clean(text: str) -> str:
    """Return text that can be stored: lone surrogates, which no file can hold, become "?"."""
    return text.encode("utf-8", "replace").decode("utf-8")


def checked_name(name: str) -> str:
    """Return a valid program name: 1 to 40 printable characters without "@".

    Blanks at either end are removed. Raises ArchiveError with the rule that was broken.
    """
    name = unicodedata.normalize("NFC", name).strip()

    def advice(by: Ways) -> str:
        return f"Choose another name; a listing is given one {by.name_listing}."

    if not name:
        raise _invalid("A program needs a name.", "Give it one.")
    if len(name) > LONGEST_NAME:
        raise _invalid(
            f'The name begins "{name[:LONGEST_NAME]}" and has {len(name)} characters, more than '
            f"{LONGEST_NAME}.",
            advice,
        )
    if "@" in name:
        reason = "the @ is reserved for revision numbers"
    elif not name.isprintable():
        reason = "it holds a character that cannot be printed"
    elif fold(name) == RESCUE:
        reason = "it is the word for rescues"
    elif name.startswith("-"):
        reason = 'it begins with "-"'
    else:
        return name
    raise _invalid(f'"{name}" cannot be a program\'s name: {reason}.', advice)


def _invalid(what: str, advice: Advice) -> ArchiveError:
    return ArchiveError(what, reason=ArchiveReason.INVALID, advice=advice)


def is_program_name(name: str) -> bool:
    """Return whether a text is a valid program name."""
    try:
        return bool(checked_name(name))
    except ArchiveError:
        return False


def file_name(name: str) -> str:
    """Return a file name that is valid on every system, without folders and reserved names."""
    plain = _NOT_IN_FILES.sub("_", name).strip(". ") or "_"
    return f"_{plain}" if _RESERVED.fullmatch(plain) else plain


@dataclass(frozen=True, slots=True)
class Spec:
    """The name of a revision or rescue as typed.

    number: None for the latest. archive: the first digits of the UUID of the archive that gave the
    number, "" for this one.
    """

    name: str
    number: int | None
    archive: str = ""

    @property
    def is_rescue(self) -> bool:
        """Return whether this names a rescue."""
        return fold(self.name) == RESCUE

    @classmethod
    def from_text(cls, text: str) -> Spec:
        """Read NAME, NAME@NUMBER, rescue@NUMBER or NAME@NUMBER/ARCHIVE. Raises ArchiveError."""
        name, at, digits = text.strip().partition("@")
        name = unicodedata.normalize("NFC", name).strip()
        if not at:
            return cls(name, None)
        digits, _, archive = digits.partition("/")
        if not (digits.isascii() and digits.isdigit() and len(digits) <= 12):
            raise ArchiveError(
                f'"{text}" names no revision: after the @ comes a number.',
                reason=ArchiveReason.INVALID,
                advice="Write NAME, or NAME@3 for revision 3.",
            )
        if archive and not set(archive) <= set("0123456789abcdef-"):
            raise ArchiveError(
                f'"{text}" names no revision: after the / come the first digits of an '
                "archive's UUID.",
                reason=ArchiveReason.INVALID,
            )
        return cls(name, int(digits), archive)


def unknown_program(name: str, names: Iterable[str]) -> ArchiveError:
    """Return the error for an unknown program, with similar names."""
    near = nearest(name, names)
    advice = (
        f"The nearest names are: {', '.join(near)}."
        if near
        else lambda by: f"List what is there {by.programs}."
    )
    return ArchiveError(
        f'There is no program "{name}" in the archive.',
        reason=ArchiveReason.NOT_THERE,
        advice=advice,
    )
