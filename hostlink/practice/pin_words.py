"""Statements on pins, with the words and the order of the kind's own BASIC."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from hostlink.pins import PIN_FUNCTIONS, PinForm, Pins
from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.expression import read_expression
from hostlink.practice.line_text import LineText
from hostlink.practice.ops import Chore, Work
from hostlink.practice.state import State, Step, Talk
from hostlink.practice.values import Expression

_SLICE_MS = 10  # after which an interrupt is noticed
_SPEAKER = "tone"  # the pin, if the words for a tone name none


def pin_readers(pins: Pins) -> dict[str, Callable[[LineText], Step]]:
    """Return the reader of each statement on pins by its word."""
    return {
        form.word: partial(_read, name, form)
        for name, form in pins.forms.items()
        if name not in PIN_FUNCTIONS
    }


def _read(name: str, form: PinForm, text: LineText) -> Step:
    if form.bracketed:
        text.need("(")
    fields: dict[str, Expression] = {}
    for at, field in enumerate(form.takes):
        if at:
            text.need(",")
        fields[field] = read_expression(text)
    if form.bracketed:
        text.need(")")
    return partial(_do, name, fields)


def _do(name: str, fields: Mapping[str, Expression], state: State) -> Talk | None:
    """Run a statement on pins. Raises Complaint for a pin or value that the board does not have."""
    values = {field: value(state) for field, value in fields.items()}
    bank = state.pins
    for field, value in values.items():
        if not bank.pins.takes(name, field, value):
            missing = Complaint(Reason.PIN, pin=value, rest=value)
            raise missing if field == "pin" else Complaint(Reason.RANGE)
    pin, ms = str(values.get("pin", _SPEAKER)), values.get("ms", 0)
    if name == "write":
        bank.put(pin, "on", values["value"])
    elif name == "pulse":
        bank.put(pin, "width", values["width"])
    elif name == "tone":
        bank.put(pin, "tone", values["hertz"], ms)
    return _wait(ms) if ms else None


def _wait(ms: int) -> Talk:
    while ms > 0:
        part = min(ms, _SLICE_MS)
        if (yield Work(Chore.WAIT, part)):
            return True
        ms -= part
    return False
