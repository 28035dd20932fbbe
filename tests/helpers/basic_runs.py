"""Programs run on the practice board's BASIC without a wire."""

from __future__ import annotations

import re
from collections.abc import Iterable

from hostlink.errors import RefusedError
from hostlink.practice.basic import Basic
from hostlink.practice.kind import WORDS
from hostlink.practice.ops import Answer, Firmware, ReadLine, Send, Work

STATEMENTS = tuple(word for _, words in WORDS for word in words)
"""The words that begin a statement on the practice board."""
FUNCTIONS = ("RND", "ABS", "ROOM")
"""The functions of the practice board, by hand."""


def drive(firmware: Firmware, inputs: Iterable[str] = (), *, max_statements: int = 200_000) -> str:
    """Run the firmware to its end and return what it sent, as text.

    inputs: the lines for INPUT; when they are used up it is interrupted. Raises RefusedError after
    `max_statements` chores.
    """
    typed = iter(inputs)
    sent: list[bytes] = []
    chores = 0
    answer: Answer = None
    while True:
        try:
            op = firmware.send(answer)
        except StopIteration:
            return b"".join(sent).decode("latin-1")
        answer = False
        if isinstance(op, Send):
            sent.append(op.data)
        elif isinstance(op, Work):
            chores += 1
            if chores > max_statements:
                raise RefusedError(f"The program did not end within {max_statements} statements.")
        elif isinstance(op, ReadLine):
            line = next(typed, None)
            answer = None if line is None else line.encode("latin-1", "replace")
            sent.append(op.prompt + (answer or b"") + b"\r\n")


def run_program(
    text: str, inputs: Iterable[str] = (), *, max_statements: int = 200_000, seed: int = 1
) -> str:
    """Enter a listing and RUN it; return what the board sent, lines ended by LF.

    This includes the questions of INPUT and their answers. Raises RefusedError if the program does
    not end within `max_statements` statements.
    """
    board = Basic(seed=seed)
    typed = iter(inputs)
    sent = [
        drive(board.enter(line.encode("latin-1", "replace")), typed, max_statements=max_statements)
        for line in (*re.split(r"\r\n|\n|\r", text), "RUN")
    ]
    return "".join(sent).replace("\r\n", "\n")
