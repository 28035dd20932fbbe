"""What one BASIC takes and shows, apart from its words, as plain values.

A board's profile and a kind of practice board state the same values, each in a file of its own, so
that a listing for one can be adapted for the other and the two runs compared.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from hostlink.pins import NO_PINS, Pins

ThenTakes: TypeAlias = Literal["both", "line", "statement", "none"]
Semicolon: TypeAlias = Literal["joins", "ends", "none"]
NumberForm: TypeAlias = Literal["", "blank", "signed", "spaced", "bare", "field"]
InputList: TypeAlias = Literal["row", "rows", "none"]
Overflow: TypeAlias = Literal["refused", "wraps"]
AtLeast: TypeAlias = Literal[">=", "=>"]
Comparison: TypeAlias = Literal[-1, 0, 1]
Random: TypeAlias = Literal["from-1", "from-0", "fraction", "fraction-0", "fraction-1"]

MEANS: dict[str, str] = {
    "strings": "variables for text",
    "arrays": "variables with an index",
    "names": "names of more than one letter",
    "input-text": "a question in INPUT",
}
"""What a BASIC may have or lack, and what a person calls it."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """The forms that one BASIC takes: the keys of a profile's [language], each with its meaning.

    The values of `means` are keys of `MEANS`. The keys whose names do not explain them:
    optional: words that may be omitted: THEN before a statement, END as the very last line.
    then_takes: "none" if there is no THEN and the statement follows the condition.
    semicolon: "ends" keeps the row open; "none": a comma at the end does that.
    bare_print: whether a PRINT without items ends the row at the end of a line too.
    tests_first: whether FOR tests its limit before the first round, so that none may run.
    number: how PRINT shows one: with a "blank" in front, "signed" with a blank or a minus sign in
        front, "spaced" with a blank after it too, "bare", or at the right of a "field".
    overflow: whether a result that is too large stops the program or "wraps" to 16 bits.
    comparison: the value of a true one, 1 or -1; 0 if it may be used in a condition only.
    random: RND(n) is a whole number "from-1" to n, or "from-0" to n - 1; or a fraction is
        written RND ("fraction"), RND(0) ("fraction-0") or RND(1) ("fraction-1").
    fractions: whether division keeps them. longest_name: 0 for any length, of which two characters
        count.
    """

    quotes: str = '"'
    separator: str = ""
    optional: tuple[str, ...] = ()
    then_takes: ThenTakes = "both"
    semicolon: Semicolon = "joins"
    comma_columns: int = 8
    bare_print: bool = True
    tests_first: bool = False
    loops: int = 0
    number: NumberForm = ""
    input_list: InputList = "row"
    overflow: Overflow = "refused"
    comparison: Comparison = 0
    random: Random = "from-1"
    fractions: bool = False
    powers: bool = False
    computed_jumps: bool = False
    unequal: tuple[str, ...] = ("<>", "><")
    at_least: AtLeast = ">="
    means: tuple[str, ...] = ()
    longest_name: int = 0
    ends_line: tuple[str, ...] = ()
    bare_next: bool = True
    free: str = ""
    pins: Pins = NO_PINS
