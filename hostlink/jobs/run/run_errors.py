"""Ending a run that did not return to the prompt: stop the program and say how it was left."""

from __future__ import annotations

import contextlib

from hostlink.advice import Ways
from hostlink.board.dialogue.no_prompt_errors import typing_damaged
from hostlink.errors import (
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    NoEndError,
    RefusedError,
)
from hostlink.jobs.run.memory_of_run import Before, changed_by_run
from hostlink.jobs.session.session import Session
from hostlink.link.running import End, Running
from hostlink.link.stopping import Stopping
from hostlink.listing import to_text
from hostlink.sentences import (
    LEFT_ALONE,
    LOOK_FOR_LOOP,
    NO_STOPPING_KEY,
    STILL_IN_MEMORY,
    give_answers,
    no_more_input,
    not_ended,
)
from hostlink.words import safe

MOST_OUTPUT = 1 << 20  # bytes


def with_run_state(error: HostlinkError | OSError, state: str) -> Exception:
    """Return an error that ended a run, with the state in which the board was left added."""
    if isinstance(error, Interrupted):
        return error.but(what=f"Stopped while the program ran. {state}")
    if isinstance(error, HostlinkError):
        # After a failure of the wire the state of the board is unknown.
        return error.but(kept=error.kept if isinstance(error, LinkError) else state)
    if not isinstance(error, BrokenPipeError):  # with nobody left to read the output, no message
        what = f"What the program printed could not be written: {error.strerror}."
        return HostlinkError(what, kept=state)
    return error


def restarted_error(changed: str | None) -> LinkError:
    """Return the error for a board that restarted while a program ran. changed: what was lost."""
    return LinkError(
        "The program did not run to its end.",
        reason=LinkReason.RESTARTED,
        kept=changed or "The board restarted.",
        advice="If it does so again, look at its supply and the load on its pins.",
    )


def stop(session: Session, before: Before) -> str:
    """Stop the program that runs on the board; return the sentence on the result.

    The program counts as interrupted only if the prompt came back. Ctrl+C does not stop this.
    """
    with session.unstoppable():
        return _stopped(session, before)


def _stopped(session: Session, before: Before) -> str:
    core = Stopping(session.dialogue.pacing)
    try:
        session.wire.run(core)
    except LinkError as error:
        return f"It could not be interrupted: {error.what}"
    if core.stopped:
        changed: str | None = None
        with contextlib.suppress(LinkError):
            changed = changed_by_run(session, before)
        if changed == "":
            return f"It was interrupted. {STILL_IN_MEMORY}"
        return f"It was interrupted. {changed or ''}".rstrip()
    if not core.sent:
        return f"{NO_STOPPING_KEY}. {LEFT_ALONE}"
    if not session.dialogue.pacing.direct_end:
        return (
            "The interrupt was sent; whether the program stopped is not known, since this board "
            "shows no prompt."
        )
    row = safe(to_text(core.row[-40:], session.profile.rules.form.charset))
    said = f'it last sent "{row}"' if row else "it sent nothing more"
    return f"The interrupt was sent, but no prompt came; {said}."


def failure(
    core: Running, command: str, longest_s: float, charset: str, state: str
) -> HostlinkError:
    """Return the error for a run that did not end at the prompt. state: how the board was left."""
    if core.end is End.UNTYPED:
        return typing_damaged(f'"{command}"', kept=STILL_IN_MEMORY)
    if core.end is End.UNANSWERED:
        return RefusedError(
            no_more_input(to_text(core.row, charset)),
            kept=state,
            advice=lambda by: give_answers(by.answer_questions),
        )
    if core.end is End.DAMAGED:
        return typing_damaged("An answer", kept=state)
    return _too_much(core, longest_s, state)


def _too_much(core: Running, longest_s: float, state: str) -> NoEndError:
    """Return the error for a program that printed or ran beyond its limit."""
    if core.end is End.FLOODING:
        what = f"The program printed more than {MOST_OUTPUT:,} bytes."
    else:
        doing = "may be waiting for input" if core.is_quiet else "was still running"
        what = f"{not_ended(f'{longest_s:g} s')}; it {doing}."

    def advice(by: Ways) -> str:
        if core.end is End.FLOODING:
            return f"{LOOK_FOR_LOOP}."
        if core.is_quiet:
            return f"Give its input {by.answer_from_file}, or more time {by.allow_time}."
        return f"{LOOK_FOR_LOOP}, or give it more time {by.allow_time}."

    return NoEndError(what, reason=LinkReason.RUNNING, kept=state, advice=advice)
