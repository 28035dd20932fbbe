"""Run a program on the BASIC of a practice board, statement by statement, without a wire.

It is the same firmware as behind a port: `Walk` answers its requests, and can stop before each
statement. The same listing, answers and seed give the same run, so a step back is the run repeated
up to the statement before.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Literal

from hostlink.errors import RefusedError
from hostlink.practice.basic import Basic
from hostlink.practice.kind import BoardKind
from hostlink.practice.main_loop import chore_seconds
from hostlink.practice.messages import wording_of
from hostlink.practice.ops import Answer, Chore, ReadLine, Send, Work
from hostlink.practice.pin_bank import PinInput
from hostlink.practice.statements import read_line
from hostlink.sentences import LISTING_UNCHANGED
from hostlink.words import split_rows

MOST_STATEMENTS = 1_000_000
MOST_OUTPUT = 1 << 20
"""Bytes that are kept of what a program prints."""

End = Literal["end", "error", "input", "statements", "seconds", "stopped"]
"""Why a program is not running: it ended, stopped with an error, asks and no answer is left, has
used up the statements or the seconds that it was given, or was stopped from outside."""

Shown = Callable[[bytes, bytes], bytes]
"""What is shown of a question of INPUT and its answer."""


class Walk:
    """One run of a listing on a board of a kind.

    inputs: the lines for INPUT. script: what comes to its pins, at times since the first statement.
    size: bytes of program memory, by default those of the kind.
    shown: what is printed of a question of INPUT and its answer, by default both and a row end.

    statements: those run so far. counts: how often each line was begun, by its number. line: the
    number of the line whose statement is next, None outside the program. began: the value of
    `statements` when that line was begun. seconds: how long the board would have taken.
    cut: whether some of what was printed was dropped.
    Raises RefusedError if the board refuses a line.
    """

    def __init__(
        self,
        text: str,
        kind: BoardKind,
        inputs: Iterable[str] = (),
        script: Sequence[PinInput] = (),
        *,
        seed: int = 1,
        size: int | None = None,
        shown: Shown | None = None,
    ) -> None:
        self.board = Basic(kind, seed=seed, program_bytes=size)
        self.state = self.board.state
        self.answers = list(inputs)
        self._answered_at = [0] * len(self.answers)  # statements run when each was given
        self._connected: list[tuple[int, PinInput]] = []  # by hand, and after how many statements
        self._anew = partial(Walk, text, kind, script=script, seed=seed, size=size, shown=shown)
        self._chores = chore_seconds(kind.settings)
        self._end_of_row = kind.settings.reply_end
        self._shown = shown or (lambda question, line: question + line + self._end_of_row)
        self._answered = 0
        self._asked: ReadLine | None = None
        self._printed = bytearray()
        self.cut = False
        self.ended: End | None = None
        self.statements = 0
        self.seconds = 0.0
        self.counts: Counter[int] = Counter()
        self.line: int | None = None
        self.began = self._began_before = 0
        self._enter(text)
        run = dict(kind.language.words)["run"][0]
        self._firmware = self.board.enter(run.encode("latin-1"))
        self._go_on(None)
        if self.ended is None:
            self.step()  # RUN itself
        self.statements = self.began = 0
        self.seconds = 0.0
        self.board.pins.now = lambda: self.seconds * 1000
        self.board.pins.connect(script)

    def _enter(self, text: str) -> None:
        """Store the lines. A row without a number is not part of the program, and is not run."""
        for row in split_rows(text):
            if not row.lstrip()[:1].isdigit():
                continue
            for _ in self.board.enter(row.encode("latin-1", "replace")):
                pass
            if self.error:
                raise RefusedError(
                    f"The practice board of kind {self.board.kind.name} refused {row[:40]!r}: "
                    f"{self.error}",
                    kept=LISTING_UNCHANGED,
                    advice="Look at the line that it names.",
                )

    @property
    def output(self) -> str:
        """Return what was printed, rows ended by LF, with the questions that were answered.

        What the board says when a program has ended, such as OK, is not part of it.
        """
        said = self._text(wording_of(self.board.kind).done("run")) if self.ended == "end" else ""
        return self.printed_since(0).removesuffix(said)

    @property
    def printed(self) -> int:
        """Return the number of bytes of output that are kept."""
        return len(self._printed)

    def printed_since(self, start: int) -> str:
        """Return what was printed after the first `start` bytes, rows ended by LF."""
        return self._text(bytes(self._printed[start:]))

    def _text(self, data: bytes) -> str:
        return data.replace(self._end_of_row, b"\n").decode("latin-1")

    @property
    def error(self) -> str:
        """Return the error that stopped the program in the board's words, or "".

        A prompt that follows on a row of its own is not part of it.
        """
        rows = self.error_text.splitlines()
        return next((" ".join(row.split()) for row in rows if row.strip()), "")

    @property
    def error_text(self) -> str:
        """Return all that the board said of the error in `error`, rows ended by LF."""
        return self._text(self.board.last_error)

    @property
    def lacked(self) -> list[str]:
        """Return the words of the program that a real board runs and the practice board cannot."""
        language = self.board.kind.language
        wrong = [read_line(text, language)[1] for text in self.board.lines.values()]
        return sorted({each.lacks for each in wrong if each and each.lacks})

    @property
    def missing(self) -> str:
        """Return the one of `lacked` that stopped the program, or ""."""
        return self.board.missing

    @property
    def stood_at(self) -> int | None:
        """Return the number of the line that failed, asks or is next; None at the end."""
        return self.board.failed_line if self.ended == "error" else self.line

    @property
    def question(self) -> str | None:
        """Return what INPUT shows while it waits for an answer, or None."""
        return None if self._asked is None else self._asked.prompt.decode("latin-1")

    def answer(self, line: str) -> None:
        """Give one more line for INPUT; a program that waits for it can go on."""
        self.answers.append(line)
        self._answered_at.append(self.statements)
        if self.ended == "input":
            self.ended = None

    @property
    def unasked(self) -> int:
        """Return how many answers the program has not asked for."""
        return len(self.answers) - self._answered

    def connect(self, pin: str, value: int) -> None:
        """Give a pin a level from outside, from now on."""
        one = PinInput(self.seconds * 1000, pin, value)
        self._connected.append((self.statements, one))
        self.state.pins.connect([one])

    def run(self, most: int = MOST_STATEMENTS, seconds: float = 0.0) -> End:
        """Run to the end, or for `most` statements or, if not 0, `seconds` of the board's time."""
        step = self.step
        while self.statements < most:
            if seconds and self.seconds >= seconds:
                return "seconds"
            if not step():
                assert self.ended is not None
                return self.ended
        return self.ended or "statements"

    def step(self) -> bool:
        """Run the next statement; return False if there is no further one to run now."""
        if self.ended is not None:
            return False
        if self._asked is None:  # else this statement has been counted
            self.statements += 1
            self.seconds += self._chores[Chore.STATEMENT]
        return self._go_on(False)

    def back(self) -> Walk:
        """Return the run as it was when this line was begun or, at its beginning, the one before.

        It is run again from the start, with the answers and the levels of pins that were given
        until then. What was given later is forgotten, so that another answer can be given.
        """
        target = self.began if self.statements > self.began else self._began_before
        given = [at for at in self._answered_at if at <= target]
        earlier = self._anew(self.answers[: len(given)])
        earlier._answered_at = given
        for at, one in self._connected:
            if at <= target:
                earlier.run(at)  # at the same place between two statements, not only in time
                earlier.connect(one.pin, one.value)
        earlier.run(target)
        return earlier

    def _go_on(self, answer: Answer) -> bool:
        """Run the firmware up to the next statement; return False if it does not get there."""
        while True:
            if self._asked is not None:
                if self._answered == len(self.answers):
                    self.ended = "input"
                    return False
                answer = self._take_answer(self._asked)
                self._asked = None
            try:
                op = self._firmware.send(answer)
            except StopIteration:
                self.ended = "error" if self.board.last_error else "end"
                self.line = None
                return False
            answer = False
            if isinstance(op, Work):
                if op.chore is Chore.STATEMENT:
                    self._note_line()
                    return True
                self.seconds += self._chores[op.chore] * op.times
            elif isinstance(op, Send):
                self._print(op.data)
            elif isinstance(op, ReadLine):
                self._asked = op

    def _take_answer(self, asked: ReadLine) -> bytes:
        line = self.answers[self._answered].encode("latin-1", "replace")
        self._answered += 1
        self._print(self._shown(asked.prompt, line))
        return line

    def _note_line(self) -> None:
        """Note which line has the next statement, and whether that statement begins the line."""
        number = self.state.number
        if number is None:
            self.line = None
        elif self.state.at == 0 or number != self.line:
            self._began_before, self.began = self.began, self.statements
            self.counts[number] += 1
            self.line = number

    def _print(self, data: bytes) -> None:
        room = MOST_OUTPUT - len(self._printed)
        self.cut = self.cut or len(data) > room
        self._printed += data[:room]
