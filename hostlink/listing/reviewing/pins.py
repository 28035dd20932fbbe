"""Check what a program does with pins: that the board has the pin, and takes the value."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from hostlink.listing.finding import Finding, at_place
from hostlink.listing.parse import Line
from hostlink.listing.tokens import Span
from hostlink.pins import PinForm, Pins
from hostlink.sentences import no_pin
from hostlink.words import capital

_FOR = {"analog": " as an analog input", "pulse": " that gives pulses"}


def pin_findings(line: Line, statement: Sequence[Span], pins: Pins) -> Iterator[Finding]:
    """Yield findings about the pins and values in a statement that are plain numbers.

    statement: without blanks. What is computed when the program runs cannot be checked.
    """
    named = {form.word: (name, form) for name, form in pins.forms.items()}
    for at, span in enumerate(statement):
        if span.kind == "word" and span.word in named:
            name, form = named[span.word]
            fields = _fields(statement[at + 1 :], form)
            if len(list(filter(None, fields))) < len(form.takes):
                whole = getattr(pins, name).translate(str.maketrans("", "", "{}"))
                told = f"{span.word} lacks a value. It is written {whole}."
                yield at_place(
                    line, span.start, "pin-value-missing", told, "Add what is missing.", "error"
                )
            for field, spans in zip(form.takes, filter(None, fields), strict=False):
                digits = "".join(each.text for each in spans)
                if digits.removeprefix("-").isdecimal():
                    wrong = _wrong(name, field, int(digits[:9]), pins)
                    if wrong:
                        yield at_place(line, spans[0].start, *wrong, "error")


def _fields(spans: Sequence[Span], form: PinForm) -> list[list[Span]]:
    """Return the spans of each field after the word."""
    depth = 0
    fields: list[list[Span]] = [[]]
    for span in spans[form.bracketed :]:
        if span.text == ")" and not depth:
            break
        depth += (span.text == "(") - (span.text == ")")
        if span.text == "," and not depth:
            fields.append([])
        else:
            fields[-1].append(span)
    return fields


def _wrong(name: str, field: str, value: int, pins: Pins) -> tuple[str, str, str] | None:
    """Return the rule, message and advice for a wrong pin or value, None for a good one."""
    if pins.takes(name, field, value):
        return None
    if field != "pin":
        told = f"{value} is out of range for {field}: it must be 0 to {pins.most(field)}."
        return "pin-value-out-of-range", told, "Use a number in that range."
    there = (f"{low} to {high}" if low < high else str(low) for low, high in pins.numbers(name))
    told = f"{capital(no_pin(value))}{_FOR.get(name, '')}."
    return "pin-not-on-board", told, f"It has {', '.join(there)}."
