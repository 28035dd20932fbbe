"""Run a listing on the BASIC of a practice board alone, without a wire and without waiting."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from hostlink.errors import RefusedError
from hostlink.practice.basic import Basic
from hostlink.practice.kind import BoardKind
from hostlink.practice.messages import wording
from hostlink.practice.ops import Answer, Firmware, ReadLine, Send, Work

Shown = Callable[[bytes, bytes], bytes]
"""What is shown of a question of INPUT and its answer."""

_ROOM = 60_000
"""Bytes of program memory in which any listing fits."""


@dataclass(frozen=True, slots=True)
class Printout:
    """What a program printed, rows ended by LF.

    The sign with which INPUT asks is left out, the answers are not. used_up: whether it was stopped
    when it asked for more answers than there were.
    """

    printed: str
    used_up: bool


def sent_by(
    firmware: Firmware, typed: Iterator[str], max_statements: int, shown: Shown
) -> Iterator[bytes]:
    """Run the firmware to its end; yield what it sends. Parameters and errors: see `drive`."""
    chores = 0
    answer: Answer = None
    try:
        while True:
            op = firmware.send(answer)
            if isinstance(op, Send):
                yield op.data
                answer = False
            elif isinstance(op, Work):
                chores += 1
                if chores > max_statements:
                    raise RefusedError(
                        f"The program did not end within {max_statements} statements.",
                        kept="What it printed is lost, the listing is unchanged.",
                        advice="Look for a loop without an end, or allow more statements.",
                    )
                answer = False
            elif isinstance(op, ReadLine):
                line = next(typed, None)
                answer = None if line is None else line.encode("latin-1", "replace")
                yield shown(op.prompt, answer or b"")
    except StopIteration:
        return


def drive(firmware: Firmware, inputs: Iterable[str] = (), *, max_statements: int = 200_000) -> str:
    """Run the firmware to its end and return what it sent, as text.

    inputs: the lines for INPUT; when they are used up it is interrupted. Raises RefusedError after
    `max_statements` chores.
    """
    shown: Shown = lambda question, answer: question + answer + b"\r\n"  # noqa: E731
    return b"".join(sent_by(firmware, iter(inputs), max_statements, shown)).decode("latin-1")


class _UsedUp(Exception):
    """There is no further answer for INPUT."""


def _until_used_up(inputs: Iterable[str]) -> Iterator[str]:
    yield from inputs
    raise _UsedUp


def outcome(
    text: str,
    inputs: Iterable[str] = (),
    *,
    kind: BoardKind | None = None,
    seed: int = 1,
    size: int = _ROOM,
    max_statements: int = 200_000,
    with_answers: bool = True,
) -> Printout:
    """Enter a listing on a board of a kind and RUN it; return what the program itself printed.

    size: bytes of program memory. with_answers: whether the answers stand in what was printed, each
    with the end of its row. Raises RefusedError if the board refuses a line, if the program
    ends with an error, or if it does not end within `max_statements` statements.
    """
    board = Basic(kind, seed=seed, program_bytes=size)
    end = board.kind.settings.reply_end
    for row in re.split(r"\r\n|\n|\r", text):
        drive(board.enter(row.encode("latin-1", "replace")))
        _need_success(board, f"refused {row[:40]!r}")
    shown: Shown = lambda question, answer: (  # noqa: E731
        question.rstrip(b"?: ") + (answer + end if with_answers else b"")
    )
    sent: list[bytes] = []
    used_up = False
    try:
        run = board.enter(b"RUN")
        sent.extend(sent_by(run, _until_used_up(inputs), max_statements, shown))
    except _UsedUp:
        used_up = True
    _need_success(board, "stopped the program")
    printed = b"".join(sent)
    if not used_up:
        printed = printed.removesuffix(wording(board.kind).done("run"))
    return Printout(printed.decode("latin-1").replace(end.decode("latin-1"), "\n"), used_up)


def _need_success(board: Basic, what: str) -> None:
    if board.last_error:
        said = " ".join(board.last_error.decode("latin-1").split())
        raise RefusedError(
            f"A practice board of the kind {board.kind.name} {what}: {said}",
            kept="The listing is unchanged.",
            advice="Look at the line that it names.",
        )
