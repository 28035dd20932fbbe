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
"""What a BASIC may have or lack, and how a person calls it."""


@dataclass(frozen=True, slots=True)
class Dialect:
    """The forms that one BASIC takes.

    quotes: the characters that each open and close quoted text.
    separator: the character between statements in a line, "" if a line has only one statement.
    optional: words that may be omitted without changing the program: "LET" in front of an
        assignment, "THEN" in front of a statement, "END" as the very last line.
    then_takes: what may follow THEN: a line number or a statement ("both"), one of them only, or
        "none" where there is no THEN and the statement follows the condition.
    semicolon: in PRINT, "joins" anywhere; "ends" stands at the end only and keeps the row open;
        "none": it is no part of PRINT, and a comma at the end keeps the row open.
    comma_columns: in PRINT, a comma fills a zone of so many columns; 1: one blank, 0: nothing.
    bare_print: whether a PRINT without items ends the row at the end of a line too.
    tests_first: whether FOR looks at its end before the first round, so that none may run.
    loops: how many loops may be open inside each other, 0 if nobody has found a limit.
    number: how PRINT shows a number: behind a blank, behind a blank or its sign ("signed"), so and
        with a blank at its end ("spaced"), "bare", or at the right of several columns ("field");
        "" if nobody has stated the forms of this BASIC.
    input_list: INPUT with several variables takes their numbers in one "row", with commas between
        them, or in "rows" of their own; "none": INPUT takes one variable.
    overflow: a result that does not fit stops the program, or "wraps" to 16 bits.
    comparison: what a comparison that holds is worth in an expression, 1 or -1; 0 if it can stand
        in a condition only.
    random: RND(n) is a whole number "from-1" to n, or "from-0" to n - 1; or a fraction is
        written RND ("fraction"), RND(0) ("fraction-0") or RND(1) ("fraction-1").
    fractions: whether numbers may have a fraction and an exponent, and division keeps it.
    powers: whether ^ raises a number to a power.
    computed_jumps: whether a jump target may be an expression.
    unequal: the signs for unequal, the usual one first.
    at_least: the sign for at least as the board lists it.
    means: those of `MEANS` that it has.
    longest_name: characters that a name may have; 0 for any number, of which two count.
    ends_line: words such as GOTO behind whose statement nothing may stand in the line.
    bare_next: whether NEXT may stand without its variable.
    free: the function for the free memory as it is typed, such as "SIZE" or "FRE(0)"; "": none.
    pins: the words for the pins of the chip.
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
