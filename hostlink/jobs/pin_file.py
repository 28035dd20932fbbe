"""Read the input at the pins of a practice board from a file: rows of time, pin and value.

A CSV file (RFC 4180) whose first row is `ms,pin,value`. ms: since the program began. pin: a number,
or ADC0, ADC1 ... for an analog input. The value stays until another row changes it.
"""

from __future__ import annotations

import csv
from pathlib import Path

from hostlink.errors import RefusedError
from hostlink.jobs.files import read_bytes
from hostlink.jobs.listing_source import Material, shipped_as
from hostlink.pins import Pins
from hostlink.practice.pin_bank import ANALOG, PinInput
from hostlink.sentences import ANALOG_PIN, no_pin
from hostlink.words import safe

HEADS = ["ms", "pin", "value"]
_MOST_DIGITS = 8  # of a time in ms: a day


def read_pin_file(path: Path, pins: Pins) -> tuple[PinInput, ...]:
    """Return the rows of a file. Raises RefusedError that names the first wrong row.

    It is also raised if the BASIC has no words for pins.
    """
    if not pins.forms:
        raise RefusedError(
            f"{path} cannot be used: the BASIC of this kind of board has no words for pins.",
            kept="Nothing was run.",
            advice="Leave the file out, or name a kind of board that has such words.",
        )
    rows = csv.reader(read_bytes(path).decode("utf-8-sig", "replace").splitlines())
    found: list[PinInput] = []
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if any(cells) and (rows.line_num > 1 or cells != HEADS):
                found.append(_row(cells, pins))
    except (csv.Error, ValueError) as error:
        raise RefusedError(
            f"Row {rows.line_num} of {path} cannot be used: {error}.",
            kept="Nothing was run.",
            advice=f"Write rows such as 1500,2,1 (milliseconds, pin, value); {ANALOG_PIN}",
        ) from error
    return tuple(found)


def pins_of(material: Material) -> tuple[PinInput, ...]:
    """Return the pin input with which a shipped program was checked, () for any other listing."""
    shipped = shipped_as(material)
    return tuple(PinInput(*each) for each in shipped.pins) if shipped is not None else ()


def _row(cells: list[str], pins: Pins) -> PinInput:
    ms, pin, value = cells if len(cells) == len(HEADS) else ("", "", "")
    if not (ms.isdecimal() and value.isdecimal()) or len(ms) > _MOST_DIGITS:
        raise ValueError("it must be a time in ms, a pin and a whole number")
    analog = pin.upper().startswith(ANALOG)
    number = pin.upper().removeprefix(ANALOG)
    if not number.isdecimal() or not pins.takes("analog" if analog else "read", "pin", int(number)):
        raise ValueError(no_pin(safe(pin[:20])))
    most = pins.analog_most if analog else 1
    if int(value) > most:
        raise ValueError(f"the value at pin {pin} must be 0 to {most}")
    return PinInput(int(ms), f"{ANALOG if analog else ''}{int(number)}", int(value))
