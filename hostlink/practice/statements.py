"""The statements of a practice board's BASIC: text in, steps out.

A line becomes a tuple of steps, one a statement; `IF` is a step of its own that skips the rest of
its line. A part that cannot be read becomes a step that complains when it is reached, so that
a line is accepted as typed and refused only when it runs, as the small interpreters did.
Grammar: *Design notes for Tiny BASIC*, Dr. Dobb's Journal vol. 1 no. 1, 1976, p. 9; FOR, NEXT,
NEW, `:` and the words for the EEPROM are additions. Which words a board has is its language's.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import lru_cache
from typing import TypeAlias

from hostlink.practice.arithmetic import number_shower
from hostlink.practice.asking import read_input_statement
from hostlink.practice.commands import COMMANDS
from hostlink.practice.complaint import Complaint, Reason, excerpt
from hostlink.practice.expression import (
    holds_text,
    read_any,
    read_condition,
    read_expression,
    read_text,
    read_variable,
)
from hostlink.practice.kind import WORDS, KindLanguage
from hostlink.practice.line_text import DIGITS, LETTERS, LineText
from hostlink.practice.ops import Send
from hostlink.practice.pin_words import pin_readers
from hostlink.practice.state import ForStep, LineCompiler, NextStep, State, Step, Talk
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
    """Read one line without its number; return its steps and what is wrong with it.

    The last step raises that when it runs.
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
        raise Complaint(Reason.UNKNOWN, at, rest=excerpt(text.text[text.at :]))
    reader = readers[word]
    if reader is None:
        return _read_if(text, steps)
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
    text.need("=")
    expression = read_text(text) if holds_text(variable) else read_expression(text)

    def let(state: State) -> None:
        state.variables[variable] = expression(state)

    return let


def _read_if(text: LineText, steps: list[Step]) -> bool:
    condition = read_condition(text)

    def skip_unless(state: State) -> None:
        if not condition(state):
            state.at = len(state.steps)

    steps.append(skip_unless)
    takes = text.language.then_takes
    then = takes != "none" and bool(text.take("THEN"))
    if not then and takes != "none" and "THEN" not in text.language.optional:
        raise text.puzzled()
    if then and takes != "statement" and text.peek() in DIGITS:
        steps.append(_jumping(text.digits()))
        return True
    if text.ends() or takes == "line":
        raise text.puzzled()
    return False


def _jumping(number: int) -> Step:
    return lambda state: state.jump(number)


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
    """Read ON, a number, GOTO or GOSUB and lines; a number beyond them goes on after it."""
    choice = read_expression(text)
    words = dict(text.language.words)
    calls = bool(text.take(*words["gosub"]))
    if not calls and not text.take(*words["goto"]):
        raise text.puzzled()
    targets = [_read_target(text)]
    while text.take(","):
        targets.append(_read_target(text))

    def jump(state: State) -> None:
        place = int(choice(state))
        if place < 0:
            raise Complaint(Reason.RANDOM)
        if 0 < place <= len(targets):
            target = targets[place - 1](state)
            state.open_call(target) if calls else state.jump(target)

    return jump


def _read_def(text: LineText) -> Step:
    """Read DEF FNX(A)=..., a function of the user's."""
    text.need("FN")
    name = read_variable(text)
    text.need("(")
    variable = read_variable(text)
    text.need(")")
    text.need("=")
    expression = read_expression(text)

    def define(state: State) -> None:
        state.functions[name] = (variable, expression)

    return define


def _read_for(text: LineText) -> Step:
    variable = read_variable(text)
    text.need("=")
    first = read_expression(text)
    text.need("TO")
    limit = read_expression(text)
    step: Expression = read_expression(text) if text.take("STEP") else lambda _: 1
    return ForStep(variable, first, limit, step)


def _read_next(text: LineText) -> Step:
    variable = read_variable(text) if text.peek() in LETTERS else None
    if variable is None and not text.language.bare_next:
        raise Complaint(Reason.NEXT)
    return NextStep(variable)


def _read_rem(text: LineText) -> Step:
    text.at = len(text.text)
    return lambda _: None


def _read_print(text: LineText) -> Step:
    """Read PRINT items: a quoted text (bytes), an expression, or None for a comma.

    Where a semicolon ends the row only, what stands after one fails after the rest was shown.
    """
    semicolon = text.language.semicolon
    wrong: Complaint | None = None
    items: list[bytes | Expression | None] = []
    ended = True
    while not text.ends():
        if text.take(","):
            items.append(None)
            ended = False
        elif semicolon != "none" and text.take(";"):
            ended = False
            if semicolon == "ends" and not text.ends():
                wrong = text.puzzled()
                text.at = len(text.text)
        elif items and ended:
            raise text.puzzled()
        else:
            strings = "strings" in text.language.means
            quoted = not strings and text.peek() in text.language.quotes
            items.append(text.quoted().encode("latin-1") if quoted else read_any(text))
            ended = True
    if not items and not text.peek() and not text.language.bare_print:
        return lambda state: b"" if state.command == "run" else state.end
    show = _showing(items, text.language, ended=ended)
    return show if wrong is None else lambda state: _failing(show(state), wrong)


def _showing(
    items: list[bytes | Expression | None], language: KindLanguage, *, ended: bool
) -> Callable[[State], bytes]:
    """Return what shows the items of PRINT."""
    number = number_shower(language)
    zone = language.comma_columns
    blank = language.blank.encode("latin-1")

    def show(state: State) -> bytes:
        column = state.column
        parts = []
        for item in items:
            if item is None:
                part = blank * (zone - column % zone) if zone else b""
            elif isinstance(item, bytes):
                part = item
            else:
                value = item(state)
                is_number = not isinstance(value, str)
                part = number(value) if is_number else value.encode("latin-1", "replace")
            parts.append(part)
            column += len(part)
        state.column = 0 if ended else column
        if ended:
            parts.append(state.end)
        return b"".join(parts)

    return show


def _failing(shown: bytes, complaint: Complaint) -> Talk:
    """Show what was read of a statement, then complain about the rest."""
    yield Send(shown)
    raise complaint.again()


_MEANINGS: dict[str, Callable[[LineText], Step]] = {
    "let": _read_let,
    "print": _read_print,
    "input": read_input_statement,
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


STATEMENTS = tuple(word for _, words in WORDS for word in words)
"""The words that begin a statement on the practice board."""
