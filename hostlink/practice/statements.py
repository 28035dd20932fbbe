"""The statements of a practice board's BASIC: text in, steps out.

A line becomes a tuple of steps, one a statement; `IF` is a step of its own that skips the rest of
its line. A part that cannot be read becomes a step that complains when it is reached, so that
a line is accepted as typed and refused only when it runs, as the small interpreters did.
Grammar: *Design notes for Tiny BASIC*, Dr. Dobb's Journal vol. 1 no. 1, 1976, p. 9; FOR, NEXT,
NEW, `:` and the words for the EEPROM are additions. A board's language says which words it has.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import lru_cache
from typing import TypeAlias

from hostlink.practice.asking import read_input_statement
from hostlink.practice.commands import COMMANDS
from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.data_words import DATA_STATEMENTS
from hostlink.practice.expression import (
    read_condition,
    read_expression,
    read_name,
    read_text,
    read_variable,
)
from hostlink.practice.kind import KindLanguage
from hostlink.practice.line_text import DIGITS, LETTERS, LineText
from hostlink.practice.pin_words import pin_readers
from hostlink.practice.printing import read_print_statement
from hostlink.practice.state import ForStep, LineCompiler, NextStep, State, Step
from hostlink.practice.values import Expression

_ENDS = {"FOR": Reason.NEXT, "GOTO": Reason.NO_LINE, "GOSUB": Reason.NO_LINE}
"""What a board says of something after a statement that ends its line."""

Readers: TypeAlias = Mapping[str, Callable[[LineText], Step] | None]


@lru_cache(maxsize=64)
def compiler(language: KindLanguage) -> LineCompiler:
    """Return a reader of lines in a language; it caches lines, because loops read them often."""

    @lru_cache(maxsize=8192)
    def read(line: bytes) -> tuple[Step, ...]:
        return read_line(line, language)[0]

    return read


def read_line(line: bytes, language: KindLanguage) -> tuple[tuple[Step, ...], Complaint | None]:
    """Read one line without its number; return its steps, and a complaint if it is invalid.

    The last step then raises the complaint when it runs.
    """
    text = LineText(line.decode("latin-1"), language)
    readers = _readers(language)
    steps: list[Step] = []
    try:
        while text.peek():
            if text.take(text.language.separator):
                continue
            if _read_statement(text, steps, readers):
                text.depth = 0
                if not text.ends():
                    steps.pop()  # a statement with rubbish after it does nothing
                    raise text.puzzled()
    except Complaint as complaint:
        steps.append(_complaining(complaint))
        return tuple(steps), complaint
    return tuple(steps), None


def _complaining(complaint: Complaint) -> Step:
    def complain(_: State) -> None:
        raise complaint.again()

    return complain


def _read_statement(text: LineText, steps: list[Step], readers: Readers) -> bool:
    """Read one statement; return False if another may follow at once (after THEN)."""
    if "LET" in text.language.optional and _is_assignment(text):
        steps.append(_read_let(text))
        return True
    word = text.take(*readers)
    if not word:
        # A letter there could have begun an assignment; what follows it is out of place.
        at = text.at + (text.peek() in LETTERS)
        raise Complaint(Reason.UNKNOWN, at, **text.puzzled().fields)
    reader = readers[word]
    if reader is None:
        is_else = word in dict(text.language.words)["else"]
        return _read_else(text, steps) if is_else else _read_if(text, steps)
    step = reader(text)
    if text.peek() and word in text.language.ends_line:
        raise Complaint(_ENDS[word]) if word in _ENDS else text.puzzled()
    steps.append(step)
    return True


def _is_assignment(text: LineText) -> bool:
    start, assigns = text.at, False
    with suppress(Complaint):
        read_variable(text)
        assigns = text.peek() == "="
    text.at = start
    return assigns


def _read_let(text: LineText) -> Step:
    variable = read_variable(text)
    name = variable.name
    text.need("=")
    expression = read_text(text) if "$" in name else read_expression(text)

    def let(state: State) -> None:
        state.variables[name] = expression(state)

    def let_element(state: State) -> None:
        state.variables[variable.named(state)] = expression(state)

    return let_element if variable.places else let


def _read_if(text: LineText, steps: list[Step]) -> bool:
    condition = read_condition(text)
    otherwise: list[int] = []
    text.branches.append(otherwise)

    def skip_unless(state: State) -> None:
        if not condition(state):
            state.at = otherwise[0] if otherwise else len(state.steps)

    steps.append(skip_unless)
    takes = text.language.then_takes
    then = takes != "none" and bool(text.take("THEN"))
    if not then and takes != "none" and "THEN" not in text.language.optional:
        raise text.puzzled()
    if then and takes != "statement" and _take_line(text, steps):
        return True
    if text.ends() or takes == "line":
        raise text.puzzled()
    return False


def _read_else(text: LineText, steps: list[Step]) -> bool:
    """Read ELSE, which belongs to the nearest IF in front that has none yet."""
    if not text.branches:
        raise text.puzzled()
    steps.append(_skip_rest)
    text.branches.pop().append(len(steps))
    return _take_line(text, steps)


def _skip_rest(state: State) -> None:
    state.at = len(state.steps)


def _take_line(text: LineText, steps: list[Step]) -> bool:
    """Take the number of a line to go to; return whether one stands here."""
    if text.peek() not in DIGITS:
        return False
    number = text.digits()
    steps.append(lambda state: state.jump(number))
    return True


def _read_goto(text: LineText) -> Step:
    target = _read_target(text)
    return lambda state: state.jump(target(state))


def _read_gosub(text: LineText) -> Step:
    target = _read_target(text)
    return lambda state: state.open_call(target(state))


def _read_target(text: LineText) -> Expression:
    if text.language.computed_jumps:
        return read_expression(text)
    if text.peek() not in DIGITS:
        raise text.puzzled()
    number = text.digits()
    return lambda _: number


def _read_on(text: LineText) -> Step:
    """Read ON, a number, GOTO or GOSUB and lines; a number without a line jumps nowhere."""
    choice = read_expression(text)
    words = dict(text.language.words)
    calls = bool(text.take(*words["gosub"]))
    if not calls and not text.take(*words["goto"]):
        raise text.puzzled()
    targets = text.listed(_read_target)

    def jump(state: State) -> None:
        place = int(choice(state))
        if place < 0:
            raise Complaint(Reason.RANDOM)
        if 0 < place <= len(targets):
            target = targets[place - 1](state)
            state.open_call(target) if calls else state.jump(target)

    return jump


def _read_def(text: LineText) -> Step:
    """Read DEF FNX(A)=..., a user-defined function."""
    text.need("FN")
    name = read_name(text)
    text.need("(")
    variable = read_name(text)
    text.need(")")
    text.need("=")
    expression = read_expression(text)

    def define(state: State) -> None:
        state.functions[name] = (variable, expression)

    return define


def _read_for(text: LineText) -> Step:
    variable = read_name(text)
    text.need("=")
    first = read_expression(text)
    text.need("TO")
    limit = read_expression(text)
    step: Expression = read_expression(text) if text.take("STEP") else lambda _: 1
    return ForStep(variable, first, limit, step)


def _read_next(text: LineText) -> Step:
    variable = read_name(text) if text.peek() in LETTERS else None
    if variable is None and not text.language.bare_next:
        raise Complaint(Reason.NEXT)
    return NextStep(variable)


def _read_rem(text: LineText) -> Step:
    text.at = len(text.text)
    return lambda _: None


_MEANINGS: dict[str, Callable[[LineText], Step]] = {
    "let": _read_let,
    "print": read_print_statement,
    "input": read_input_statement,
    **DATA_STATEMENTS,
    "goto": _read_goto,
    "gosub": _read_gosub,
    "on": _read_on,
    "def": _read_def,
    "return": lambda _: lambda state: state.close_call(),
    "for": _read_for,
    "next": _read_next,
    "end": lambda _: lambda state: state.halt(),
    "rem": _read_rem,
    **COMMANDS,
}


@lru_cache(maxsize=64)
def _readers(language: KindLanguage) -> Readers:
    """Return the reader of each statement by its word, longer words first; None for IF."""
    words = [(word, meaning) for meaning, words in language.words for word in words]
    readers = {word: _MEANINGS.get(meaning) for word, meaning in words}
    readers |= pin_readers(language.pins)
    return dict(sorted(readers.items(), key=lambda pair: -len(pair[0])))
