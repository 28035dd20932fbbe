"""Run a listing on the BASIC of a practice board alone, without a wire and without waiting."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from hostlink.errors import RefusedError
from hostlink.practice.kind import BoardKind
from hostlink.practice.walk import LOOK_AT_LINE, Shown, Walk
from hostlink.sentences import LISTING_UNCHANGED, LOOK_FOR_LOOP

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
    kind = kind or BoardKind()
    end, asks = kind.settings.reply_end, kind.language.asks.encode("latin-1")
    shown: Shown = lambda question, answer: (  # noqa: E731
        question.removesuffix(asks) + (answer + end if with_answers else b"")
    )
    walk = Walk(text, kind, inputs, seed=seed, size=size, shown=shown)
    ended = walk.run(max_statements)
    if ended == "statements":
        raise RefusedError(
            f"The program ran {max_statements} statements without an end.",
            kept="What it printed is lost, the listing is unchanged.",
            advice=f"{LOOK_FOR_LOOP}, or allow more statements.",
        )
    if ended == "error":
        raise RefusedError(
            f"The practice board {kind.name} stopped the program: {walk.error}",
            kept=LISTING_UNCHANGED,
            advice=LOOK_AT_LINE,
        )
    return Printout(walk.output, used_up=ended == "input")
