"""The rules for listings on one kind of board, as plain values.

A board profile contains these. The functions of this package take them as parameters, so that they
depend on no profile, file or board.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

from hostlink.dialect import Dialect
from hostlink.pins import PIN_FUNCTIONS


@dataclass(frozen=True, slots=True)
class Form:
    """The format of a line, and how the board changes it when listing.

    first_line, last_line: smallest and largest line number that the board accepts.
    longest_line: characters in one typed line without its line end; 0 if no limit is known.
    case: "kept"; "upper" if the board changes letters outside quotes and remarks to capitals;
        "upper-everywhere" if it does so in remarks too, except inside quotes there.
    spacing: what the board does to blanks outside quoted text and remarks:
        "kept"; "after-number" (any blanks after the number become one); "free" (blanks anywhere
        outside quotes and remarks may differ); "free-before-remarks" (those before a remark's text
        too).
    signed_numbers: whether line numbers above 32767 are listed as negative 16-bit numbers.
    beyond_last: how the board treats a number above last_line: "refused", or "wrapped" if it
        silently takes it for another one.
    list_form: how LIST shows a line, with the fields {number} and {text}; blanks in front of
        the number are always allowed. The plain form is "{number} {text}".
    keeps_blank: whether the board stores the blank typed after a number, so that LIST shows it in
        addition to those of list_form.
    charset: a Python single-byte codec that maps all 256 bytes, so that captures are lossless.
    characters: the byte values that the board accepts in a line, as inclusive ranges.
    screen_width: columns of the board's screen, 0 if it has none or is unknown.
    wrap_indent: number of blanks at the start of a continued row, if LIST wraps lines at the screen
        width; -1 if it does not wrap.
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
        """Return whether the board may add or remove blanks in statements."""
        return self.spacing in ("free", "free-before-remarks")


@dataclass(frozen=True, slots=True)
class Storage:
    """The size of a line in the board's program memory, in bytes.

    kind "text": number_bytes + length_bytes + text + end_bytes. kind "tokens": the same, but each
    keyword outside quotes and remarks costs one byte, or what `tokens` names. That also names what
    is one token together: two signs ("<="), or a function with its bracket ("RND(").
    blank_after_number: "dropped" (all blanks after the number are not stored), "kept" (one blank
    separates, further ones are stored), or "all" (every blank is stored).
    constant_bytes, name_bytes: with kind "tokens", the bytes of each number and each name in a
        statement, 0 if they are stored as typed.
    squeezed: whether blanks outside quotes and remarks are not stored.
    variables: whether variables share the program memory, so that the board may report less free
        memory than the listing leaves.
    exact: whether these sizes are exact, so that the free memory that a board reports proves its
        listing; if not, it only proves an empty program.
    program_bytes: bytes for a program, 0 if unknown. empty_bytes: bytes of an empty program.
    reserve_bytes: those of program_bytes that must stay free, because the board keeps the typed
        line there and takes no command without them.
    eeprom_bytes: bytes for all stored programs together, 0 if unknown.
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
    reserve_bytes: int = 0
    eeprom_bytes: int = 0
    tokens: tuple[tuple[str, int], ...] = ()
    exact: bool = True

    @property
    def room(self) -> int:
        """Return the bytes that a program may take, 0 if unknown."""
        return max(1, self.program_bytes - self.reserve_bytes) if self.program_bytes else 0


@dataclass(frozen=True, slots=True)
class Language(Dialect):
    """The keywords and syntax of the board's BASIC; its forms are those of the dialect.

    statements, functions: keywords in capitals. jumps: keywords followed by a line number (GOTO,
    GOSUB, THEN). remarks: words that make the rest of the line a remark.
    abbreviation_mark: the character that ends an abbreviated keyword ("." or "").
    long_names: whether names may be words, so that only whole words are keywords; if not, a keyword
        is recognised wherever its letters occur (`FORI=1TO9`).
    words_apart: whether keywords must be separated by blanks even without long names.
    capitals_only: whether keywords in small letters fail when a program runs.
    """

    statements: tuple[str, ...] = ()
    functions: tuple[str, ...] = ()
    jumps: tuple[str, ...] = ("GOTO", "GOSUB", "THEN")
    remarks: tuple[str, ...] = ("REM",)
    abbreviation_mark: str = ""
    smallest_number: int = -32768
    largest_number: int = 32767
    long_names: bool = False
    words_apart: bool = False
    capitals_only: bool = False

    def with_pin_words(self) -> Language:
        """Return the language with its words for pins among its statements and functions.

        A language without known statements stays as it is: words in its listings cannot be checked.
        """
        if not self.statements:
            return self
        words = {name: form.word for name, form in self.pins.forms.items()}
        functions = [words.pop(name) for name in PIN_FUNCTIONS if name in words]
        return replace(
            self,
            statements=tuple(dict.fromkeys((*self.statements, *words.values()))),
            functions=tuple(dict.fromkeys((*self.functions, *functions))),
        )


@dataclass(frozen=True, slots=True)
class Rules:
    """The rules of one kind of board: line format, storage and language."""

    form: Form = field(default_factory=Form)
    storage: Storage = field(default_factory=Storage)
    language: Language = field(default_factory=Language)

    def with_room(self, program_bytes: int) -> Rules:
        """Return the same rules for a board with `program_bytes` bytes for a program."""
        return replace(self, storage=replace(self.storage, program_bytes=program_bytes))
