"""What a profile file may hold: every table and key, its kind, its bounds and what it means.

One place for reading, writing and the documentation; a key that is not here is an error in a file.
"""

from __future__ import annotations

import typing
from collections.abc import Callable
from dataclasses import dataclass

from hostlink.board.profile.kinds import (
    Charset,
    Choice,
    ErrorForm,
    Flag,
    Keyword,
    Kind,
    Mark,
    Name,
    Number,
    Octets,
    Quotes,
    Slot,
    Template,
    Text,
    Whole,
)
from hostlink.board.profile.several import Costs, Each, PinWords, Ranges
from hostlink.dialect import (
    MEANS,
    AtLeast,
    InputList,
    NumberForm,
    Overflow,
    Random,
    Semicolon,
    ThenTakes,
)

LONGEST_COMMAND = 40  # characters of a prompt or command
_TIME = Number(0, 600_000)  # milliseconds, at most ten minutes
_COMMAND = Text(LONGEST_COMMAND, ascii=True)
_SIGN = Octets(4)  # one key, or what an escape sequence needs
_WORDS = Each(Keyword(), 300)
_SIXTY_FOUR_BITS = Whole(-(2**63), 2**63 - 1)  # TOML's own limit


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a table. says: its meaning and unit, in one line."""

    name: str
    kind: Kind
    says: str


BOARD = (
    Key("name", Name(), "the name of this profile and of its file"),
    Key("title", Text(80), "a one-line description"),
    Key("about", Text(2000), "what kind of board this is, and what to be careful with"),
    Key("source", Text(2000), "where the values are from"),
)

TALK = (
    Key("baud", Whole(1, 4_000_000), "line speed; 8 data bits, no parity, one stop bit"),
    Key("echo", Flag(), "whether the board sends back what it hears"),
    Key("line_end", Octets(4, 1), "bytes that end a typed line"),
    Key("reply_end", Octets(4, 1), "bytes that end a line from the board"),
    Key("prompt", Octets(LONGEST_COMMAND), "bytes shown when it waits for a line; empty: none"),
    Key(
        "ready", Octets(LONGEST_COMMAND), "shown instead after a direct command; empty: the prompt"
    ),
    Key(
        "line_done",
        Choice(("echo", "prompt", "after-prompt")),
        'what comes only after a line is stored: "echo", "prompt" or "after-prompt"',
    ),
    Key("after_prompt_ms", _TIME, 'with "after-prompt": how long storing goes on, ms; 0: line_ms'),
    Key("receive_buffer", Whole(0, 65535), "bytes held while the board is busy; 0: none"),
    Key("line_ms", _TIME, "time to store one line, ms"),
    Key("char_ms", _TIME, "time to take one character, ms; 0: it keeps up with the wire"),
    Key("line_window", Whole(0, 65535), "most bytes unechoed inside a line; 0: no limit"),
    Key("flow", Choice(("none", "xon-xoff")), '"xon-xoff" where the board pauses the host'),
    Key("line_cancel", _SIGN, "bytes that abandon the line being typed; empty: none"),
    Key("erase", _SIGN, "bytes that take one character back; empty: none"),
    Key("interrupt", _SIGN, "bytes that stop a running program; empty: none"),
    Key("banner", Text(80), "text always shown after a restart; empty: not known"),
    Key("restarts_on_open", Flag(), "whether opening the port (DTR) restarts the board"),
    Key("restart_ms", _TIME, "from restart to prompt, ms"),
    Key("start_questions", Each(Text(80, 1), 5), "asked after a restart; answer: an empty line"),
    Key(
        "full_sign",
        _SIGN,
        "sent for each character while memory has no room for a line; empty: none",
    ),
    Key("idle_chatter", Each(Text(80, 1), 20), "texts it may send by itself while it waits"),
    Key("page_prompt", Text(80), "what it shows when a listing stops; empty: no paging"),
    Key("page_key", _SIGN, "the key that makes it show the next page"),
)

COMMANDS = (
    Key("list", _COMMAND, "shows the program"),
    Key("answer_rows", Each(Text(80, 1), 20), "rows shown around an answer: OK, {number} LINES"),
    Key("clear", _COMMAND, "empties the program memory"),
    Key("run", _COMMAND, "runs the program"),
    Key("free_memory", _COMMAND, "asks for the bytes free; empty: none does"),
    Key("free_answer", Template(("{free}",), 80), "the row of the answer that holds the number"),
    Key(
        "store", Slot(LONGEST_COMMAND), "keeps the program as {name}; without {name}: in one place"
    ),
    Key("recall", Slot(LONGEST_COMMAND), "brings {name} back, or what the one place holds"),
    Key("stored", _COMMAND, "lists what is stored; empty: none does"),
    Key("list_stored", _COMMAND, "shows what the one place holds, as list does; empty: none does"),
    Key("slots", Each(Text(20, 1, ascii=True), 100), "the names it allows; empty: any word"),
    Key("error_words", Each(Text(40, 1), 100), "how its error messages begin"),
    Key("error_forms", Each(ErrorForm(80), 10), "how they name the line; empty: the common ways"),
    Key("full_words", Each(Text(40, 1), 20), "error messages that say that the memory is full"),
)

LISTING = (
    Key("first_line", Whole(0, 2**31 - 1), "smallest line number"),
    Key("last_line", Whole(0, 2**31 - 1), "largest line number"),
    Key("longest_line", Whole(0, 65535), "characters in a typed line; 0: no known limit"),
    Key(
        "case",
        Choice(("kept", "upper", "upper-everywhere")),
        'small letters outside quotes: "upper" leaves remarks, "upper-everywhere" does not',
    ),
    Key(
        "spacing",
        Choice(("kept", "after-number", "free", "free-before-remarks")),
        "which blanks may change: outside quotes and remarks, or before a remark's text too",
    ),
    Key(
        "list_form",
        Template(("{number}", "{text}"), LONGEST_COMMAND, digits=False),
        "how a listed line looks; blanks in front are always allowed",
    ),
    Key("keeps_blank", Flag(), "whether LIST adds its own blank to the one typed after a number"),
    Key("signed_numbers", Flag(), "whether line numbers above 32767 are listed as negative ones"),
    Key(
        "beyond_last",
        Choice(("refused", "wrapped")),
        "what becomes of a larger line number: an error, or another number",
    ),
    Key("charset", Charset(), "a single-byte codec that maps all 256 bytes"),
    Key("characters", Ranges(), "byte values that a line may hold, as inclusive ranges"),
    Key("screen_width", Whole(0, 1000), "columns of its screen; 0: none, or not known"),
    Key(
        "wrap_indent", Whole(-1, 100), "blanks before the rest of a broken row; -1: none is broken"
    ),
)

STORAGE = (
    Key("program_bytes", Whole(0, 2**24), "bytes for a program; 0: not known"),
    Key("kind", Choice(("text", "tokens")), "whether keywords are stored as typed or as tokens"),
    Key("number_bytes", Whole(0, 8), "bytes of a line for its number"),
    Key("length_bytes", Whole(0, 8), "bytes of a line for its length"),
    Key("end_bytes", Whole(0, 8), "bytes that end a line"),
    Key(
        "blank_after_number",
        Choice(("dropped", "kept", "all")),
        "which blanks after the number are stored",
    ),
    Key("constant_bytes", Whole(0, 16), 'with kind "tokens": bytes of a number; 0: as typed'),
    Key("name_bytes", Whole(0, 16), 'with kind "tokens": bytes of a name; 0: as typed'),
    Key("squeezed", Flag(), "whether blanks outside quotes and remarks take no memory"),
    Key("variables", Flag(), "whether variables use the memory that is free for a program"),
    Key("empty_bytes", Whole(0, 2**24), "bytes that an empty program takes"),
    Key(
        "reserve_bytes",
        Whole(0, 2**16),
        "bytes of program_bytes that must stay free, for the line that is typed",
    ),
    Key("eeprom_bytes", Whole(0, 2**24), "bytes for all stored programs together; 0: not known"),
    Key(
        "tokens",
        Costs(),
        'with kind "tokens": bytes of keywords that take more than one, and of what is one token '
        'together: signs such as "<=", a function with its bracket',
    ),
    Key("exact", Flag(), "whether these costs are certain, so that the free memory proves them"),
)

LANGUAGE = (
    Key("statements", _WORDS, "keywords in capitals"),
    Key("functions", _WORDS, "names of functions in capitals"),
    Key("jumps", _WORDS, "keywords that a line number follows"),
    Key("remarks", _WORDS, "words that make the rest of a line a remark"),
    Key("separator", Mark(), "between statements of one line; empty: one statement a line"),
    Key("abbreviation_mark", Mark(), "ends an abbreviated keyword; empty: none"),
    Key("computed_jumps", Flag(), "whether an expression may stand for a line number"),
    Key("quotes", Quotes(), "the characters that each open and close quoted text"),
    Key("long_names", Flag(), "whether names may be words, so that keywords must be separate"),
    Key("words_apart", Flag(), "whether blanks must separate keywords in any case"),
    Key("optional", _WORDS, "which of LET, THEN and the last END may be left out"),
    Key(
        "then_takes",
        Choice(typing.get_args(ThenTakes)),
        'what may follow THEN: a line number, a statement, "both"; "none": there is no THEN',
    ),
    Key(
        "semicolon",
        Choice(typing.get_args(Semicolon)),
        'where PRINT takes a semicolon: "joins": anywhere, "ends": at the end only, "none"',
    ),
    Key("comma_columns", Whole(0, 80), "columns of a PRINT zone; 1: one blank, 0: nothing"),
    Key("bare_print", Flag(), "whether PRINT alone in its line ends the row"),
    Key("number", Choice(typing.get_args(NumberForm)), "how PRINT shows a number; empty: unknown"),
    Key(
        "input_list",
        Choice(typing.get_args(InputList)),
        'how INPUT takes several numbers: in one "row", in "rows" of their own, or "none"',
    ),
    Key("overflow", Choice(typing.get_args(Overflow)), "what becomes of a result too large"),
    Key("comparison", Whole(-1, 1), "the number that a true comparison gives; 0: none"),
    Key("random", Choice(typing.get_args(Random)), "what RND(n) gives, or how to get a fraction"),
    Key("unequal", Each(Choice(("<>", "><", "#", "!=")), 4), "the signs for unequal"),
    Key("at_least", Choice(typing.get_args(AtLeast)), "how the sign for “at least” is listed"),
    Key("tests_first", Flag(), "whether FOR tests its end before the first round"),
    Key("loops", Whole(0, 255), "loops that may be open inside each other; 0: no limit is known"),
    Key("means", Each(Choice(tuple(MEANS)), len(MEANS)), "what it has: strings, arrays and so on"),
    Key("longest_name", Whole(0, 80), "characters that a name may have; 0: any number"),
    Key("ends_line", _WORDS, "words whose statement must be the last of its line"),
    Key("bare_next", Flag(), "whether NEXT may stand without its variable"),
    Key("free", Text(20, ascii=True), "function for the free memory, as typed; empty: none"),
    Key("capitals_only", Flag(), "whether keywords in small letters are not understood"),
    Key("powers", Flag(), "whether ^ raises a number to a power"),
    Key("fractions", Flag(), "whether numbers may have a fraction and an exponent"),
    Key("smallest_number", _SIXTY_FOUR_BITS, "smallest whole number"),
    Key("largest_number", _SIXTY_FOUR_BITS, "largest whole number"),
)

_PINS = Ranges(may_be_empty=True)
PINS = (
    Key("write", PinWords("write"), "switches a pin: a word with {pin} and {value}; empty: none"),
    Key("read", PinWords("read"), "a function that gives 1 if {pin} is on"),
    Key("analog", PinWords("analog"), "a function that gives the level at analog input {pin}"),
    Key("pulse", PinWords("pulse"), "gives {pin} pulses of a {width}"),
    Key("tone", PinWords("tone"), "makes a tone of {hertz}; {pin} and {ms} are optional"),
    Key("wait", PinWords("wait"), "waits for {ms}"),
    Key("digital", _PINS, "numbers of the pins that are written and read, as inclusive ranges"),
    Key("analog_inputs", _PINS, "numbers of the analog inputs"),
    Key("pulse_outputs", _PINS, "numbers of the pins that can give pulses"),
    Key("analog_most", Whole(1, 32767), "the largest level that is read"),
    Key("pulse_most", Whole(1, 32767), "the largest width of a pulse"),
)

TABLES: dict[str, tuple[Key, ...]] = {
    "board": BOARD,
    "talk": TALK,
    "commands": COMMANDS,
    "listing": LISTING,
    "storage": STORAGE,
    "language": LANGUAGE,
    "pins": PINS,
}

# Keys of older files: what they became, and the value there for the value here.
RENAMED: dict[tuple[str, str], tuple[str, Callable[[object], object]]] = {
    ("commands", "list_end"): ("answer_rows", lambda row: [row] if row else []),
}

EVIDENCE = "evidence"  # a table of free keys: how each value was found
EVIDENCE_KEY = Text(60, 1)
EVIDENCE_VALUE = Text(500)
EVIDENCE_MOST = 200
