"""The statements of the practice board's BASIC: text in, steps out.

A line becomes a tuple of steps, one a statement; `IF` is a step of its own that skips the rest of
its line. A part that cannot be read becomes a step that complains when it is reached, so that
a line is accepted as typed and refused only when it runs, as the small interpreters did.
Grammar: *Design notes for Tiny BASIC*, Dr. Dobb's Journal vol. 1 no. 1, 1976, p. 9; FOR, NEXT,
NEW, `:` and the four words for the EEPROM are additions.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from hostlink.practice.complaint import ERROR_WORDS, Complaint, excerpt
from hostlink.practice.eeprom import slot_bytes, slot_name
from hostlink.practice.expression import (
    DIGITS,
    LARGEST,
    LETTERS,
    SMALLEST,
    Expression,
    Text,
    read_condition,
    read_expression,
    read_variable,
)
from hostlink.practice.ops import Chore, ReadLine, Send, Work
from hostlink.practice.program_memory import FIRST_LINE, LAST_LINE, program_bytes
from hostlink.practice.state import ZONE, State, Step, Talk

SEPARATOR = ":"
END = b"\r\n"
INPUT_PROMPT = b"? "

_NUMBER = re.compile(rb"[ \t]*([+-]?)[ \t]*([0-9]{1,9})[ \t]*")


@lru_cache(maxsize=8192)
def read_line(line: bytes) -> tuple[Step, ...]:
    """Read one line (without its number). Never raises; what is wrong complains when run."""
    text = Text(line.decode("latin-1"))
    steps: list[Step] = []
    try:
        while text.peek():
            if text.take(SEPARATOR):
                continue
            if _read_statement(text, steps):
                text.depth = 0
                if text.peek() not in ("", SEPARATOR):
                    steps.pop()  # nothing of a statement with rubbish behind it is done
                    raise text.puzzled()
    except Complaint as complaint:
        steps.append(_complaining(complaint.args[0]))
    return tuple(steps)


def _complaining(message: str) -> Step:
    def complain(_: State) -> None:
        raise Complaint(message)

    return complain


def _read_statement(text: Text, steps: list[Step]) -> bool:
    """Read one statement. False where another one may follow at once (after THEN)."""
    if _is_assignment(text):
        steps.append(_read_let(text))
        return True
    word = text.take(*STATEMENTS)
    if not word:
        raise Complaint(f"unknown statement {excerpt(text.text[text.at :])}")
    if word == "IF":
        return _read_if(text, steps)
    steps.append(_READERS[word](text))
    return True


def _is_assignment(text: Text) -> bool:
    if text.peek() not in LETTERS:
        return False
    return text.upper[text.at + 1 :].lstrip(" \t").startswith("=")


def _read_let(text: Text) -> Step:
    variable = read_variable(text)
    text.need("=")
    expression = read_expression(text)

    def let(state: State) -> None:
        state.variables[variable] = expression(state)

    return let


def _read_if(text: Text, steps: list[Step]) -> bool:
    condition = read_condition(text)

    def skip_unless(state: State) -> None:
        if not condition(state):
            state.at = len(state.steps)

    steps.append(skip_unless)
    if text.take("THEN") and text.peek() in DIGITS:
        steps.append(_jumping(text.digits()))
        return True
    if text.peek() in ("", SEPARATOR):
        raise text.puzzled()
    return False


def _jumping(number: int) -> Step:
    return lambda state: state.jump(number)


def _read_goto(text: Text) -> Step:
    target = read_expression(text)
    return lambda state: state.jump(target(state))


def _read_gosub(text: Text) -> Step:
    target = read_expression(text)
    return lambda state: state.open_call(target(state))


def _read_for(text: Text) -> Step:
    variable = read_variable(text)
    text.need("=")
    first = read_expression(text)
    text.need("TO")
    limit = read_expression(text)
    step: Expression = read_expression(text) if text.take("STEP") else lambda _: 1
    return lambda state: state.open_loop(variable, first(state), limit(state), step(state))


def _read_next(text: Text) -> Step:
    variable = read_variable(text) if text.peek() in LETTERS else None
    return lambda state: state.next_round(variable)


def _read_rem(text: Text) -> Step:
    text.at = len(text.text)
    return lambda _: None


def _read_print(text: Text) -> Step:
    """PRINT items. An item is a quoted text (bytes), an expression, or None for a comma."""
    items: list[bytes | Expression | None] = []
    ended = True
    while text.peek() not in ("", SEPARATOR):
        if text.take(","):
            items.append(None)
            ended = False
        elif text.take(";"):
            ended = False
        elif items and ended:
            raise text.puzzled()
        else:
            items.append(_read_quoted(text) if text.peek() == '"' else read_expression(text))
            ended = True
    newline = END if ended else b""

    def show(state: State) -> bytes:
        column = state.column
        parts = []
        for item in items:
            if item is None:
                part = b" " * (ZONE - column % ZONE)
            elif isinstance(item, bytes):
                part = item
            else:
                part = b" %d" % item(state)
            parts.append(part)
            column += len(part)
        state.column = 0 if ended else column
        parts.append(newline)
        return b"".join(parts)

    return show


def _read_quoted(text: Text) -> bytes:
    start = text.at + 1
    end = text.text.find('"', start)
    if end < 0:
        raise Complaint("closing quote is missing")
    text.at = end + 1
    return text.text[start:end].encode("latin-1")


def _read_input(text: Text) -> Step:
    variables = [read_variable(text)]
    while text.take(","):
        variables.append(read_variable(text))
    return lambda state: _ask(state, variables)


def _ask(state: State, variables: list[int]) -> Talk:
    """Ask until every variable has a number. An empty answer is 0, as on the smallest boards."""
    while True:
        answer = yield ReadLine(INPUT_PROMPT)
        state.column = 0
        if not isinstance(answer, bytes):
            return True
        values = _numbers(answer)
        if values is None or len(values) != len(variables):
            wanted = "a number" if len(variables) == 1 else f"{len(variables)} numbers"
            yield Send(f"{ERROR_WORDS[0]}wants {wanted}".encode() + END)
            continue
        for variable, value in zip(variables, values, strict=True):
            state.variables[variable] = value
        return False


def _numbers(answer: bytes) -> list[int] | None:
    values = []
    for part in answer.split(b","):
        found = _NUMBER.fullmatch(part)
        if found:
            value = int(found[1] + found[2])
        elif not part.strip():
            value = 0
        else:
            return None
        if not SMALLEST <= value <= LARGEST:
            return None
        values.append(value)
    return values


def _read_list(text: Text) -> Step:
    first = last = None
    if text.peek() not in ("", SEPARATOR):
        first = read_expression(text)
        if text.take(","):
            last = read_expression(text)

    def show(state: State) -> Talk:
        lowest = first(state) if first else FIRST_LINE
        highest = last(state) if last else LAST_LINE
        return _list(state, lowest, highest)

    return show


def _list(state: State, lowest: int, highest: int) -> Talk:
    yield from _fresh_line(state)
    lines = {n: text for n, text in state.memory.lines.items() if lowest <= n <= highest}
    for row in state.teller.rows(lines):
        if (yield Work(Chore.LIST_LINE)):
            return True
        yield Send(row + END)
    return False


def _fresh_line(state: State) -> Talk:
    """End the output line that was left open, if one was."""
    if state.column:
        state.column = 0
        yield Send(END)
    return False


def _read_shelf(_: Text) -> Step:
    return _shelf


def _shelf(state: State) -> Talk:
    yield from _fresh_line(state)
    for name, lines in sorted(state.eeprom.slots.items()):
        if (yield Work(Chore.LIST_LINE)):
            return True
        yield Send(f"{name} {program_bytes(lines)}".encode() + END)
    return False


def _read_named(do: Callable[[State, str], Talk | None]) -> Callable[[Text], Step]:
    """A reader for `WORD name`."""

    def read(text: Text) -> Step:
        text.peek()
        start = text.at
        end = text.text.find(SEPARATOR, start)
        text.at = len(text.text) if end < 0 else end
        name = slot_name(text.text[start : text.at])
        return lambda state: do(state, name)

    return read


def _stow(state: State, name: str) -> Talk:
    """The slot changes only when all its bytes are written: power lost before keeps the old one."""
    lines = dict(state.memory.lines)
    if not lines:
        raise Complaint("no program to stow")
    state.eeprom.check(name, lines)
    stopped = yield Work(Chore.EEPROM_BYTE, slot_bytes(name, lines))
    state.eeprom.put(name, lines)
    return bool(stopped)


def _fetch(state: State, name: str) -> None:
    state.memory.replace(state.eeprom.get(name))
    state.halt()


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


_READERS: dict[str, Callable[[Text], Step]] = {
    "LET": _read_let,
    "PRINT": _read_print,
    "INPUT": _read_input,
    "GOTO": _read_goto,
    "GOSUB": _read_gosub,
    "RETURN": lambda _: lambda state: state.close_call(),
    "FOR": _read_for,
    "NEXT": _read_next,
    "END": lambda _: lambda state: state.halt(),
    "REM": _read_rem,
    "LIST": _read_list,
    "RUN": lambda _: _run,
    "NEW": lambda _: _new,
    "CLEAR": lambda _: _new,
    "STOW": _read_named(_stow),
    "FETCH": _read_named(_fetch),
    "SHELF": _read_shelf,
    "TOSS": _read_named(_toss),
}

STATEMENTS = ("IF", *_READERS)
"""The words that begin a statement."""
