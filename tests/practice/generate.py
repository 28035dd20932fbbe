"""Programs made from a seed, on which every BASIC of the common kind must agree.

They use PRINT, LET, IF, GOTO, GOSUB, RETURN, FOR, NEXT, END, REM and `:`. What the languages do
differently is left out: RND, INPUT, free memory, results beyond 16 bits, division with a
remainder, showing a zero that floating point would sign, `><`, a comma at the end of PRINT, a
semicolon there before `:`, a quoted text after a comma (zones differ in width), lines of output
over 80 columns, lower-case variables, FOR and NEXT in one line. Ranges are tracked while an
expression is made, so that no result can leave 16 bits whatever the flow of the program is.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

LARGEST = 32767
KEPT = 99
"""Between statements, every data variable lies in -KEPT..KEPT."""

DATA = "ABCDEF"
LOOPS = "IJK"
COUNTERS = "PQR"
RELATIONS = ("=", "<", ">", "<=", ">=", "<>")
WORDS = ("TIDE", "LAMP", "ROW", "OK?", "A=B", "  X  ", "+", "THEN GOTO 10", ":")


@dataclass(frozen=True)
class Value:
    """An expression: text, least and greatest value, and whether floating point may give -0.

    A BASIC that calculates in floating point prints -0 where one of whole numbers has 0.
    """

    text: str
    low: int
    high: int
    minus_zero: bool = False

    @property
    def fits(self) -> bool:
        """Whether no value of it can leave 16 bits."""
        return self.low >= -LARGEST and self.high <= LARGEST

    @property
    def shown(self) -> str:
        """The text, ended so that a zero has no sign."""
        return self.text + "+0" if self.minus_zero else self.text

    def combined(self, sign: str, other: Value) -> Value:
        """The sum or difference."""
        text = f"{self.text}{sign}{other.text}"
        if sign == "+":
            both = self.minus_zero and other.minus_zero
            return Value(text, self.low + other.low, self.high + other.high, both)
        return Value(text, self.low - other.high, self.high - other.low, self.minus_zero)

    def times(self, other: Value) -> Value:
        """The product."""
        ends = [one * two for one in (self.low, self.high) for two in (other.low, other.high)]
        low, high = min(ends), max(ends)
        may = low <= 0 <= high and (self.low < 0 or other.low < 0)
        either = self.minus_zero or other.minus_zero
        return Value(f"{self.text}*{other.text}", low, high, may or either)


@dataclass
class Maker:
    """Makes one program. rows: statements, in which `{n}` stands for the number of label n."""

    rng: random.Random
    rows: list[str] = field(default_factory=list)
    labels: dict[int, int] = field(default_factory=dict)
    pending: list[int] = field(default_factory=list)
    subroutines: list[int] = field(default_factory=list)
    marks: int = 0
    loops: str = LOOPS
    counters: str = COUNTERS

    def label(self) -> int:
        """A new label, bound by `here`."""
        self.marks += 1
        return self.marks

    def here(self, label: int) -> None:
        """Bind a label to the next row."""
        self.pending.append(label)

    def row(self, text: str) -> None:
        """Add one line."""
        for label in self.pending:
            self.labels[label] = len(self.rows)
        self.pending.clear()
        self.rows.append(text)

    def expression(self, depth: int = 2) -> Value:
        """An expression whose value, and that of every part, stays in 16 bits."""
        rng = self.rng
        while True:
            value = self._term(depth)
            if rng.random() < 0.2:
                may = value.low <= 0 <= value.high
                value = Value("-" + value.text, -value.high, -value.low, may)
            for _ in range(rng.choice((0, 0, 1, 1, 2))):
                value = value.combined(rng.choice("+-"), self._term(depth))
            if value.fits:
                return value

    def _term(self, depth: int) -> Value:
        first = self._factor(depth)
        kind = self.rng.random()
        if kind < 0.2:
            value = first.times(self._factor(depth))
            if value.fits:
                return value
        elif kind < 0.3:
            by = self.rng.randint(2, 9)
            if first.times(Value(str(by), by, by)).fits:
                return Value(f"({first.text}*{by})/{by}", first.low, first.high, first.minus_zero)
        return first

    def _factor(self, depth: int) -> Value:
        rng = self.rng
        kind = rng.random()
        if depth and kind < 0.25:
            inner = self.expression(depth - 1)
            return Value(f"({inner.text})", inner.low, inner.high, inner.minus_zero)
        if kind < 0.6:
            number = rng.choice((0, 1, 2, 3, 7, 10, rng.randint(0, KEPT)))
            return Value(str(number), number, number)
        return Value(rng.choice(DATA + LOOPS + COUNTERS), -KEPT, KEPT)

    def condition(self) -> str:
        """Two expressions and a relation."""
        left, right = self.expression(1), self.expression(1)
        return f"{left.text}{self.rng.choice(RELATIONS)}{right.text}"

    def shown(self) -> str:
        """A PRINT statement that ends its line."""
        rng = self.rng
        items = []
        for _ in range(rng.randint(1, 3)):
            quoted = rng.random() < 0.3
            items.append(f'"{rng.choice(WORDS)}"' if quoted else self.expression().shown)
        text = items[0]
        for item in items[1:]:
            text += (";" if item[0] == '"' else rng.choice(";;,")) + item
        return f"PRINT {text}"

    def assigned(self) -> tuple[str, str, bool]:
        """An assignment, its variable, and whether the value may leave -KEPT..KEPT."""
        variable = self.rng.choice(DATA)
        value = self.expression()
        word = "LET " if self.rng.random() < 0.5 else ""
        wide = value.low < -KEPT or value.high > KEPT
        return f"{word}{variable}={value.shown}", variable, wide

    def assign(self) -> None:
        """An assignment, brought back into range where needed."""
        text, variable, wide = self.assigned()
        self.row(text)
        if wide:
            self.row(f"IF {variable}>{KEPT} THEN {variable}={self.rng.randint(0, KEPT)}")
            self.row(f"IF {variable}<-{KEPT} THEN LET {variable}=-{self.rng.randint(1, KEPT)}")

    def small(self) -> str:
        """A statement that can stand after THEN or `:`, and leaves all variables in range."""
        text, _, wide = self.assigned()
        return self.shown() if wide or self.rng.random() < 0.5 else text

    def block(self, depth: int) -> None:
        """A few statements, one after the other."""
        for _ in range(self.rng.randint(1, 3)):
            self.statement(depth)

    def statement(self, depth: int) -> None:
        """One statement, or one loop or jump with its body."""
        plain = [self._print, self.assign, self._if_then, self._pair, self._call, self._remark]
        nested = [self._skip, self._counted, self._for, self._for]
        if depth and self.rng.random() < 0.5:
            self.rng.choice(nested)(depth - 1)
        else:
            self.rng.choice(plain)()

    def _print(self) -> None:
        self.row(self.shown())

    def _if_then(self) -> None:
        rest = self.small()
        if self.rng.random() < 0.2:
            rest += ": " + self.small()
        self.row(f"IF {self.condition()} THEN {rest}")

    def _pair(self) -> None:
        self.row(self.small() + ": " + self.small())

    def _call(self) -> None:
        if self.subroutines:
            self.row(f"GOSUB {{{self.rng.choice(self.subroutines)}}}")
        else:
            self.row(self.shown())

    def _remark(self) -> None:
        self.row("REM " + self.rng.choice(WORDS))

    def _skip(self, depth: int) -> None:
        """A jump forward, with or without a condition, over some statements."""
        label = self.label()
        if self.rng.random() < 0.6:
            self.row(f"IF {self.condition()} THEN {{{label}}}")
        else:
            self.row(f"GOTO {{{label}}}")
        self.block(depth)
        self.here(label)
        self._print()

    def _counted(self, depth: int) -> None:
        """A loop made of a counter and a jump back."""
        if not self.counters:
            return self._print()
        counter, self.counters = self.counters[0], self.counters[1:]
        top = self.label()
        self.row(f"{counter}=0")
        self.here(top)
        self.row(f"{counter}={counter}+1")
        self.block(depth)
        self.row(f"IF {counter}<{self.rng.randint(1, 4)} THEN {{{top}}}")
        self.counters = counter + self.counters
        return None

    def _for(self, depth: int) -> None:
        """A FOR loop of one to five rounds."""
        if not self.loops:
            return self._print()
        variable, self.loops = self.loops[0], self.loops[1:]
        rng = self.rng
        step = rng.choice((1, 1, 1, 2, 3, -1, -2))
        first = rng.randint(-20, 20)
        last = first + step * rng.randint(0, 4) + rng.choice((0, 0, 1 if step > 1 else 0))
        word = f" STEP {step}" if step != 1 or rng.random() < 0.2 else ""
        self.row(f"FOR {variable}={first} TO {last}{word}")
        self.block(depth)
        if rng.random() < 0.3:
            self.row(f"PRINT {variable}*{rng.randint(2, 9)};")
        self.row(f"NEXT {variable}")
        self.row("PRINT")
        self.loops = variable + self.loops
        return None

    def subroutine(self, label: int, loops: str) -> None:
        """A subroutine with loop variables of its own; it calls only those made before it."""
        kept = self.loops, self.counters
        self.loops, self.counters = loops, ""
        self.here(label)
        self._print()
        self.block(1)
        self.row("RETURN")
        self.loops, self.counters = kept
        self.subroutines.append(label)

    def listing(self, start: int = 10, gap: int = 10) -> str:
        """The rows as a listing."""
        number: Callable[[int], int] = lambda row: start + gap * row  # noqa: E731
        targets = {str(label): number(row) for label, row in self.labels.items()}
        return "".join(
            f"{number(row)} {_filled(text, targets)}\n" for row, text in enumerate(self.rows)
        )


def _filled(text: str, targets: dict[str, int]) -> str:
    for label, line in targets.items():
        text = text.replace(f"{{{label}}}", str(line))
    return text


def make_program(seed: int, *, most_bytes: int = 999) -> str:
    """A listing that ends by itself and takes at most `most_bytes` in memory.

    A line is counted as 2 bytes for its number, its text, and 1 byte for its end.
    """
    rng = random.Random(seed)
    while True:
        maker = Maker(rng)
        for variable in rng.sample(DATA, 3):
            maker.row(f"{variable}={rng.randint(-KEPT, KEPT)}")
        labels = [maker.label() for _ in range(rng.randint(0, 2))]
        over, end = maker.label(), maker.label()
        if labels:
            maker.row(f"GOTO {{{over}}}")
        for label, loops in zip(labels, ("X", "Y"), strict=False):
            maker.subroutine(label, loops)
        maker.here(over)
        for _ in range(rng.randint(3, 8)):
            maker.statement(3)
        if rng.random() < 0.3:
            maker.row(f"GOTO {{{end}}}")
            maker._print()
        maker.here(end)
        maker.row("PRINT " + ";".join(DATA))
        maker.row("END")
        listing = maker.listing()
        cost = sum(2 + len(line.split(" ", 1)[1]) + 1 for line in listing.splitlines())
        if cost <= most_bytes and max(map(len, listing.splitlines())) <= 72:
            return listing
