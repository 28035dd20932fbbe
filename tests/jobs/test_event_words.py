"""Every event is told in the same words by every interface."""

from __future__ import annotations

import pytest

from hostlink.app.ways import KEYS
from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.cli.ways import COMMANDS
from hostlink.jobs.event_words import event_words
from hostlink.jobs.events import (
    AlreadyKept,
    BackupKept,
    BoardAnswered,
    KeptAs,
    MemoryLost,
    PageProven,
    PagesRead,
    Rescued,
)

TOLD = [
    (Phase("Sending", about_s=3.2), "Sending, about 4 s"),
    (LineSent(20, 2, 1200, 20, 30000), "line 20, 2 of 1,200 lines"),
    (LineRepaired(20, "came back otherwise"), "Line 20 came back otherwise; it is sent again."),
    (LineRepaired(None, "was lost"), "A line was lost; it is sent again."),
    (Captured(2, 1), "capture 2: 1 line"),
    (Rescued("rescue@3", 1, 12), "Rescued what the board held as rescue@3 (1 line, 12 bytes)."),
    (AlreadyKept("TIDE@1"), "What the board held is in the archive as TIDE@1."),
    (KeptAs("TIDE@2", True, 1), "Kept as TIDE@2 (1 byte)."),
    (KeptAs("TIDE@2", False, 1), "Nothing new: it is TIDE@2 already."),
    (BackupKept("backup@1", ("memory", "ONE")), "Kept as backup@1: memory, ONE."),
    (
        BoardAnswered("silence", "a prompt"),
        "The board answered with silence; the image expects a prompt.",
    ),
    (PagesRead(12, 256), "page 12 of 256 read twice, the same each time"),
    (PageProven(12, 256, 11), "page 12 of 256 written and read back"),
]


@pytest.mark.parametrize(("event", "words"), TOLD, ids=lambda each: type(each).__name__)
def test_an_event_has_one_wording(event: object, words: str) -> None:
    """Where nothing is advised the command line and the app say the same."""
    assert event_words(event, COMMANDS) == event_words(event, KEYS) == words  # type: ignore[arg-type]


def test_what_is_advised_stands_in_the_interfaces_own_terms() -> None:
    """The warning is the same; how to follow it differs."""
    lost = MemoryLost("The board restarted.", "TIDE@1")
    head = "The board restarted. Its last known program is kept as TIDE@1; put it back with "
    assert event_words(lost, COMMANDS) == f"{head}`hostlink load TIDE@1`."
    assert event_words(lost, KEYS).startswith(f"{head}Ctrl+O")
    assert event_words(Warned("Take care."), KEYS) == "Take care."
