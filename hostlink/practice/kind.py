"""A kind of practice board: how it talks, stores lines, words its messages, and its language.

Plain values; the defaults are those of the standard practice board. One interpreter runs them all;
each place where boards differ asks one of these values. A kind is read from a file
(hostlink.practice.kind_file) or built in code.

A message is a template. Fields in { } are filled in: {end} is the row end of the board (reply_end),
the others are named beside each message; `literal` makes a template of any text.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from hostlink.dialect import Dialect, NumberForm
from hostlink.pins import Pins
from hostlink.practice.complaint import Reason
from hostlink.practice.settings import BoardSettings

Words: TypeAlias = tuple[tuple[str, tuple[str, ...]], ...]

ERROR_WORDS = ("! ",)
"""How every error text of the practice board begins (at the start of a row)."""

STOPPED = "* stopped"
"""How the practice board's message for an interrupted program begins; it is not an error."""

WORDS: Words = (
    ("if", ("IF",)),
    ("let", ("LET",)),
    ("print", ("PRINT",)),
    ("input", ("INPUT",)),
    ("goto", ("GOTO",)),
    ("gosub", ("GOSUB",)),
    ("on", ()),
    ("def", ()),
    ("else", ()),
    ("read", ()),
    ("data", ()),
    ("restore", ()),
    ("dim", ()),
    ("return", ("RETURN",)),
    ("for", ("FOR",)),
    ("next", ("NEXT",)),
    ("end", ("END",)),
    ("rem", ("REM",)),
    ("list", ("LIST",)),
    ("run", ("RUN",)),
    ("new", ("NEW", "CLEAR")),
    ("store", ("STOW",)),
    ("recall", ("FETCH",)),
    ("stored", ("SHELF",)),
    ("toss", ("TOSS",)),
    ("memory", ()),
)
"""Every statement by what it does, and the words for it on the practice board."""

ERRORS: tuple[tuple[Reason, str], ...] = (
    (Reason.PUZZLED, "puzzled by {rest}"),
    (Reason.SHORT, "line ends too soon"),
    (Reason.UNKNOWN, "unknown statement {rest}"),
    (Reason.QUOTE, "closing quote is missing"),
    (Reason.BRACKETS, "too many brackets"),
    (Reason.RANGE, "number out of range"),
    (Reason.DIVISION, "cannot divide by 0"),
    (Reason.RANDOM, "RND wants 1 or more"),
    (Reason.PIN, "no pin {pin} for that"),
    (Reason.NO_LINE, "no such line {number}"),
    (Reason.NEXT, "NEXT has no FOR"),
    (Reason.RETURN, "RETURN has no GOSUB"),
    (Reason.FORS, "more than {most} FOR open"),
    (Reason.GOSUBS, "more than {most} GOSUB open"),
    (Reason.DATA, "no DATA is left"),
    (Reason.ELEMENT, "no such element"),
    (Reason.TEXT, "text of more than {most} characters"),
    (Reason.LINE_NUMBER, "line numbers are {first} to {last}"),
    (Reason.FULL, "memory full, line {number} needs {missing} more"),
    (Reason.PROGRAM_FULL, "memory full, program needs {missing} more"),
    (Reason.SLOT_NAME, "a name is 1 to 8 letters or digits"),
    (Reason.SLOT_FULL, "shelf full, {name} needs {missing} more"),
    (Reason.SLOT_EMPTY, "nothing on the shelf called {name}"),
    (Reason.NO_PROGRAM, "no program to stow"),
)
"""The practice board's words for each complaint."""


PINS = Pins(
    write="OUT {pin},{value}",
    read="PIN({pin})",
    analog="LEVEL({pin})",
    pulse="DUTY {pin},{width}",
    tone="TONE {pin},{hertz},{ms}",
    wait="WAIT {ms}",
    digital=((2, 13),),
    analog_inputs=((0, 5),),
    pulse_outputs=((3, 3), (5, 6), (9, 11)),
)
"""The practice board's words for its pins, and their numbers (see its profile)."""


@dataclass(frozen=True, slots=True)
class KindStorage:
    """What becomes of a typed line, and what it costs. Sizes in bytes.

    form: "text" keeps the characters, "tokens" keeps keywords as codes, listed back in capitals.
    case: small letters are kept, become capitals outside quotes and remarks ("statements"), or
    outside quotes only ("all").
    blanks: those after the line number are dropped ("after-number"), none is ("kept"), or all are
    outside quotes and remarks ("squeezed"; LIST then puts one beside each keyword).
    number_bytes, length_bytes, end_bytes: what a line costs besides its text.
    keywords: with tokens, the words kept as codes, each in keyword_bytes, or in what token_bytes
    says. constant_bytes: what a whole number costs with tokens, name_bytes: the name of
    a variable; 0 for its characters.
    first_line, last_line: bounds of a line number. beyond: others are "refused", or each number is
    first "wrapped" (taken modulo 65536). signed_numbers: numbers from 32768 on are shown negative.
    listed_last: lines above it are kept, and LIST shows an empty row for all of them.
    row: a listed line, of {number} and {text}. row_width: columns after which a row goes on in the
    next one, after as many blanks as the number and its blank have; 0: never.
    typed_within: the typed line is held in the free memory, of which this many bytes must stay; 0:
    it has room of its own. when_full: after a line that did not fit, "stuck" refuses all input.
    checked: a line that the language does not take is refused as it is typed.
    """

    form: Literal["text", "tokens"] = "text"
    case: Literal["kept", "statements", "all"] = "kept"
    blanks: Literal["after-number", "kept", "squeezed"] = "after-number"
    number_bytes: int = 2
    length_bytes: int = 0
    end_bytes: int = 1
    keywords: tuple[str, ...] = ()
    keyword_bytes: int = 1
    token_bytes: tuple[tuple[str, int], ...] = ()
    constant_bytes: int = 0
    name_bytes: int = 0
    first_line: int = 1
    last_line: int = 32767
    beyond: Literal["refused", "wrapped"] = "refused"
    signed_numbers: bool = False
    listed_last: int = 65535
    row: str = "{number} {text}"
    row_width: int = 0
    typed_within: int = 0
    when_full: Literal["refused", "stuck"] = "refused"
    checked: bool = False


@dataclass(frozen=True, slots=True)
class Messages:
    """What the board says, as templates.

    questions: asked one after the other at a restart; a number or an empty line answers one.
    greeting: after the questions; may hold {free} and {eeprom}, bytes, {eeprom_left} too.
    done: after a direct command that ended well; done_after: only after these (see `WORDS`; "run"
    is also a program that ended), empty: after any; done_blank: after an empty line too.
    open_row: whether a row that was left open is ended before the prompt, an error or `done`.
    error: an error, of {what} and {where}; stopped: an interrupt, of {where}.
    where: the line that failed, of {number} and {row} (as listed); may stand in an error's own text
    instead. where_direct: the same for what was typed without a number, {typed}.
    mark: put into {row} at the place where it could not go on; empty: none.
    list_row, list_begin, list_end: a listed row of {row}, and what stands before and after all of
    them; after them of {count} and {used}, the lines and bytes in memory.
    memory: answers the bare word for the free memory, with {free}, {eeprom} and {eeprom_left}.
    wrong_answer: to INPUT, which wanted {wanted}; it asks again. recalled: after a stored program
    came back.
    errors: the text of each reason; one that is not given has that of "puzzled".
    """

    questions: tuple[str, ...] = ()
    greeting: str = "{end}practice board, {free} bytes for a program{end}{end}"
    done: str = ""
    done_after: tuple[str, ...] = ()
    done_blank: bool = False
    open_row: bool = True
    error: str = f"{ERROR_WORDS[0]}{{what}}{{where}}{{end}}"
    stopped: str = f"{STOPPED}{{where}}{{end}}"
    where: str = " in {number}"
    where_direct: str = ""
    mark: str = ""
    list_begin: str = ""
    list_row: str = "{row}{end}"
    list_end: str = ""
    memory: str = "{free}{end}"
    wrong_answer: str = f"{ERROR_WORDS[0]}wants {{wanted}}{{end}}"
    recalled: str = ""
    errors: tuple[tuple[Reason, str], ...] = ERRORS

    def text(self, reason: Reason) -> str:
        """Return the template for a reason."""
        held = dict(self.errors)
        return held[reason] if reason in held else held[Reason.PUZZLED]


@dataclass(frozen=True, slots=True)
class KindLanguage(Dialect):
    """What differs in the language besides the forms. Everything else is the practice board's.

    words: the words for each statement (see `WORDS`); none: it has no such statement.
    functions: those of `hostlink.practice.functions` that it has, besides RND; TAB counts columns
    from 0.
    lacks: words of the real BASIC that the practice board cannot run. No name holds one.
    logic: whether it has AND and OR, bit by bit.
    digits: significant digits that PRINT shows of a number.
    small_letters: whether keywords and variables may be typed in small letters.
    free_number: too large a free memory is shown as 32767 ("limited"), or wraps ("signed").
    list_one: LIST with one number shows that line only, not all from there on.
    blank: the character that PRINT itself adds beside a number and up to a zone.
    asks: what INPUT shows; asks_again: after a wrong answer.
    empty_answer: to INPUT, is 0, is wrong, or ends the program.
    """

    separator: str = ":"
    optional: tuple[str, ...] = ("LET", "THEN", "END")
    number: NumberForm = "blank"
    computed_jumps: bool = True
    words: Words = WORDS
    functions: tuple[str, ...] = ("ABS",)
    lacks: tuple[str, ...] = ()
    logic: bool = False
    digits: int = 6
    small_letters: bool = True
    free: str = "ROOM()"
    pins: Pins = PINS
    free_number: Literal["limited", "signed"] = "limited"
    list_one: bool = False
    blank: str = " "
    asks: str = "? "
    asks_again: str = "? "
    empty_answer: Literal["zero", "wrong", "ends"] = "zero"


@dataclass(frozen=True, slots=True)
class KindShelf:
    """How programs are kept in EEPROM.

    slots: several with names, one without, or none. quoted: a name stands in quotes.
    runs_at_start: the one program, or the one called START, is loaded and run at each restart.
    shows: the list of what is stored gives the names, the program itself, or nothing.
    blank_shows: with "program", what each byte of an EEPROM without one is shown as. blank_left:
    bytes that are reported as left of it; 0: all.
    blank_recall: bringing back from an EEPROM without a program is refused, or hangs the board.
    life: how often a slot can be written before a byte of it is wrong; 0: without end.
    """

    slots: Literal["named", "one", "none"] = "named"
    quoted: bool = False
    runs_at_start: bool = True
    shows: Literal["names", "program", "nothing"] = "names"
    blank_shows: str = ""
    blank_left: int = 0
    blank_recall: Literal["refused", "hangs"] = "refused"
    life: int = 0


@dataclass(frozen=True, slots=True)
class BoardKind:
    """One kind of board.

    name: a short word to call it by. title: one line for the user. about: what is peculiar to it.
    source: where its values are from.
    """

    name: str = "practice"
    title: str = "practice board"
    about: str = ""
    source: str = ""
    settings: BoardSettings = field(default_factory=BoardSettings)
    storage: KindStorage = field(default_factory=KindStorage)
    messages: Messages = field(default_factory=Messages)
    language: KindLanguage = field(default_factory=KindLanguage)
    shelf: KindShelf = field(default_factory=KindShelf)


def literal(text: str) -> str:
    """Return a template that says exactly this text."""
    return text.replace("{", "{{").replace("}", "}}")
