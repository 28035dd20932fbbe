"""Describe a board that does not come to its prompt, as errors with advice."""

from __future__ import annotations

from hostlink.advice import Advice, Ways, join_advice
from hostlink.board.dialogue.own_rows import shape_of
from hostlink.board.profile.model import Profile
from hostlink.errors import LinkError, LinkReason
from hostlink.link.exchange import Exchange
from hostlink.link.pacing import Pacing
from hostlink.link.regain import FoundState, Regain
from hostlink.link.typed import Outcome
from hostlink.listing.charset import to_text
from hostlink.sentences import (
    CHECK_WIRE,
    DAMAGED,
    IF_IT_PRINTS,
    LEFT_ALONE,
    NO_STOPPING_KEY,
    ONLY_RESTART_HELPS,
    PRESS_RESTART,
    SO_FULL,
    TAKES_NOTHING,
    UNTOUCHED,
    find_how_far,
    name_speed,
    stop_it,
)
from hostlink.words import capital, plural, safe

_RESTART = f"{ONLY_RESTART_HELPS}; the program in its memory is lost then."
ONLY_RESTART = capital(_RESTART)
DELETE_OR_RESTART = (
    "Delete a line of its program by typing the line's number in the console, if there is room for "
    f"that. Otherwise {_RESTART}"
)

_RESTART_AND_LOAD = "Restart the board and load again."
_ANSWERS_BELL = "answers what is typed with a bell (byte 7)"


def last_row(data: bytes) -> str:
    """Return the end of the last row that a board sent, safe to print."""
    rows = data.decode("latin-1").strip("\r\n").replace("\n", "\r").split("\r")
    return safe(rows[-1][-60:])


def check_supply(by: Ways) -> str:
    """Advise on a board from which nothing comes."""
    return f"Check its supply and the cable, then {find_how_far(by)}."


def is_bells(heard: bytes) -> bool:
    """Return whether an answer has a bell in it, and otherwise only text."""
    rest = heard.replace(b"\a", b"")
    return rest != heard and all(32 <= byte < 127 or byte in b"\r\n" for byte in rest)


def asking_words(question: str) -> str:
    """Return the sentence that a program waits for an answer to a question."""
    return f'A program on the board is waiting for an answer: it asks "{question}".'


def asks_for(
    prompt: bytes, *, may_stop: bool, given: str = "nothing but an empty line"
) -> LinkError:
    """Describe a program that waits for an answer. may_stop: the usual interrupt keys were sent."""
    if may_stop:
        return LinkError(
            f'The board asks "{last_row(prompt)}" and takes what is typed as the answer. It was '
            "not interrupted: the key that stops its program is not known.",
            reason=LinkReason.RUNNING,
            kept=UNTOUCHED,
            advice=lambda by: (
                f"Answer it {by.look_in_console}. If you know the key, name it as interrupt in "
                "a profile."
            ),
        )
    return LinkError(
        asking_words(last_row(prompt)),
        reason=LinkReason.RUNNING,
        kept=f"It was given {given}.",
        advice=lambda by: (
            f"Answer it {by.look_in_console}, or {stop_it(by)}. If the board asks this itself when "
            "it starts, try again: hostlink sent an empty line. In its profile, add the question "
            "to start_questions."
        ),
    )


def only_bells(row: str = "") -> LinkError:
    """Describe a board that answers what is typed with a bell. row: what it shows, or ""."""
    shows = f', and shows "{row}"' if row else ""
    return LinkError(
        f"The board {_ANSWERS_BELL}{shows}: it takes nothing.",
        reason=LinkReason.UNKNOWN,
        kept=UNTOUCHED,
        advice=waits_or_full,
    )


def waits_or_full(by: Ways) -> str:
    """Advise on a board that waits for a key or has a full memory, and so accepts nothing."""
    return (
        "If it stops a listing after each page, it is waiting for a key: press that key "
        f"{by.look_in_console}. If its memory is full, {_RESTART}"
    )


def is_changed(before: bytes, now: bytes) -> bool:
    """Return whether two prompts differ only in a number, such as a count or the free memory."""
    texts = [each.decode("latin-1").strip() for each in (before, now)]
    return texts[0] != texts[1] and shape_of(texts[0]) == shape_of(texts[1])


def prompt_changes(before: bytes, now: bytes) -> LinkError:
    """Describe a board whose prompt differs each time."""
    return LinkError(
        f'The prompt of the board changes: it was "{last_row(before)}", then "{last_row(now)}". '
        "hostlink needs a prompt that stays the same.",
        reason=LinkReason.UNKNOWN,
        advice="Give the board a prompt without a number, if its firmware allows that.",
    )


def all_comes_back() -> LinkError:
    """Describe a wire whose two directions are joined."""
    return LinkError(
        "Everything that is sent comes back, and nothing else: there is no board, or TX and RX are "
        "joined.",
        reason=LinkReason.LOOPED,
        advice="Check the wires between the USB bridge and the board.",
    )


def only_echo(baud: int) -> LinkError:
    """Describe a board that echoes at one speed and answers nothing. baud: that speed."""
    return LinkError(
        f"At {baud} baud each character comes back, but no line is answered: what echoes is not a "
        "BASIC.",
        reason=LinkReason.LOOPED,
        kept=UNTOUCHED,
        advice=lambda by: (
            f"{PRESS_RESTART} and try again. If that changes nothing, its "
            f"firmware only echoes: write your computer image {by.write_first_image}."
        ),
    )


def never_pauses(*, unasked: bool = False, at: tuple[int, ...] = ()) -> LinkError:
    """Describe a wire on which unrequested bytes arrive that are not text.

    unasked: they come only now and then. at: the speeds that were tried, () for every usual one.
    """
    how = "now and then although nothing is sent" if unasked else "without a pause"
    tried = f"{', '.join(map(str, at))} baud (others were not tried)" if at else "any usual speed"
    return LinkError(
        f"Bytes come {how} and are not text at {tried}: noise, or a program at another speed.",
        reason=LinkReason.FLOODING,
        kept=UNTOUCHED,
        advice=lambda by: (
            "Check the crystal, the ground wire, and that the bridge's RX pin is connected to the "
            f"chip's TX pin. {name_speed(by)}"
        ),
    )


def program_runs(last: bytes) -> LinkError:
    """Describe a program that prints. last: the last bytes received."""
    return LinkError(
        f'A program is running; it last printed "{last_row(last)}".',
        reason=LinkReason.RUNNING,
        kept=LEFT_ALONE,
        advice=lambda by: f"{capital(stop_it(by))}, or wait.",
    )


def nothing_steady(last: bytes) -> LinkError:
    """Describe a board that sends no steady text at any speed. last: the last bytes received."""
    sent = last_row(last)
    return LinkError(
        "The board sends something, but at no usual speed is it readable and steady"
        + (f'; it last sent "{sent}".' if sent else "."),
        reason=LinkReason.UNREADABLE,
        kept=UNTOUCHED,
        advice=lambda by: (
            f"If a program is running, stop it {by.stop_running}; else {find_how_far(by)}."
        ),
    )


def silent_everywhere() -> LinkError:
    """Describe a board from which no byte came at any speed."""
    return LinkError(
        "The board is silent at all usual speeds, or its program seldom prints.",
        reason=LinkReason.SILENT,
        kept=UNTOUCHED,
        advice=check_supply,
    )


def fell_silent() -> LinkError:
    """Describe a board that answered before and sends nothing any more."""
    return LinkError(
        "The board has fallen silent: nothing comes back any more.",
        reason=LinkReason.SILENT,
        advice=lambda by: (
            f"Check its supply, the cable and the plug, then {find_how_far(by)}. If it stays "
            "silent, restart the board; its program is lost then."
        ),
    )


def lost_prompt(core: Regain, prompt: bytes, row: str) -> LinkError:
    """Describe a board without a prompt in the middle of a load. row: what it shows."""
    if core.flooding:
        return LinkError(
            "The board does not stop sending, even when interrupted.",
            reason=LinkReason.FLOODING,
            advice=_RESTART_AND_LOAD,
        )
    if core.found is FoundState.SILENT:
        return fell_silent()
    if is_changed(prompt, row.encode()):
        return prompt_changes(prompt, row.encode())
    shows = f'; it shows "{row}"' if row else ""
    bells = is_bells(bytes(core.heard))
    return LinkError(
        f"The board does not come back to its prompt{shows}{f', and {_ANSWERS_BELL}' * bells}.",
        reason=LinkReason.SILENT,
        advice=waits_or_full if bells or row else _RESTART_AND_LOAD,
    )


def no_prompt(core: Regain, profile: Profile, row: str) -> LinkError:
    """Describe what was found in place of the prompt. row: what the board shows."""
    talk = profile.talk
    if is_bells(bytes(core.heard)):
        return only_bells(row)
    if core.found is FoundState.SILENT:
        return LinkError(
            f"The board is silent: nothing came back at {talk.baud} baud.",
            reason=LinkReason.SILENT,
            kept=UNTOUCHED,
            advice=lambda by: (
                f"{check_supply(by)} If the board is on another port, name that {by.name_port}; if "
                f"it talks at another speed, name that {by.name_speed}."
            ),
        )
    if core.found is FoundState.UNREADABLE:
        return LinkError(
            f"Nothing readable came back at {talk.baud} baud.",
            reason=LinkReason.UNREADABLE,
            kept=UNTOUCHED,
            advice=lambda by: (
                f"The board probably talks at another speed: try others {by.name_speed}, or "
                f"{find_how_far(by)}."
            ),
        )
    heard = safe(to_text(bytes(core.heard[-40:]), "latin-1"))
    if core.found is FoundState.RUNNING:
        return LinkError(
            f'The board does not show the prompt of profile {profile.name}; it last sent "'
            f'{heard}". A program may be running or waiting for input.',
            reason=LinkReason.RUNNING,
            kept=LEFT_ALONE,
            advice=lambda by: _stop_or_name(by, has_key=bool(talk.interrupt)),
        )
    return LinkError(
        f'The board does not come to its prompt, even when interrupted; it last sent "{heard}".',
        reason=LinkReason.RUNNING,
        kept=UNTOUCHED,
        advice=lambda by: f"Check the profile; name another {by.name_profile}.",
    )


def _stop_or_name(by: Ways, *, has_key: bool) -> str:
    """Advise on a program that runs, or a board of another kind."""
    stop = f"If the program may be stopped, {stop_it(by)}"
    lose = f"{NO_STOPPING_KEY}; a restart does, and loses it"
    other = f"If this is another kind of board, name its profile {by.name_profile}."
    return f"{stop if has_key else lose}. {other}"


def typing_damaged(
    what: str, *, kept: str = "", reason: LinkReason = LinkReason.DAMAGED
) -> LinkError:
    """Describe something that could not be typed, because the wire damages it."""
    return LinkError(
        f"{what} could not be typed correctly; {DAMAGED}.",
        reason=reason,
        kept=kept,
        advice=CHECK_WIRE,
    )


def _no_room(core: Exchange, text: str) -> LinkError:
    """Describe a command for which the board's full memory has no room."""
    full = f'The board does not take "{safe(text)}": {SO_FULL} '
    if core.outcome is Outcome.DEAF:
        return LinkError(f"{full}{TAKES_NOTHING}.", reason=LinkReason.FULL, advice=ONLY_RESTART)
    return LinkError(
        f"{full}has room for {plural(core.typed.room, 'character')} only.",
        reason=LinkReason.FULL,
        advice=DELETE_OR_RESTART,
    )


def keeps_sending(text: str) -> LinkError:
    """Describe an answer without an end. text: the command that was typed."""
    return LinkError(
        f'The board does not stop sending after "{safe(text)}".',
        reason=LinkReason.FLOODING,
        advice="Interrupt or restart the board, then try again.",
    )


def command_unanswered(core: Exchange, text: str, pacing: Pacing, charset: str) -> LinkError:
    """Describe a command that could not be typed, or whose answer did not end with a prompt.

    core: its exchange. text: the command.
    """
    if core.outcome in (Outcome.DEAF, Outcome.CROWDED):
        return _no_room(core, text)
    if core.outcome is Outcome.UNTYPED and not core.typed.heard:
        return fell_silent()
    if core.outcome is Outcome.UNTYPED:
        return typing_damaged(f'"{safe(text)}"')
    if core.outcome is Outcome.FLOODING:
        return keeps_sending(text)
    return LinkError(
        f'The board took "{safe(text)}" but did not come back to its prompt.',
        reason=LinkReason.SILENT,
        advice=join_advice(
            _paging_advice(core.answer, pacing.reply_end, charset),
            f"{IF_IT_PRINTS} Restart the board if it stays silent; its program is lost then.",
        ),
    )


def _paging_advice(answer: bytes, reply_end: bytes, charset: str) -> Advice:
    """Advise on an answer that stops within a row, as a listing that waits for a key does."""
    row = answer.rpartition(reply_end)[2].strip()
    if not row or reply_end not in answer:
        return ""
    stopped_at = safe(to_text(row[-40:], charset))
    return lambda by: (
        f'It stopped at "{stopped_at}": if it waits for a key there, name both in its profile '
        f"(page_prompt, page_key), or have them found {by.survey}."
    )
