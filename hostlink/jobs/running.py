"""Run the program in a board's memory, and keep what it printed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hostlink.board.dialogue import rows_of
from hostlink.errors import Interrupted, LinkError, LinkReason
from hostlink.jobs.session import Session
from hostlink.link.exchange import Outcome, Reach
from hostlink.listing import to_bytes, to_text

MOST_OUTPUT = 1 << 20  # bytes
_ASKS_AFTER_S = 0.6  # a program that is silent this long is taken to wait for input


@dataclass(frozen=True, slots=True)
class Ran:
    """A run that ended at the prompt. output: the rows that the board printed, LF between them."""

    output: str


def run(
    session: Session,
    *,
    inputs: Sequence[str] = (),
    longest_s: float = 60.0,
    on_output: Callable[[str], None] | None = None,
) -> Ran:
    """Start the program and wait until it is done.

    inputs: lines to type, each when the program has fallen silent without coming to the prompt.
    longest_s: the program is interrupted after that many seconds. on_output is called with text
    as it comes.
    Raises LinkError where the board does not come back to its prompt.
    """
    session.attach()
    dialogue = session.dialogue
    charset = session.profile.rules.form.charset

    def heard(data: bytes) -> None:
        if on_output is not None:
            on_output(to_text(data, charset))

    reach = Reach(
        nudges=0,
        silence_s=_ASKS_AFTER_S,
        longest_s=longest_s,
        most_bytes=MOST_OUTPUT,
        replies=tuple(to_bytes(line, charset) for line in inputs),
    )
    try:
        core = dialogue.exchange(
            dialogue.can("run", "run a program by command"), reach, on_answer=heard
        )
    except Interrupted as error:
        session.abandon()
        error.what = "Stopped; the program was interrupted, and is still in the board's memory."
        raise
    if core.outcome is not Outcome.ANSWERED:
        session.abandon()
        raise LinkError(
            "The program did not end in time or waits for input that was not given.",
            reason=LinkReason.RUNNING,
            kept="It was interrupted, and is still in the board's memory.",
            advice="Give its input with --input FILE, or more time with --seconds.",
        )
    return Ran("\n".join(rows_of(dialogue.body(core.answer))))
