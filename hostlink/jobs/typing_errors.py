"""Errors for a line of the console that was not typed, or not entered, on the board."""

from __future__ import annotations

from hostlink.board.dialogue.no_prompt_errors import (
    DELETE_OR_RESTART,
    ONLY_RESTART,
    asking_words,
    check_supply,
    typing_damaged,
)
from hostlink.errors import LineTooLongError, LinkError, LinkReason, RefusedError
from hostlink.jobs.session.activity import Activity, BoardState
from hostlink.link.typed import Outcome
from hostlink.listing import to_bytes
from hostlink.listing.rules import Form
from hostlink.sentences import NO_STOPPING_KEY, SO_FULL, TAKES_NOTHING, UNTOUCHED, stop_it
from hostlink.words import capital, plural, safe


def checked_bytes(line: str, form: Form) -> bytes:
    """Return a line as the bytes to type.

    Raises LineTooLongError if the board accepts no line of that length, RefusedError for a control
    character and ListingError for a character that the board does not have.
    """
    data = to_bytes(line, form.charset)
    if form.longest_line and len(data) > form.longest_line:
        raise too_long_error(data, form.longest_line, "Nothing was typed.")
    if any(byte < 32 for byte in data):
        raise RefusedError(f'"{safe(line[:40])}" holds a control character and was not typed.')
    return data


def too_long_error(data: bytes, most: int, made: str) -> LineTooLongError:
    """Return the error for a line that is longer than the board accepts.

    data: the line. most: characters that the board accepts. made: what the board did with the part
    that it accepted, in a sentence.
    """
    return LineTooLongError(
        f"The line is too long: it has {plural(len(data), 'character')}, and the board takes "
        f"{most:,}.",
        kept=made,
        advice="Shorten it, or type it as two lines.",
    )


def no_room_error(data: bytes, room: int, made: str) -> RefusedError:
    """Return the error for a line that the board's full memory has no room for.

    data: the line. room: characters that the board accepts. made: what the board did with the part
    that it accepted, in a sentence.
    """
    return RefusedError(
        f"The line does not fit the board: {SO_FULL} takes {room:,} of the line's "
        f"{plural(len(data), 'character')}.",
        kept=made,
        advice=DELETE_OR_RESTART,
    )


def not_entered_error(outcome: Outcome, at_prompt: bool, *, is_silent: bool) -> LinkError:
    """Return the error for a line that was not entered.

    at_prompt: no program was running. is_silent: nothing at all came back.
    """
    if outcome is Outcome.DEAF:
        return LinkError(
            f"The board did not take the line: {SO_FULL} {TAKES_NOTHING}.",
            reason=LinkReason.FULL,
            advice=ONLY_RESTART,
        )
    if not at_prompt:
        return LinkError(
            "The line was not taken: no correct echo came back, so the program takes no input now.",
            reason=LinkReason.RUNNING,
            advice="Wait, or interrupt it.",
        )
    if is_silent:
        return LinkError(
            "The board is silent: nothing came back, and the line was not entered.",
            reason=LinkReason.SILENT,
            advice=check_supply,
        )
    reason = LinkReason.DAMAGED if outcome is Outcome.UNTYPED else LinkReason.SILENT
    return typing_damaged("The line", kept="It was not entered.", reason=reason)


def printing_error() -> RefusedError:
    """Return the error for a line that is typed while a program prints."""
    return RefusedError(
        "A program is running and printing; the line was not typed.",
        advice=lambda by: f"Wait for its end, or stop it {by.stop_running}.",
    )


def not_at_prompt_error() -> RefusedError:
    """Return the error for a capture or a paste while the board is not at its prompt."""
    return RefusedError(
        "The board is not at its prompt: it is running a program or waiting for input.",
        kept="Nothing was sent.",
        advice="Interrupt it first.",
    )


def cannot_keep_first_error(line: str) -> RefusedError:
    """Return the error for a line that may overwrite a program that cannot be captured now."""
    return RefusedError(
        f'"{safe(line[:40])}" was not sent: the board is not at its prompt, so the program in its '
        "memory cannot be kept first.",
        kept=UNTOUCHED,
        advice="Stop the running program, then type it again.",
    )


def no_interrupt_error() -> RefusedError:
    """Return the error for a board whose programs no known key stops."""
    return RefusedError(
        f"{NO_STOPPING_KEY}.",
        kept="Nothing was sent.",
        advice="A restart stops it, and loses the program in its memory.",
    )


def occupied_error(state: BoardState) -> LinkError:
    """Return the error for a job whose typing would go to what runs on the board."""
    what = "A program is running on the board."
    if state.activity is Activity.ASKING:
        what = asking_words(state.question.strip())
    elif state.activity is not Activity.RUNNING:
        what = "The board is busy: a program is running, or its own keyboard is in use."
    return LinkError(
        what,
        reason=LinkReason.RUNNING,
        kept="Nothing was typed into it.",
        advice=lambda by: f"{capital(stop_it(by))}.",
    )
