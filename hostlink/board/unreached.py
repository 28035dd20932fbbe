"""What is said of a board that does not come to its prompt."""

from __future__ import annotations

from hostlink.advice import Ways
from hostlink.board.own_rows import shape_of
from hostlink.errors import LinkError, LinkReason
from hostlink.words import safe

_UNTOUCHED = "The program on the board was not touched."
_ONLY_EMPTY = "Only empty lines were sent; the program on the board was not touched."


def shown(data: bytes) -> str:
    """What a board sent, safe to print, without the line ends around it."""
    return safe(data.decode("latin-1").strip("\r\n"))


def is_bells(heard: bytes) -> bool:
    """Whether a board answered with a bell, and with nothing else but text."""
    rest = heard.replace(b"\a", b"")
    return rest != heard and all(32 <= byte < 127 or byte in b"\r\n" for byte in rest)


def asks_for(prompt: bytes, *, may_stop: bool) -> LinkError:
    """A program waits for an answer. may_stop: the keys that usually stop one were sent."""
    if may_stop:
        return LinkError(
            f'The board asks "{shown(prompt)}" and takes what is typed as the answer. It was not '
            "interrupted: the key that stops its program is not known.",
            reason=LinkReason.RUNNING,
            kept="Its program was not touched.",
            advice=lambda by: (
                f"Answer it {by.look_in_console}. If you know the key, name it as interrupt in "
                "a profile."
            ),
        )
    return LinkError(
        f'A program on the board is waiting for an answer: it asks "{shown(prompt)}".',
        reason=LinkReason.RUNNING,
        kept="It was given nothing but an empty line.",
        advice=lambda by: (
            f"Answer it {by.look_in_console}, or stop it {by.stop_running} (its variables may be "
            "lost). If the board asks this itself when it starts, try again: an empty line was "
            "its answer; in a profile name it in start_questions."
        ),
    )


def only_bells(row: str = "") -> LinkError:
    """The board answers what is typed with a bell. row: what it shows, "" where that is nothing."""
    shows = f', and shows "{row}"' if row else ""
    return LinkError(
        f"The board answers what is typed with a bell (byte 7){shows}: it takes nothing.",
        reason=LinkReason.UNKNOWN,
        kept=_UNTOUCHED,
        advice=waits_or_full,
    )


def waits_or_full(by: Ways) -> str:
    """What to do with a board that takes nothing."""
    return (
        "If it shows its listing page by page it waits for a key: press it "
        f"{by.look_in_console}. If its memory is full only a restart helps, by which the program "
        "is lost."
    )


def is_changed(before: bytes, now: bytes) -> bool:
    """Whether two prompts differ in nothing but a number, such as a count or the free memory."""
    texts = [each.decode("latin-1").strip() for each in (before, now)]
    return texts[0] != texts[1] and shape_of(texts[0]) == shape_of(texts[1])


def prompt_changes(before: bytes, now: bytes) -> LinkError:
    """The prompt is another one each time."""
    return LinkError(
        f'The prompt of the board changes: it was "{shown(before)}", then "{shown(now)}". hostlink '
        "knows a board by a prompt that stays the same.",
        reason=LinkReason.UNKNOWN,
        advice="Give the board a prompt without a number, if its firmware allows that.",
    )


def all_comes_back() -> LinkError:
    """The wires are joined."""
    return LinkError(
        "Everything that is sent comes back, and nothing else: there is no board, or TX and RX are "
        "joined.",
        reason=LinkReason.UNREADABLE,
        advice="Check the wires between the USB bridge and the board.",
    )


def nothing_steady(last: bytes) -> LinkError:
    """What came is not the same text twice at any speed. last: the last of it."""
    return LinkError(
        "The board sends something, but at no usual speed is it readable and steady; it last sent "
        f'"{shown(last)}".',
        reason=LinkReason.UNREADABLE,
        kept=_ONLY_EMPTY,
        advice=lambda by: (
            f"If a program runs on it, stop it {by.stop_running}; else check the wiring."
        ),
    )


def silent_everywhere() -> LinkError:
    """Not a byte came at any speed."""
    return LinkError(
        "The board is silent at all usual speeds.",
        reason=LinkReason.SILENT,
        kept=_ONLY_EMPTY,
        advice="Check its supply, the cable, and that TX and RX are not swapped.",
    )
