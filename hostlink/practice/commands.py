"""Statements on whole programs: list, run, clear, and the EEPROM.

Each reports to the state which statement it was, because some boards confirm only certain ones.
"""

from __future__ import annotations

from collections.abc import Callable, Generator

from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.eeprom import slot_name
from hostlink.practice.expression import read_expression
from hostlink.practice.line_text import LineText
from hostlink.practice.ops import Answer, Chore, Op, Send, Work
from hostlink.practice.state import State, Step, Talk

_LARGEST_NUMBER = 65535


def _read_list(text: LineText) -> Step:
    first = last = None
    if not text.ends():
        first = read_expression(text)
        if text.take(","):
            last = read_expression(text)
        elif text.language.list_one:
            last = first

    def show(state: State) -> Talk:
        lowest = first(state) if first else 0
        highest = last(state) if last else _LARGEST_NUMBER
        return _list(state, lowest, highest)

    return show


def _list(state: State, lowest: int, highest: int) -> Talk:
    yield from _begin_rows(state)
    lines = {n: text for n, text in state.memory.lines.items() if lowest <= n <= highest}
    visible = {n: text for n, text in lines.items() if n <= state.rules.rules.listed_last}
    for row in state.teller.rows(visible, state.wording.listed, state.end):
        if (yield Work(Chore.LIST_LINE)):
            return True
        yield Send(row)
    end = state.end if len(visible) < len(lines) else b""
    memory = state.memory
    template = state.kind.messages.list_end
    end += state.wording.say(template, count=len(memory.lines), used=memory.used)
    if end:
        yield Send(end)
    return False


def _begin_rows(state: State) -> Generator[Op, Answer, None]:
    """End an open row, and send what precedes a listing."""
    begin = state.wording.say(state.kind.messages.list_begin)
    if state.column and state.kind.messages.open_row:
        state.column = 0
        begin = state.end + begin
    if begin:
        yield Send(begin)


def _stored(state: State) -> Talk:
    """List the programs in EEPROM."""
    yield from _begin_rows(state)
    shelf, eeprom = state.kind.shelf, state.eeprom
    if shelf.shows == "program" and not eeprom.slots:
        yield Send(shelf.blank_shows.encode("latin-1") * eeprom.size)
    rows = []
    for name, lines in sorted(eeprom.slots.items()):
        if shelf.shows == "names":
            rows.append(f"{name} {state.rules.program_bytes(lines)}".encode() + state.end)
        elif shelf.shows == "program":
            rows += [state.wording.listed(*line) for line in lines.items()]
    for row in rows:
        if (yield Work(Chore.LIST_LINE)):
            return True
        yield Send(row)
    return False


def _memory(state: State) -> bytes:
    """Return the answer to the bare word for the free memory."""
    return state.wording.say(
        state.kind.messages.memory,
        free=state.free(),
        eeprom=state.eeprom.size,
        eeprom_left=state.eeprom.left,
    )


def _store(state: State, name: str) -> Talk:
    """Store a program; the slot changes only when all its bytes are written."""
    lines = dict(state.memory.lines)
    if not lines and state.kind.shelf.slots == "named":
        raise Complaint(Reason.NO_PROGRAM)
    state.eeprom.check(name, lines)
    written = state.eeprom.slot_bytes(name, lines)
    stopped = yield Work(Chore.EEPROM_BYTE, max(1, written))
    state.eeprom.put(name, lines)
    return bool(stopped)


def _recall(state: State, name: str) -> Talk:
    """Replace the program in memory by a stored one."""
    if name not in state.eeprom.slots and state.kind.shelf.blank_recall == "hangs":
        while True:
            yield Work(Chore.EEPROM_BYTE, 1_000_000)
    state.memory.replace(state.eeprom.get(name))
    state.halt()
    said = state.wording.say(state.kind.messages.recalled)
    if said:
        yield Send(said)
    return False


def _toss(state: State, name: str) -> Talk:
    state.eeprom.get(name)
    stopped = yield Work(Chore.EEPROM_BYTE, len(name) + 1)
    state.eeprom.toss(name)
    return bool(stopped)


def _run(state: State) -> None:
    state.start_program()


def _new(state: State) -> None:
    state.memory.replace({})
    state.clear_variables()
    state.halt()


def _plain(do: Step) -> Callable[[LineText], Step]:
    return lambda _: do


def _named(do: Callable[[State, str], Talk]) -> Callable[[LineText], Step]:
    """Return a reader for `WORD name`."""

    def read(text: LineText) -> Step:
        text.peek()
        start = text.at
        separator = text.language.separator
        end = text.text.find(separator, start) if separator else -1
        text.at = len(text.text) if end < 0 else end
        typed = text.text[start : text.at]
        return lambda state: do(state, slot_name(typed, state.kind.shelf))

    return read


def _telling(meaning: str, read: Callable[[LineText], Step]) -> Callable[[LineText], Step]:
    """Return a reader of steps that report to the state which statement they were."""

    def telling(text: LineText) -> Step:
        step = read(text)

        def told(state: State) -> bytes | Talk | None:
            state.command = meaning
            return step(state)

        return told

    return telling


COMMANDS: dict[str, Callable[[LineText], Step]] = {
    meaning: _telling(meaning, read)
    for meaning, read in {
        "list": _read_list,
        "run": _plain(_run),
        "new": _plain(_new),
        "store": _named(_store),
        "recall": _named(_recall),
        "stored": _plain(_stored),
        "toss": _named(_toss),
        "memory": _plain(_memory),
    }.items()
}
"""The reader of each, by its key in `hostlink.practice.kind.WORDS`."""
