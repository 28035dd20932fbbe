"""The words of a BASIC for the pins of its chip; profiles and practice kinds share them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

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
    """How a statement or function on a pin is typed: its word, and the fields after it in order."""

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
    where = " in brackets" if name in PIN_FUNCTIONS else ""
    return f"it must be a word in capitals, then{where} {fields}, with commas between"


@dataclass(frozen=True, slots=True)
class Pins:
    """The pins of the chip that a BASIC reaches, and its words for them.

    write, read, analog, pulse, tone, wait: each as it is typed, such as "OUT {pin},{value}"; ""
        if it has no word for that. A value is 0 or 1, hertz 0 is silence, ms milliseconds; the
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
        """Return the form of one of PIN_FIELDS, None if this BASIC has none."""
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

    def takes(self, name: str, field: str, value: int) -> bool:
        """Return whether a field of one of PIN_FIELDS takes a value: a pin must be the board's."""
        if field == "pin":
            return any(low <= value <= high for low, high in self.numbers(name))
        return 0 <= value <= self.most(field)

    def most(self, field: str) -> int:
        """Return the largest value of a field other than a pin."""
        return {"value": 1, "width": self.pulse_most}.get(field, 32767)


NO_PINS = Pins()
