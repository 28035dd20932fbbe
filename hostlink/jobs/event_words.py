"""Events in words, for the command line, for many boards at once, and for the app."""

from __future__ import annotations

from typing import TypeAlias, assert_never

from hostlink.advice import Ways, advice_text
from hostlink.board.dialogue import events as board_events
from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.jobs.events import (
    AlreadyKept,
    BackupKept,
    BoardAnswered,
    FirmwareEvent,
    KeptAs,
    PageProven,
    PagesRead,
    Rescued,
)
from hostlink.words import plural

Told: TypeAlias = board_events.Event | Rescued | AlreadyKept | KeptAs | FirmwareEvent
"""The events that are put into words; what a program prints is shown as it is."""


def event_words(event: Told, by: Ways) -> str:
    """Return an event in words: a sentence, or a phrase for mere progress.

    by: the terms in which the interface gives advice.
    """
    match event:
        case Phase():
            return event.words
        case LineSent():
            return f"line {event.number}, {event.sent_lines:,} of {plural(event.all_lines, 'line')}"
        case LineRepaired():
            where = f"Line {event.number}" if event.number is not None else "A line"
            return f"{where} {event.why}; it is sent again."
        case Captured():
            return f"capture {event.count}: {plural(event.lines, 'line')}"
        case Warned():
            return f"{event.text} {advice_text(event.advice, by)}".strip()
        case Rescued():
            size = f"{plural(event.lines, 'line')}, {plural(event.size_bytes, 'byte')}"
            return f"Rescued what the board held as {event.spec} ({size})."
        case AlreadyKept():
            return f"What the board held is in the archive as {event.spec}."
        case KeptAs():
            return kept_words(event.spec, is_new=event.is_new, size_bytes=event.size_bytes)
        case BackupKept() | BoardAnswered() | PagesRead() | PageProven():
            return _firmware_words(event)
        case _:
            assert_never(event)


def kept_words(spec: str, *, is_new: bool, size_bytes: int = 0) -> str:
    """Return the sentence that a listing was kept, or was kept before, as a revision.

    size_bytes: its size on the board, 0 to leave that out.
    """
    if not is_new:
        return f"Nothing new: it is {spec} already."
    size = f" ({plural(size_bytes, 'byte')})" if size_bytes else ""
    return f"Kept as {spec}{size}."


def _firmware_words(event: FirmwareEvent) -> str:
    match event:
        case BackupKept():
            return f"Kept as {event.spec}: {', '.join(event.items)}."
        case BoardAnswered():
            return f"The board answered with {event.answer}; the image expects {event.expected}."
        case PagesRead():
            return f"page {event.done:,} of {event.pages:,} read twice, the same each time"
        case PageProven():
            return f"page {event.done:,} of {event.pages:,} written and read back"
        case _:
            assert_never(event)
