"""Why a line that somebody typed at the console is not on the board, as errors."""

from __future__ import annotations

from hostlink.errors import LineTooLongError, LinkError, LinkReason
from hostlink.link.typed import Outcome
from hostlink.words import plural


def too_long(data: bytes, most: int, made: str) -> LineTooLongError:
    """Return the error for a line that the board does not take whole.

    data: the line. most: characters that the board takes. made: what the board did with the part
    that it took, in a sentence.
    """
    return LineTooLongError(
        f"The line is too long: it has {plural(len(data), 'character')}, and the board takes "
        f"{most:,}.",
        kept=made,
        advice="Make it shorter, or two lines of it.",
    )


def untyped(outcome: Outcome, at_prompt: bool) -> LinkError:
    """Return the error for a line that was not entered. at_prompt: no program was running."""
    if not at_prompt:
        return LinkError(
            "The line was not taken: no right echo came back, so the program takes no input now.",
            reason=LinkReason.RUNNING,
            advice="Wait, or interrupt it.",
        )
    return LinkError(
        "The line could not be typed right and was not entered; the wire damages bytes.",
        reason=LinkReason.DAMAGED if outcome is Outcome.UNTYPED else LinkReason.SILENT,
        advice="Check the cable and the speed.",
    )
