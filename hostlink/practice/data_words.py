"""READ, DATA, RESTORE and DIM of a practice board's BASIC.

ECMA-55, sections 7 and 14, from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from hostlink.practice.asking import read_value
from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.expression import read_variable
from hostlink.practice.line_text import LineText
from hostlink.practice.state import State, Step


@dataclass(frozen=True, slots=True)
class _Data:
    """A DATA that was read, which does nothing itself."""

    items: tuple[bytes, ...]

    def __call__(self, state: State) -> None:
        """Do nothing."""


def _read_data(text: LineText) -> Step:
    return _Data(tuple(text.listed(_read_item)))


def _read_item(text: LineText) -> bytes:
    """Take quoted text, or all up to a comma or the end of the statement, which may be empty."""
    if text.peek() in (*text.language.quotes,):
        return text.quoted().encode("latin-1")
    start = text.at
    while text.text[text.at : text.at + 1] not in ("", ",", text.language.separator):
        text.at += 1
    return text.text[start : text.at].rstrip().encode("latin-1")


def _all_data(state: State) -> Iterator[bytes]:
    """Yield the items of all DATA in the program, in the order of its lines."""
    for line in list(state.memory.lines.values()):
        for step in state.compiler(line):
            if isinstance(step, _Data):
                yield from step.items


def _read_read(text: LineText) -> Step:
    variables = text.listed(read_variable)

    def read(state: State) -> None:
        state.data = state.data or _all_data(state)
        for variable in variables:
            if (item := next(state.data, None)) is None:
                raise Complaint(Reason.DATA)
            if (value := read_value(item, variable, state)) is None:
                raise Complaint(Reason.PUZZLED, rest=item.decode("latin-1"))
            state.variables[variable.named(state)] = value

    return read


def _restore(state: State) -> None:
    state.data = None


def _read_dim(text: LineText) -> Step:
    variables = text.listed(read_variable)
    if not all(variable.places for variable in variables):
        raise text.puzzled()

    def dim(state: State) -> None:
        for variable in variables:
            if variable.name in state.bounds:
                raise Complaint(Reason.ELEMENT)
            state.bounds[variable.name] = tuple(int(place(state)) for place in variable.places)

    return dim


DATA_STATEMENTS: dict[str, Callable[[LineText], Step]] = {
    "read": _read_read,
    "data": _read_data,
    "restore": lambda _: _restore,
    "dim": _read_dim,
}
"""The reader of each, by its key in `hostlink.practice.kind.WORDS`."""
