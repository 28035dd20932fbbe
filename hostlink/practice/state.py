"""The state of the running firmware in RAM: program, variables, and the current place."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from hostlink.practice.arithmetic import LARGEST, SMALLEST, Value
from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.eeprom import Eeprom
from hostlink.practice.kind import BoardKind
from hostlink.practice.messages import wording_of
from hostlink.practice.ops import Answer, Op
from hostlink.practice.pin_bank import PinBank
from hostlink.practice.program_memory import ProgramMemory
from hostlink.practice.reported_memory import ListingAnswers
from hostlink.practice.storing import storing
from hostlink.practice.values import Expression, Function, Variables

DEEPEST_FOR = 8
DEEPEST_GOSUB = 8
LAST_PLACE = 10
"""In an array without a DIM; places begin with 0. ECMA-55, section 7, from memory."""

Talk: TypeAlias = Generator[Op, Answer, bool]
"""A statement that waits for something; returns True if it was interrupted."""

Step: TypeAlias = "Callable[[State], bytes | Talk | None]"
"""One statement, read. Gives bytes to send, or a conversation, or None when it is done."""


@dataclass(slots=True)
class Place:
    """A place in the program.

    The index of the line in memory (past the end for a direct line), and the step in it.
    """

    line: int
    steps: tuple[Step, ...]
    at: int


@dataclass(slots=True)
class Loop:
    """An open FOR: its variable, and the beginning of its body."""

    variable: str
    limit: Value
    step: Value
    body: Place


@dataclass(slots=True)
class Call:
    """An open GOSUB: the place to return to, and the number of loops open before it."""

    back: Place
    loops: int


@dataclass(frozen=True, slots=True)
class ForStep:
    """A FOR that was read: its variable, and its expressions."""

    variable: str
    first: Expression
    limit: Expression
    step: Expression

    def __call__(self, state: State) -> None:
        """Execute the FOR."""
        values = self.first(state), self.limit(state), self.step(state)
        state.open_loop(self.variable, *values)


@dataclass(frozen=True, slots=True)
class NextStep:
    """A NEXT that was read: its variable, None if it names none."""

    variable: str | None

    def __call__(self, state: State) -> None:
        """Execute the NEXT."""
        state.next_round(self.variable)


class State:
    """The RAM of the board. Its random numbers start at the kind's seed, again at each power-on.

    command: what the direct line did last, by its key in `hostlink.practice.kind.WORDS`; "run" as
    soon as a line of the program has run.
    """

    def __init__(
        self, kind: BoardKind, compiler: LineCompiler, teller: ListingAnswers, pins: PinBank
    ) -> None:
        self.kind = kind
        self.rules = storing(kind.storage, kind.language)
        self.wording = wording_of(kind)
        self.end = kind.settings.reply_end
        self.memory = ProgramMemory(kind.settings.program_bytes, self.rules)
        self.eeprom = Eeprom(kind.settings.eeprom_bytes, kind.shelf, self.rules)
        self.compiler = compiler
        self.teller = teller
        self.pins = pins
        self.seed = self.chance = kind.settings.seed & 0xFFFFFFFF
        self.command = ""
        self.column = 0
        self.clear_variables()
        self.halt()

    def power_on(self) -> None:
        """Clear program, variables and random numbers; the EEPROM stays."""
        self.memory.replace({})
        self.chance = self.seed
        self.column = 0
        self.pins.clear()
        self.clear_variables()
        self.halt()

    def clear_variables(self) -> None:
        """Set all variables to 0, close all loops and subroutines, and read DATA from the start."""
        self.variables = Variables()
        self.bounds: dict[str, tuple[int, ...]] = {}
        self.functions: dict[str, Function] = {}
        self.open_functions = 0
        self.data: Iterator[bytes] | None = None
        self.loops: list[Loop] = []
        self.calls: list[Call] = []

    def start_direct(self, text: bytes) -> None:
        """Prepare to run one line without a number."""
        self.loops = []
        self.calls = []
        self.command = ""
        self.line = len(self.memory.numbers)
        self.steps = self.compiler(text)
        self.at = 0

    def start_program(self) -> None:
        """Prepare to run the program from its first line with all variables 0."""
        self.clear_variables()
        if self.number is None:  # else the program starts itself again, and its pins go on
            self.pins.begin()
        self.command = "run"
        self.line = -1
        self.steps = ()
        self.at = 0

    def halt(self) -> None:
        """Move to the end of the program."""
        self.line = len(self.memory.numbers)
        self.steps = ()
        self.at = 0

    def advance(self) -> bool:
        """Go to the next line; return False at the end of the program."""
        line = self.line + 1
        numbers = self.memory.numbers
        if line >= len(numbers):
            return False
        self.line = line
        self.steps = self.compiler(self.memory.lines[numbers[line]])
        self.at = 0
        return True

    def jump(self, number: int) -> None:
        """Go to a line. Raises Complaint if there is none of that number."""
        self.line = self.memory.place(number)
        self.command = "run"
        self.steps = self.compiler(self.memory.lines[number])
        self.at = 0

    def here(self) -> Place:
        """Return the place after the current statement."""
        return Place(self.line, self.steps, self.at)

    def go(self, place: Place) -> None:
        """Go to a place from `here`."""
        self.line, self.steps, self.at = place.line, place.steps, place.at

    @property
    def number(self) -> int | None:
        """Return the number of the running line, None for a direct one."""
        numbers = self.memory.numbers
        return numbers[self.line] if 0 <= self.line < len(numbers) else None

    def where(self, typed: bytes, at: int = -1) -> str:
        """Return how a message names the running line. at: the character in question, or -1."""
        number = self.number
        if number is None:
            return self.wording.direct(typed)
        return self.wording.place(number, self.memory.lines[number], at)

    def element(self, array: str, places: Sequence[int]) -> str:
        """Return the name of an element. Raises Complaint if the array has none there."""
        bounds = self.bounds.setdefault(array, (LAST_PLACE,) * len(places))
        inside = all(0 <= place <= last for place, last in zip(places, bounds, strict=False))
        if len(places) != len(bounds) or not inside:
            raise Complaint(Reason.ELEMENT)
        return f"{array}({','.join(map(str, places))})"

    def free(self) -> int:
        """Return the bytes that the board reports as free."""
        return self.teller.free(self.memory.free)

    def room(self) -> int:
        """Return the bytes reported as free, limited to a 16-bit number."""
        if self.kind.language.free_number == "signed":
            return (self.free() + 0x8000) % 0x10000 - 0x8000
        return min(self.free(), LARGEST)

    def stops(self, answer: bytes) -> bool:
        """Return whether an answer to INPUT is the interrupt key, and the board stops at that."""
        settings = self.kind.settings
        by_answer = settings.interrupt_typed == "as-answer" and settings.interrupt
        return bool(by_answer) and answer.startswith(settings.interrupt[:1])

    def random(self, limit: int) -> int:
        """Return a whole number from 1 to limit. Raises Complaint if limit is below 1.

        The generator: a linear congruence modulo 2**32 whose upper half is used.
        """
        if limit < 1:
            raise Complaint(Reason.RANDOM)
        self.chance = (self.chance * 1664525 + 1013904223) & 0xFFFFFFFF
        return 1 + ((self.chance >> 16) * limit >> 16)

    def fraction(self, argument: Value) -> float:
        """Return a number from 0 to below 1, by the generator of `random`.

        On a kind of "fraction-0" an argument other than 0 sets the seed.
        """
        if argument and self.kind.language.random == "fraction-0":
            self.chance = int(abs(argument) * 0x10000) & 0xFFFFFFFF
        return (self.random(0x10000) - 1) / 0x10000

    def open_loop(self, variable: str, first: Value, limit: Value, step: Value) -> None:
        """Execute FOR. A loop over the same variable, and those inside it, are closed."""
        base = self.calls[-1].loops if self.calls else 0
        for index in range(base, len(self.loops)):
            if self.loops[index].variable == variable:
                del self.loops[index:]
                break
        most = self.kind.language.loops or DEEPEST_FOR
        if len(self.loops) >= most:
            raise Complaint(Reason.FORS, most=most)
        self.variables[variable] = first
        past = first > limit if step >= 0 else first < limit
        if past and self.kind.language.tests_first:
            self._skip_body()
        else:
            self.loops.append(Loop(variable, limit, step, self.here()))

    def _skip_body(self) -> None:
        """Continue after the NEXT of the loop that begins here. Raises Complaint without one."""
        begin, depth = self.here(), 1
        while depth:
            while self.at >= len(self.steps):
                if not self.advance():
                    self.go(begin)  # the error is in the line of the FOR
                    raise Complaint(Reason.NEXT)
            step = self.steps[self.at]
            self.at += 1
            depth += isinstance(step, ForStep) - isinstance(step, NextStep)

    def next_round(self, variable: str | None) -> None:
        """Execute NEXT: step the variable, and go back to the body unless it passed the limit.

        The body runs once in any case, unless the language tests first. The variable keeps its
        value if the next one would not fit in 16 bits.
        """
        base = self.calls[-1].loops if self.calls else 0
        loops = self.loops
        while len(loops) > base and variable is not None and loops[-1].variable != variable:
            loops.pop()
        if len(loops) <= base:
            raise Complaint(Reason.NEXT)
        loop = loops[-1]
        value = self.variables[loop.variable] + loop.step
        if self.kind.language.fractions or SMALLEST <= value <= LARGEST:
            self.variables[loop.variable] = value
        if value > loop.limit if loop.step >= 0 else value < loop.limit:
            loops.pop()
        else:
            self.go(loop.body)

    def open_call(self, number: int) -> None:
        """Execute GOSUB."""
        if len(self.calls) >= DEEPEST_GOSUB:
            raise Complaint(Reason.GOSUBS, most=DEEPEST_GOSUB)
        call = Call(self.here(), len(self.loops))
        self.jump(number)
        self.calls.append(call)

    def close_call(self) -> None:
        """Execute RETURN. Loops opened in the subroutine are closed."""
        if not self.calls:
            raise Complaint(Reason.RETURN)
        call = self.calls.pop()
        del self.loops[call.loops :]
        self.go(call.back)


LineCompiler: TypeAlias = Callable[[bytes], tuple[Step, ...]]
