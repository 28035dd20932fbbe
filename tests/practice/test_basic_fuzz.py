"""The practice board's BASIC under anything at all: it never breaks and can always be stopped."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable

import pytest
from basic_runs import FUNCTIONS, STATEMENTS, drive
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.practice.basic import Basic
from hostlink.practice.ops import Answer, ReadLine, Send, Work

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

WORDS = (
    *STATEMENTS,
    *FUNCTIONS,
    *("THEN", "TO", "STEP", "A", "B", "I", "J", "Z", "0", "1", "2", "7", "10", "20", "30", "255"),
    *("32767", "32768", "-32768", "99999", "(", ")", "+", "-", "*", "/", "=", "<", ">", "<>"),
    *("<=", ">=", "><", ",", ";", ":", '"', '"A"', '"TEXT: "'),
    "RND(6)",
    "ABS(A)",
    "ROOM()",
    "\xff",
)
MOST_OPERATIONS = 300

soup = st.lists(st.sampled_from(WORDS), max_size=14).flatmap(
    lambda words: st.sampled_from(("", " ")).map(lambda blank: blank.join(words))
)
numbered = st.builds(lambda n, text: f"{n} {text}", st.sampled_from((10, 20, 30, 40)), soup)
lines = st.lists(
    st.one_of(
        st.binary(max_size=72),
        soup.map(lambda text: text.encode("latin-1")),
        numbered.map(lambda text: text.encode("latin-1")),
        st.sampled_from((b"RUN", b"LIST", b"STOW A", b"FETCH A", b"SHELF", b"NEW", b"GOTO 20")),
    ),
    max_size=12,
)


def enter(board: Basic, line: bytes, answers: Iterable[Answer], most: int) -> bytes | None:
    """Type one line, interrupt it after `most` operations; what it sent, None if it ran on."""
    firmware = board.enter(line)
    supply = iter(answers)
    sent = b""
    answer: Answer = None
    for count in range(most + 20):
        try:
            op = firmware.send(answer)
        except StopIteration:
            return sent
        over = count >= most
        if isinstance(op, Send):
            assert op.data
            sent += op.data
            answer = False
        elif isinstance(op, Work):
            assert op.times > 0
            answer = over
        else:
            assert isinstance(op, ReadLine)
            answer = None if over else next(supply, None)
    return None


@settings(max_examples=3 * settings().max_examples, deadline=None, derandomize=True, database=None)
@given(lines, st.lists(st.binary(max_size=20), max_size=6), st.integers(0, MOST_OPERATIONS))
def test_any_lines_leave_a_sound_board(typed: list[bytes], answers: list[bytes], most: int) -> None:
    """Whatever is typed, answered and interrupted: no exception, a prompt again soon after the
    interrupt, memory that adds up, 16-bit variables, and a state that survives JSON."""
    board = Basic(program_bytes=120, eeprom_bytes=100)
    for line in typed:
        sent = enter(board, line, answers, most)
        assert sent is not None, "not stopped by an interrupt"
        assert sent == b"" or sent.endswith(b"\r\n")
        used = sum(3 + len(text) for text in board.lines.values())
        assert board.free() == 120 - used >= 0
        assert list(board.lines) == sorted(board.lines)
        assert all(1 <= number <= 32767 and text for number, text in board.lines.items())
    state = board.to_state()
    assert all(-32768 <= value <= 32767 for value in state["variables"])
    other = Basic(program_bytes=120, eeprom_bytes=100)
    other.from_state(json.loads(json.dumps(state)))
    assert other.to_state() == state


@settings(max_examples=100, deadline=None, derandomize=True, database=None)
@given(
    st.sampled_from(["(", "-", "1+", "IF1=1", "A=1:", "NEXT:", '"', "1*(", "PRINT"]),
    st.integers(1, 3000),
)
def test_long_repetitions_do_not_exhaust_the_stack(piece: str, times: int) -> None:
    """A line of any length made of one piece is answered, not crashed on."""
    for start in ("", "PRINT ", "A=", "10 "):
        board = Basic(program_bytes=32767)
        drive(board.enter((start + piece * times).encode()), max_statements=10_000)
        drive(board.enter(b"RUN"), max_statements=10_000)


class Whole:
    """A whole number of 16 bits, for Python's own expression reader to calculate with."""

    def __init__(self, value: int) -> None:
        if not -32768 <= value <= 32767:
            raise OverflowError
        self.value = value

    def __add__(self, other: Whole) -> Whole:
        return Whole(self.value + other.value)

    def __sub__(self, other: Whole) -> Whole:
        return Whole(self.value - other.value)

    def __mul__(self, other: Whole) -> Whole:
        return Whole(self.value * other.value)

    def __truediv__(self, other: Whole) -> Whole:
        return Whole(math.trunc(self.value / other.value))

    def __neg__(self) -> Whole:
        return Whole(-self.value)


NUMBERS = st.integers(0, 32767) | st.integers(0, 20)
expressions = st.recursive(
    NUMBERS.map(str),
    lambda inner: st.one_of(
        st.builds("{}{}{}".format, inner, st.sampled_from("+-*/"), inner),
        inner.map("({})".format),
        inner.map("-({})".format),
    ),
    max_leaves=12,
).filter(lambda text: "((((((((((" not in text)


@settings(max_examples=4 * settings().max_examples, deadline=None, derandomize=True, database=None)
@given(expressions)
def test_expressions_give_what_python_gives(text: str) -> None:
    """Rank, brackets, signs, truncation and overflow agree with Python's reader over 16 bits."""
    wrapped = "".join(f"Whole({piece})" if piece.isdigit() else piece for piece in _pieces(text))
    try:
        expected = f" {eval(wrapped, {'Whole': Whole}).value}\r\n"
    except OverflowError:
        expected = "! number out of range\r\n"
    except ZeroDivisionError:
        expected = "! cannot divide by 0\r\n"
    assert drive(Basic().enter(f"PRINT {text}".encode())) == expected


def _pieces(text: str) -> list[str]:
    """Runs of digits, and the other characters one by one."""
    pieces: list[str] = []
    for character in text:
        if character.isdigit() and pieces and pieces[-1].isdigit():
            pieces[-1] += character
        else:
            pieces.append(character)
    return pieces
