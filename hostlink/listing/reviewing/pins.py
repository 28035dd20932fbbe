"""Checking what a program does with pins: that the board has the pin, and takes the value."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from hostlink.dialect import PinForm, Pins
from hostlink.listing.finding import Finding, at_place
from hostlink.listing.parse import Line
from hostlink.listing.tokens import Span

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
            for field, spans in zip(form.takes, fields, strict=False):
                if (value := _number(spans)) is not None:
                    yield from _wrong(line, spans[0].start, name, field, value, pins)


def _fields(spans: Sequence[Span], form: PinForm) -> list[list[Span]]:
    """Return the spans of each field behind the word."""
    depth = 0
    fields: list[list[Span]] = [[]]
    for at, span in enumerate(spans):
        depth += (span.text == "(") - (span.text == ")")
        if form.bracketed and at == 0:
            continue
        if depth < form.bracketed:
            break
        if span.text == "," and depth == form.bracketed:
            fields.append([])
        else:
            fields[-1].append(span)
    return fields


def _number(spans: Sequence[Span]) -> int | None:
    """Return the number that is all of a field, perhaps with a sign; None for anything else."""
    digits = spans[-1:]
    if not digits or digits[0].kind != "number" or not digits[0].text.isdecimal():
        return None
    if len(spans) == 1:
        return int(digits[0].text[:9])
    return -int(digits[0].text[:9]) if len(spans) == 2 and spans[0].text == "-" else None


def _wrong(
    line: Line, start: int, name: str, field: str, value: int, pins: Pins
) -> Iterator[Finding]:
    if field == "pin":
        if not pins.has(name, value):
            yield at_place(
                *(line, start, "pin-not-on-board"),
                f"The board has no pin {value}{_FOR.get(name, '')}.",
                f"It has {_ranges(name, pins)}.",
                "error",
            )
    elif not 0 <= value <= pins.most(field):
        yield at_place(
            *(line, start, "pin-value-out-of-range"),
            f"{value} is no {_WHAT[field]}: it must be 0 to {pins.most(field)}.",
            "Use a number in that range.",
            "error",
        )


_WHAT = {
    "value": "state of a pin",
    "width": "width of a pulse",
    "hertz": "tone in hertz",
    "ms": "time in milliseconds",
}


def _ranges(name: str, pins: Pins) -> str:
    ranges = {"analog": pins.analog_inputs, "pulse": pins.pulse_outputs}.get(name, pins.digital)
    return ", ".join(f"{low} to {high}" if low < high else str(low) for low, high in ranges)
