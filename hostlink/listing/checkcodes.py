"""Compute and verify check codes, which prove that a listing was typed correctly.

Each code is computed from the line as the board lists it: number, one blank, text (its canonical
form).

The line code is two decimal digits, 02 to 98, by ISO/IEC 7064, MOD 97-10. Each character counts as
its code less 31, as two digits: blank 01, A 34, ~ 95. By hand: start with C = 0; for each character
in turn put the remainder of C * 100 + (code - 31), divided by 97, in place of C; the line's code is
98 less the remainder of C * 100 divided by 97. It detects every single wrong character, and every
swap of two characters next to each other or one apart: a character's weight is a power of 3, and
neither a difference of two characters (94 at most) nor one of such weights is a multiple of 97. It
cannot detect a swap of two characters 48 apart, where the weights repeat.

The whole code is four hexadecimal digits: CRC-16/XMODEM (polynomial 1021, start 0, nothing
reflected) over all lines in the order of their numbers, each followed by a line feed (10). It also
detects missing and additional lines, and what a line code misses by chance: a character omitted or
typed twice, 1 in 97 (measured over the shipped programs: 1.2 %).
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass

from hostlink.errors import ListingError
from hostlink.listing.canonical import canonical_lines
from hostlink.listing.charset import character_name
from hostlink.listing.parse import Listing, line_number
from hostlink.listing.rules import Rules
from hostlink.sentences import mend_or_change

WHOLE = "ALL"
"""The word before the code of the whole program where codes are typed."""

_UNCODED = re.compile("[^ -~]")
_ROW = re.compile(r"([0-9]+)[ \t:]+([0-9]{1,2})", re.ASCII)
_WHOLE_ROW = re.compile(r"all[ \t:]+([0-9a-foqilsz]{1,4})", re.ASCII | re.IGNORECASE)
_ALIKE = {"o": "0", "q": "0", "i": "1", "l": "1", "s": "5", "z": "2"}
_IN_HEXADECIMAL, _IN_DECIMAL = str.maketrans(_ALIKE), str.maketrans({**_ALIKE, "b": "8"})


@dataclass(frozen=True, slots=True)
class Codes:
    """The codes of a listing: two digits by line number, and four for the whole program or ""."""

    lines: Mapping[int, str]
    whole: str


@dataclass(frozen=True, slots=True)
class WrongLine:
    """A line with another code than expected.

    text: the line as the board would list it, and found: its code; "" if there is no such line.
    """

    number: int
    text: str
    wanted: str
    found: str


@dataclass(frozen=True, slots=True)
class CodeCheck:
    """The result of checking a listing against codes. missing, extra: line numbers.

    whole_wanted, whole_found: the codes of the whole program; whole_wanted is "" if none was given.
    right_count: number of right lines. mistyped: lines with another code than was typed, in a
    program whose code as a whole is right, so that the typed codes are wrong. is_surplus: the code
    of the whole is right without the extra lines.
    """

    wrong: tuple[WrongLine, ...]
    missing: tuple[int, ...]
    extra: tuple[int, ...]
    whole_wanted: str
    whole_found: str
    right_count: int
    mistyped: tuple[WrongLine, ...] = ()
    is_surplus: bool = False

    @property
    def lines_right(self) -> bool:
        """Return whether exactly the expected lines are present, each with its code."""
        return not (self.wrong or self.missing or self.extra)

    @property
    def right(self) -> bool:
        """Return whether all lines are right and, if given, the code of the whole program."""
        return self.lines_right and self.whole_wanted in ("", self.whole_found)


def line_code(text: str) -> str:
    """Return the two-digit code of one line as the board lists it.

    Raises ListingError naming a character outside codes 32 to 126, which cannot be coded.
    """
    _need_coded(text)
    rest = 0
    for character in text:
        rest = (rest * 100 + ord(character) - 31) % 97
    return f"{98 - rest * 100 % 97:02d}"


def whole_code(canonical_text: str) -> str:
    """Return the code of a program in canonical form: four hexadecimal digits in capitals.

    Raises ListingError naming a character outside codes 32 to 126.
    """
    if _UNCODED.search(canonical_text.replace("\n", "")):
        for line in canonical_text.split("\n"):
            _need_coded(line)
    return f"{binascii.crc_hqx(canonical_text.encode('ascii'), 0):04X}"


def codes_of(listing: Listing, rules: Rules) -> Codes:
    """Return the codes of a program under a board's rules.

    Raises ListingError for a character outside codes 32 to 126.
    """
    rows = canonical_lines(listing.numbered(), rules)
    lines = {number: line_code(row) for number, row in rows.items()}
    return Codes(lines, whole_code("".join(row + "\n" for row in rows.values())))


def verify_codes(listing: Listing, codes: Codes, rules: Rules) -> CodeCheck:
    """Check a listing against codes. Raises ListingError for characters that cannot be coded."""
    held = canonical_lines(listing.numbered(), rules)
    found = codes_of(listing, rules)
    wrong = tuple(
        WrongLine(number, held.get(number, ""), wanted, found.lines.get(number, ""))
        for number, wanted in sorted(codes.lines.items())
        if found.lines.get(number) != wanted
    )
    if codes.whole == found.whole:
        return CodeCheck((), (), (), codes.whole, found.whole, len(held), mistyped=wrong)
    missing = tuple(one.number for one in wrong if not one.found)
    expected = "".join(f"{row}\n" for number, row in held.items() if number in codes.lines)
    return CodeCheck(
        tuple(one for one in wrong if one.found),
        missing,
        extra=tuple(sorted(held.keys() - codes.lines.keys())),
        whole_wanted=codes.whole,
        whole_found=found.whole,
        right_count=len(codes.lines) - len(wrong),
        is_surplus=bool(expected) and whole_code(expected) == codes.whole,
    )


def mistyped_words(check: CodeCheck) -> str:
    """Return a sentence on the codes that were mistyped, or ""."""
    if not check.mistyped:
        return ""
    those = ", ".join(
        f"{one.number} {one.found} (not {one.wanted})"
        if one.found
        else f"{one.number} {one.wanted} (there is no line {one.number})"
        for one in check.mistyped
    )
    return (
        "The code of all lines is right, so the listing is right and these codes were mistyped: "
        f"{those}."
    )


def as_digits(text: str) -> str:
    """Return text with digits in place of the letters that are taken for them, such as O for 0."""
    return text.lower().translate(_IN_DECIMAL)


def parse_codes(text: str, *, name: str) -> Codes:
    """Parse typed codes: one row for each line, `10 44` or `10: 44`, and `ALL 31C3`.

    name: the source's name in messages. Leading zeros of a code may be omitted, and a letter may
    stand for the digit that it looks like. Raises ListingError for a malformed or repeated row,
    which it names, or if there is no code.
    """
    lines: dict[int, str] = {}
    whole = ""
    for at, row in enumerate(text.splitlines(), 1):
        bare = row.strip()
        if not bare:
            continue
        if match := _WHOLE_ROW.fullmatch(bare):
            if whole:
                raise _bad_row(name, at, "there is a code for the whole already")
            whole = match[1].lower().translate(_IN_HEXADECIMAL).upper().zfill(4)
        elif match := _ROW.fullmatch(as_digits(bare)):
            number = line_number(match[1])
            if number in lines:
                raise _bad_row(name, at, f"line {number} has a code already")
            lines[number] = match[2].zfill(2)
        else:
            raise _bad_row(name, at, "it is not a line number and its code")
    if not (lines or whole):
        raise ListingError(
            f"{name} holds no codes.",
            kept="Nothing was changed.",
            advice="Write a line number and its code in each row, such as: 10 44",
        )
    return Codes(lines, whole)


def _bad_row(name: str, at: int, why: str) -> ListingError:
    return ListingError(
        f"{name}, row {at:,}: {why}.",
        kept="Nothing was changed.",
        advice=f"Write rows such as 10 44, and {WHOLE} 31C3 for the whole.",
    )


def _need_coded(line: str) -> None:
    """Raise ListingError naming the first character of a line that cannot be coded."""
    wrong = _UNCODED.search(line)
    if wrong is None:
        return
    shown = "".join(char if char.isprintable() else "?" for char in line[:30])
    raise ListingError(
        f"There is no check code for the character {character_name(wrong[0])}, in: {shown}",
        kept="Nothing was changed.",
        advice=f"Check codes exist for the characters 32 to 126. {mend_or_change('it')}",
    )
