"""A listing run to its end on the BASIC of a practice board."""

from __future__ import annotations

from collections.abc import Iterable

from hostlink.jobs.proving import run_out
from hostlink.practice.kind import BoardKind
from hostlink.practice.walk import Walk


def outcome(
    text: str,
    inputs: Iterable[str] = (),
    *,
    kind: BoardKind | None = None,
    size: int = 60_000,
    with_answers: bool = True,
) -> Walk:
    """Run a listing to its end; the sign with which INPUT asks is left out of its output.

    size: bytes of program memory. with_answers: whether the answers stand in the output.
    Raises RefusedError as `run_out` does, and if the board refuses a line.
    """
    kind = kind or BoardKind()
    end, asks = kind.settings.reply_end, kind.language.asks.encode("latin-1")

    def shown(question: bytes, answer: bytes) -> bytes:
        return question.removesuffix(asks) + (answer + end if with_answers else b"")

    return run_out(Walk(text, kind, inputs, size=size, shown=shown))
