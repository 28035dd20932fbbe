"""What a person sees of a program between two of its statements."""

from __future__ import annotations

import string

from hostlink.practice.pin_bank import PinChange
from hostlink.practice.walk import Walk

LETTERS = string.ascii_uppercase
_ANALOG = "ADC"


def variables(walk: Walk) -> dict[str, int]:
    """Return the variables that are not 0, by name."""
    pairs = zip(LETTERS, walk.state.variables, strict=True)
    return {name: value for name, value in pairs if value}


def open_loops(walk: Walk) -> list[str]:
    """Return each open FOR in words, the innermost last."""
    state = walk.state
    return [
        f"{LETTERS[loop.variable]} to {loop.limit}"
        + (f" in steps of {loop.step}" if loop.step != 1 else "")
        + f", from line {_number(walk, loop.body.line)}"
        for loop in state.loops
    ]


def open_calls(walk: Walk) -> list[str]:
    """Return each open GOSUB in words, the innermost last."""
    return [f"back to line {_number(walk, call.back.line)}" for call in walk.state.calls]


def _number(walk: Walk, place: int) -> str:
    numbers = walk.state.memory.numbers
    return str(numbers[place]) if 0 <= place < len(numbers) else "typed"


def pins_used(walk: Walk) -> list[str]:
    """Return the pins that the program has read or written so far, in the order of their names."""
    bank = walk.state.pins
    return sorted({*bank.asked, *bank.out, *bank.levels}, key=lambda name: (len(name), name))


def pin_words(walk: Walk, name: str) -> str:
    """Return what is at a pin: "13 on", "9 width 128", "ADC0 512"."""
    bank = walk.state.pins
    level, put = bank.level(name), bank.out.get(name)
    if name in bank.levels or put is None:
        return f"{name} {level}" if name.startswith(_ANALOG) else f"{name} {_on(level)}"
    return f"{name} {put_out(put)}"


def put_out(change: PinChange) -> str:
    """Return in words what was put out at a pin."""
    if change.what == "tone":
        lasting = f" for {change.for_ms} ms" if change.for_ms else ""
        return f"{change.value} Hz{lasting}" if change.value else f"silence{lasting}"
    return f"width {change.value}" if change.what == "width" else _on(change.value)


def _on(value: int) -> str:
    return "on" if value else "off"


def slide(walk: Walk, name: str, by: int) -> None:
    """Change what comes to a pin from outside. by: steps of a 32nd, or 1 and -1 for on and off."""
    pins = walk.state.pins.pins
    if name.startswith(_ANALOG):
        step = max(1, (pins.analog_most + 1) // 32)
        level = walk.state.pins.level(name) + by * step
        walk.connect(name, min(max(level, 0), pins.analog_most))
    else:
        walk.connect(name, int(by > 0))


def switch(walk: Walk, name: str) -> None:
    """Turn a digital pin from off to on or back; an analog one to its end or to 0."""
    most = walk.state.pins.pins.analog_most if name.startswith(_ANALOG) else 1
    walk.connect(name, 0 if walk.state.pins.level(name) else most)
