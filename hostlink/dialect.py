"""What one BASIC takes and shows, apart from its words, as plain values.

A board's profile and a kind of practice board state the same values, each in a file of its own, so
that a listing for one can be adapted for the other and the two runs compared.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeAlias

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
    "one-line-loops": "statements behind FOR in one line",
}
"""What a BASIC may have or lack, and how a person calls it."""


PIN_FIELDS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "write": (("pin", "value"), ()),
    "read": (("pin",), ()),
    "analog": (("pin",), ()),
    "pulse": (("pin", "width"), ()),
    "tone": (("hertz",), ("pin", "ms")),
    "wait": (("ms",), ()),
}
"""What a BASIC can do with pins: the fields that its form must hold, and those that it may hold."""

PIN_FUNCTIONS = ("read", "analog")
_PIN_FORM = re.compile(r"([A-Z][A-Z0-9$]*) ?(\(?)(\{[a-z]+\}(?:, ?\{[a-z]+\})*)(\)?)")


@dataclass(frozen=True, slots=True)
class PinForm:
    """How something with a pin is typed: its word, and the fields behind it in their order."""

    word: str
    takes: tuple[str, ...]
    bracketed: bool


@lru_cache(maxsize=256)
def pin_form(template: str) -> PinForm | None:
    """Return the form that a template such as "OUT {pin},{value}" states, None for any other."""
    found = _PIN_FORM.fullmatch(template)
    if found is None or bool(found[2]) != bool(found[4]):
        return None
    return PinForm(found[1], tuple(re.findall(r"[a-z]+", found[3])), bool(found[2]))


def pin_form_fault(name: str, template: str) -> str:
    """Return what is wrong with the template of one of PIN_FIELDS, as "it must ...", or ""."""
    if not template:
        return ""
    must, may = PIN_FIELDS[name]
    form = pin_form(template) or PinForm("", (), bracketed=False)
    good = set(must) <= set(form.takes) <= {*must, *may} and len(set(form.takes)) == len(form.takes)
    if good and (form.bracketed or name not in PIN_FUNCTIONS):
        return ""
    fields = ", ".join([f"{{{each}}}" for each in must] + [f"perhaps {{{each}}}" for each in may])
    where = ", in brackets," if name in PIN_FUNCTIONS else ""
    return f"it must be a word in capitals and{where} with commas between them {fields}"


@dataclass(frozen=True, slots=True)
class Pins:
    """The pins of the chip that a BASIC reaches, and its words for them.

    write, read, analog, pulse, tone, wait: each as it is typed, such as "OUT {pin},{value}"; ""
        where it has no word for that. A value is 0 or 1, hertz 0 is silence, ms milliseconds; the
        program waits until a tone with a time is over.
    digital, analog_inputs, pulse_outputs: numbers of pins, as inclusive ranges.
    analog_most, pulse_most: the largest level that is read, and the largest width that is given.
    """

    write: str = ""
    read: str = ""
    analog: str = ""
    pulse: str = ""
    tone: str = ""
    wait: str = ""
    digital: tuple[tuple[int, int], ...] = ()
    analog_inputs: tuple[tuple[int, int], ...] = ()
    pulse_outputs: tuple[tuple[int, int], ...] = ()
    analog_most: int = 1023
    pulse_most: int = 255

    def form(self, name: str) -> PinForm | None:
        """Return the form of one of PIN_FIELDS, None where this BASIC has none."""
        template: str = getattr(self, name)
        return pin_form(template) if template else None

    @property
    def forms(self) -> dict[str, PinForm]:
        """Return every form that this BASIC has, by its name in PIN_FIELDS."""
        return {name: form for name in PIN_FIELDS if (form := self.form(name))}

    def numbers(self, name: str) -> tuple[tuple[int, int], ...]:
        """Return the numbers of the pins for one of PIN_FIELDS, as inclusive ranges."""
        ranges = {"analog": self.analog_inputs, "pulse": self.pulse_outputs}
        return ranges.get(name, self.digital)

    def has(self, name: str, pin: int) -> bool:
        """Return whether a pin is there for one of PIN_FIELDS."""
        return any(low <= pin <= high for low, high in self.numbers(name))

    def most(self, field: str) -> int:
        """Return the largest value of a field that is no pin."""
        return {"value": 1, "width": self.pulse_most}.get(field, 32767)


NO_PINS = Pins()


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
    computed_jumps: whether a jump target may be an expression.
    unequal: the signs for unequal, the usual one first.
    at_least: the sign for at least as the board lists it.
    means: those of `MEANS` that it has.
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
    computed_jumps: bool = False
    unequal: tuple[str, ...] = ("<>", "><")
    at_least: AtLeast = ">="
    means: tuple[str, ...] = ("one-line-loops",)
    free: str = ""
    pins: Pins = NO_PINS
