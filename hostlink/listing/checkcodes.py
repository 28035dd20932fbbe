"""Check codes: short codes that prove that a listing was typed right.

What is coded is the line as the board lists it: number, one blank, text (its canonical form).

The line code is two decimal digits, 02 to 98, by ISO/IEC 7064, MOD 97-10. Each character counts as
its code less 31, as two digits: blank 01, A 34, ~ 95. By hand: start with C = 0; for each character
in turn put the remainder of C * 100 + (code - 31), divided by 97, in place of C; the line's code is
98 less the remainder of C * 100 divided by 97. Each wrong character is caught, and each swap of
neighbours or next-but-ones: a character's weight is a power of 3, and neither a difference of
two characters (94 at most) nor one of such weights is a multiple of 97. What it cannot catch: two
characters swapped that stand 48 apart, where the weights come round again.

The whole code is four hexadecimal digits: CRC-16/XMODEM (polynomial 1021, start 0, nothing
reflected) over all lines in the order of their numbers, each with a line feed (10) after it. It
also tells of lines missing and lines too many, and of what a line code lets pass by chance: a
character left out or typed twice, 1 in 97 (measured over the shipped programs: 1.2 %).
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Mapping
from dataclasses import dataclass

from hostlink.errors import ListingError
from hostlink.listing.canonical import canonical_lines
from hostlink.listing.charset import named
from hostlink.listing.parse import Listing, line_number
from hostlink.listing.rules import Rules

WHOLE = "ALL"
"""The word that stands in front of the whole code where codes are typed."""

_LOWEST, _HIGHEST = " ", "~"
_ROW = re.compile(r"([0-9]+)[ \t:]+([0-9]{1,2})", re.ASCII)
_WHOLE_ROW = re.compile(r"all[ \t:]+([0-9a-f]{1,4})", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Codes:
    """The codes of a listing: line number to two digits, and four digits for the whole, or ""."""

    lines: Mapping[int, str]
    whole: str


@dataclass(frozen=True, slots=True)
class WrongLine:
    """A line whose code differs. text: as the board would list it."""

    number: int
    text: str
    wanted: str
    found: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """A listing against codes. missing, extra: numbers of lines that are not there, or too many.

    whole_wanted, whole_found: the codes for the whole; "" where none was given.
    """

    wrong: tuple[WrongLine, ...]
    missing: tuple[int, ...]
    extra: tuple[int, ...]
    whole_wanted: str
    whole_found: str

    @property
    def lines_right(self) -> bool:
        """Whether every line is there and has the code it should have."""
        return not (self.wrong or self.missing or self.extra)

    @property
    def right(self) -> bool:
        """Whether all lines are right and the whole is, where a code for it was given."""
        return self.lines_right and self.whole_wanted in ("", self.whole_found)


def line_code(text: str) -> str:
    """The code of one line as the board lists it, two digits.

    Raises ListingError naming a character outside codes 32 to 126, which no code is defined for.
    """
    rest = 0
    for character in text:
        if not _LOWEST <= character <= _HIGHEST:
            raise _no_code(character, text)
        rest = (rest * 100 + ord(character) - 31) % 97
    return f"{98 - rest * 100 % 97:02d}"


def whole_code(canonical_text: str) -> str:
    """The code of a whole program given in canonical form, four hexadecimal digits in capitals.

    Raises ListingError naming a character outside codes 32 to 126.
    """
    for line in canonical_text.split("\n"):
        wrong = next((char for char in line if not _LOWEST <= char <= _HIGHEST), "")
        if wrong:
            raise _no_code(wrong, line)
    return f"{binascii.crc_hqx(canonical_text.encode('ascii'), 0):04X}"


def codes_of(listing: Listing, rules: Rules) -> Codes:
    """The codes of a program as a board with these rules would hold it. Raises ListingError."""
    rows = canonical_lines(listing.numbered(), rules)
    lines = {number: line_code(row) for number, row in rows.items()}
    return Codes(lines, whole_code("".join(row + "\n" for row in rows.values())))


def verify(listing: Listing, codes: Codes, rules: Rules) -> Verdict:
    """Hold a listing against codes. Raises ListingError where it has characters without a code."""
    held = canonical_lines(listing.numbered(), rules)
    found = codes_of(listing, rules)
    wrong = tuple(
        WrongLine(number, held[number], wanted, found.lines[number])
        for number, wanted in sorted(codes.lines.items())
        if number in held and found.lines[number] != wanted
    )
    missing = tuple(sorted(codes.lines.keys() - held.keys()))
    extra = tuple(sorted(held.keys() - codes.lines.keys()))
    return Verdict(wrong, missing, extra, codes.whole, found.whole)


def parse_codes(text: str, *, name: str) -> Codes:
    """Codes as a person types them: a row a line, `10 44` or `10: 44`, and `ALL 31C3`.

    name: what to call the source in messages. A row's code may lack its leading zeros. Raises
    ListingError naming the row that is no code, or is there twice, or where there is none at all.
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
            whole = match[1].upper().zfill(4)
        elif match := _ROW.fullmatch(bare):
            number = line_number(match[1])
            if number in lines:
                raise _bad_row(name, at, f"line {number} has a code already")
            lines[number] = match[2].zfill(2)
        else:
            raise _bad_row(name, at, "it is not a line number and its code")
    if not lines:
        raise ListingError(
            f"{name} holds no line codes.",
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


def _no_code(character: str, line: str) -> ListingError:
    shown = "".join(char if char.isprintable() else "?" for char in line[:30])
    return ListingError(
        f"There is no check code for the character {named(character)}, in: {shown}",
        kept="Nothing was changed.",
        advice="Check codes are for the characters 32 to 126; mend the listing or change it.",
    )
