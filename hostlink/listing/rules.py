"""What a listing must obey on one kind of board, as plain values.

A board profile (hostlink.board.profile) is made of these; the functions of this package take them
as parameters and so never need to know a profile, a file or a board.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal


@dataclass(frozen=True, slots=True)
class Form:
    """How a line is written, and what the board rewrites when it lists it.

    first_line, last_line: smallest and largest line number the board takes.
    longest_line: characters in one typed line, line end not counted; 0 for no known limit.
    case: "kept"; "upper" where the board folds letters outside quotes and remarks to capitals;
        "upper-everywhere" where it does so in remarks too, except inside quotes there.
    spacing: what the board does to blanks outside quoted text and remarks:
        "kept"; "after-number" (any blanks after the number become one); "free" (blanks anywhere
        outside quotes and remarks may differ); "free-before-remarks" (those before a remark's text
        too).
    signed_numbers: whether line numbers above 32767 are listed as the negative ones of 16 bits.
    beyond_last: what becomes of a number above last_line: "refused", or "wrapped" where the board
        takes it for another one without a word.
    list_form: how LIST shows a line, with the fields {number} and {text}; blanks in front of
        the number are always allowed. The plain form is "{number} {text}".
    keeps_blank: whether the board keeps the blank typed behind a number as part of the line, and
        LIST shows it behind what list_form says; else what list_form says stands in its place.
    charset: a Python single-byte codec that maps all 256 bytes, so that captures are lossless.
    characters: the byte values the board takes in a line, as inclusive ranges.
    screen_width: columns of the board's screen, 0 where it has none or it is not known.
    wrap_indent: blanks with which a listed line goes on in the next row where it was broken at the
        width of the screen; -1 where the board breaks no line.
    """

    first_line: int = 1
    last_line: int = 32767
    longest_line: int = 72
    case: Literal["kept", "upper", "upper-everywhere"] = "kept"
    spacing: Literal["kept", "after-number", "free", "free-before-remarks"] = "after-number"
    list_form: str = "{number} {text}"
    keeps_blank: bool = False
    signed_numbers: bool = False
    beyond_last: Literal["refused", "wrapped"] = "refused"
    charset: str = "latin-1"
    characters: tuple[tuple[int, int], ...] = ((32, 126),)
    screen_width: int = 0
    wrap_indent: int = -1

    @property
    def has_free_blanks(self) -> bool:
        """Whether blanks in statements may differ."""
        return self.spacing in ("free", "free-before-remarks")


@dataclass(frozen=True, slots=True)
class Storage:
    """What a line costs in the board's program memory, in bytes.

    kind "text": number_bytes + length_bytes + text + end_bytes. kind "tokens": the same, but each
    keyword outside quotes and remarks costs `token_bytes` (default 1, exceptions by keyword).
    blank_after_number: "dropped" (all blanks after the number are not stored), "kept" (one blank
    separates, further ones are stored), or "all" (every blank is stored).
    constant_bytes, name_bytes: with kind "tokens", what a number and a name take wherever they
        stand in a statement, 0 where they are stored as typed.
    squeezed: whether blanks outside quotes and remarks are not stored. variables: whether variables
    take of the memory that is free for a program, so that less may be free than a listing leaves.
    exact: whether these costs are known to the byte, so that the free memory that a board reports
    proves its listing; else it proves an empty program only.
    program_bytes: bytes for a program, 0 where unknown. empty_bytes: what an empty program takes.
    eeprom_bytes: bytes for all stored programs together, 0 where unknown.
    """

    program_bytes: int = 999
    kind: Literal["text", "tokens"] = "text"
    number_bytes: int = 2
    length_bytes: int = 0
    end_bytes: int = 1
    blank_after_number: Literal["dropped", "kept", "all"] = "dropped"
    constant_bytes: int = 0
    name_bytes: int = 0
    squeezed: bool = False
    variables: bool = False
    empty_bytes: int = 0
    eeprom_bytes: int = 0
    tokens: tuple[tuple[str, int], ...] = ()
    exact: bool = True


@dataclass(frozen=True, slots=True)
class Language:
    """The words of the board's BASIC, as far as reviewing a listing needs them.

    statements, functions: keywords in capitals. jumps: keywords that a line number follows
    (GOTO, GOSUB, THEN). remarks: words that make the rest of the line a remark.
    separator: the character between statements of one line, "" where a line holds one.
    abbreviation_mark: the character that ends an abbreviated keyword ("." or "").
    computed_jumps: whether an expression may stand where a line number does.
    quotes: the characters that each open and close quoted text.
    long_names: whether names may be words, so that a keyword counts only as a whole word; where
        they may not, a keyword is found wherever its letters stand (`FORI=1TO9`).
    words_apart: whether keywords must stand apart by blanks all the same.
    capitals_only: whether keywords in small letters are not understood when a program runs.
    fractions: whether numbers may have a fraction and an exponent.
    optional: words that may be left out where nothing is lost by it: "LET" in front of an
        assignment, "THEN" in front of a statement, "END" as the very last line.
    """

    statements: tuple[str, ...] = ()
    functions: tuple[str, ...] = ()
    jumps: tuple[str, ...] = ("GOTO", "GOSUB", "THEN")
    remarks: tuple[str, ...] = ("REM",)
    separator: str = ""
    abbreviation_mark: str = ""
    computed_jumps: bool = False
    smallest_number: int = -32768
    largest_number: int = 32767
    quotes: str = '"'
    long_names: bool = False
    words_apart: bool = False
    optional: tuple[str, ...] = ()
    capitals_only: bool = False
    fractions: bool = False


@dataclass(frozen=True, slots=True)
class Rules:
    """Everything about one kind of board that a pure listing function may need."""

    form: Form = field(default_factory=Form)
    storage: Storage = field(default_factory=Storage)
    language: Language = field(default_factory=Language)

    def with_room(self, program_bytes: int) -> Rules:
        """The same rules for a board with that many bytes for a program."""
        return replace(self, storage=replace(self.storage, program_bytes=program_bytes))
