"""Programs run on the practice board's BASIC without a wire."""

from __future__ import annotations

import re
from collections.abc import Iterable

from hostlink.practice.bare import drive
from hostlink.practice.basic import Basic


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
