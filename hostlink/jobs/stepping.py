"""The state of a program between two of its statements, in words."""

from __future__ import annotations

from collections.abc import Iterator

from hostlink.practice.arithmetic import Value
from hostlink.practice.pin_bank import ANALOG, PinChange
from hostlink.practice.walk import Walk
from hostlink.words import natural


def state_rows(walk: Walk) -> Iterator[str]:
    """Yield rows on the variables that are not 0, the open loops and the open subroutines.

    Loops and subroutines come innermost first.
    """
    state = walk.state
    numbers = [*map(str, state.memory.numbers), "typed"]
    held = {name: value for name, value in state.variables.items() if value}
    yield "Variables" if held else "All variables are 0."
    for name in sorted(held, key=lambda name: ("(" in name, "$" in name, len(name), name)):
        yield f"  {name} = {variable_words(held[name])}"
    for loop in reversed(state.loops):
        steps = f" in steps of {variable_words(loop.step)}" if loop.step != 1 else ""
        start = numbers[loop.body.line]
        limit = variable_words(loop.limit)
        yield f"Loop: {loop.variable} to {limit}{steps}, from line {start}"
    for call in reversed(state.calls):
        yield f"Subroutine: back to line {numbers[call.back.line]}"


def variable_words(value: Value) -> str:
    """Return what a variable holds: text in quotes, a fraction with seven digits."""
    if isinstance(value, str):
        return f'"{value}"'
    return f"{value:.7g}" if isinstance(value, float) else str(value)


def pins_used(walk: Walk) -> list[str]:
    """Return the pins that the program has read or written so far, in the order of their names."""
    bank = walk.state.pins
    return sorted({*bank.asked, *bank.out, *bank.levels}, key=natural)


def pins_read(walk: Walk) -> list[str]:
    """Return the pins that the program has read so far, to which a level can be given."""
    return sorted(walk.state.pins.asked, key=natural)


def pin_words(walk: Walk, name: str) -> str:
    """Describe the state of a pin: "13 on", "9 width 128", "ADC0 512"."""
    bank = walk.state.pins
    level, put = bank.level(name), bank.out.get(name)
    if put is not None and name not in bank.levels:
        return f"{name} {put_out(put)}"
    return f"{name} {level}" if name.startswith(ANALOG) else f"{name} {_on(level)}"


def put_out(change: PinChange) -> str:
    """Describe what was put out at a pin."""
    if change.what == "tone":
        lasting = f" for {change.for_ms} ms" if change.for_ms else ""
        return f"{change.value} Hz{lasting}" if change.value else f"silence{lasting}"
    return f"width {change.value}" if change.what == "width" else _on(change.value)


def _on(value: int) -> str:
    return "on" if value else "off"


def change_level(walk: Walk, name: str, by: int) -> None:
    """Change the level at a pin from outside. by: 32nds of its range; 0 toggles it."""
    bank = walk.state.pins
    most = bank.pins.analog_most if name.startswith(ANALOG) else 1
    level = bank.level(name)
    step = max(1, (most + 1) // 32)
    wanted = level + by * step if by else 0 if level else most
    walk.connect(name, min(max(wanted, 0), most))
