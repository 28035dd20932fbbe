"""Run the program in a board's memory, and keep what it printed."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hostlink.errors import Interrupted, LinkError, LinkReason
from hostlink.jobs.session import Session
from hostlink.link.exchange import Outcome, Reach
from hostlink.link.pacing import Pacing
from hostlink.listing import to_bytes, to_text

MOST_OUTPUT = 1 << 20  # bytes
_ASKS_AFTER_S = 0.6  # a program that is silent this long is taken to wait for input


@dataclass(frozen=True, slots=True)
class Ran:
    """A run that ended at the prompt. output: the rows that the board printed, LF between them."""

    output: str


class Rows:
    """Cuts what a program prints into rows as it comes.

    The line end that the board echoes before the first row, and the prompt after the last, are
    no output.
    """

    def __init__(self, pacing: Pacing, charset: str, on_row: Callable[[str], None]) -> None:
        self.rows: list[str] = []
        self._end = pacing.reply_end or b"\r\n"
        self._row_end = re.compile(re.escape(self._end) + rb"|\r\n|\n|\r")
        self._prompt = pacing.prompt
        self._charset = charset
        self._on_row = on_row
        self._rest = b""
        self._skip = pacing.echo

    def add(self, data: bytes) -> None:
        """Take bytes from the board; every row that they complete is given to on_row."""
        held = self._rest + data
        # A line end that has come in half waits for its other half.
        certain = len(held) if held.endswith(self._end) else len(held.rstrip(b"\r\n"))
        # So does what may be the prompt: some prompts stand in a row of their own.
        begun = next(n for n in range(len(self._prompt), -1, -1) if held.endswith(self._prompt[:n]))
        certain = min(certain, len(held) - begun)
        *whole, rest = self._row_end.split(held[:certain])
        self._rest = rest + held[certain:]
        for row in whole:
            self._give(row)

    def close(self) -> None:
        """The board has said all: what is left is a last row, unless it is only the prompt."""
        *whole, last = self._row_end.split(self._rest.removesuffix(self._prompt))
        self._rest = b""
        for row in [*whole, last] if last else whole:
            self._give(row)

    def _give(self, row: bytes) -> None:
        skip, self._skip = self._skip, False
        if skip and not row:
            return
        text = to_text(row, self._charset)
        self.rows.append(text)
        self._on_row(text)


def _nobody(row: str) -> None:
    """For runs whose rows nobody watches."""


def run(
    session: Session,
    *,
    inputs: Sequence[str] = (),
    longest_s: float = 60.0,
    on_row: Callable[[str], None] | None = None,
) -> Ran:
    """Start the program and wait until it is done.

    inputs: lines to type, each when the program has fallen silent without coming to the prompt.
    longest_s: the program is interrupted after that many seconds. on_row is called with each row
    that the program prints, as it comes; rows that end early are all given before an error.
    Raises LinkError where the board does not come back to its prompt.
    """
    dialogue = session.dialogue
    charset = session.profile.rules.form.charset
    replies = tuple(to_bytes(line, charset) for line in inputs)
    command = dialogue.can("run", "run a program by command")
    session.attach()
    rows = Rows(dialogue.pacing, charset, on_row or _nobody)
    reach = Reach(
        nudges=0,
        silence_s=_ASKS_AFTER_S,
        longest_s=longest_s,
        most_bytes=MOST_OUTPUT,
        replies=replies,
    )
    try:
        core = dialogue.exchange(command, reach, on_answer=rows.add)
    except Interrupted as error:
        session.abandon()
        error.what = "Stopped; the program was interrupted, and is still in the board's memory."
        raise
    finally:
        rows.close()
    if core.outcome is Outcome.ANSWERED:
        return Ran("\n".join(rows.rows))
    session.abandon()
    if core.outcome is Outcome.UNTYPED:
        raise LinkError(
            f'"{command}" could not be typed right; the wire damages bytes.',
            reason=LinkReason.DAMAGED,
            kept="The program is still in the board's memory.",
            advice="Check the cable and the speed.",
        )
    doing = "was still printing" if core.outcome is Outcome.FLOODING else "may wait for input"
    what = f"The program did not end within {longest_s:g} s; it {doing}."
    if len(core.answer) > MOST_OUTPUT:
        what = f"The program printed more than {MOST_OUTPUT:,} bytes."
    raise LinkError(
        what,
        reason=LinkReason.RUNNING,
        kept="It was interrupted, and is still in the board's memory.",
        advice="Give its input with --input FILE, or more time with --seconds.",
    )
