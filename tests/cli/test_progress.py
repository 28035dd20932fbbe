"""How a job's events are told: sentences without a terminal, a live line with one."""

from __future__ import annotations

import io
import sys

import pytest

from hostlink.board.dialogue.events import Captured, LineRepaired, LineSent, Phase, Warned
from hostlink.cli.progress import Teller
from hostlink.jobs.events import AlreadyKept, Event, KeptAs, Rescued

EVENTS: tuple[Event, ...] = (
    Phase("Reading what the board holds"),
    Captured(1, 3),
    Captured(2, 3),
    Rescued("rescue@4", 3, 40),
    AlreadyKept("TIDE@2"),
    Phase("Sending"),
    LineSent(10, 1, 2, 20, 40),
    LineRepaired(20, "came back differently"),
    LineRepaired(None, "was not confirmed"),
    LineSent(20, 2, 2, 40, 40),
    Warned("The board said \x1b[2J[red]."),
    KeptAs("TIDE@3", True, 40),
    KeptAs("TIDE@3", False, 40),
)


class Terminal(io.StringIO):
    """A terminal that keeps what is written to it."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def terminal_on_stderr(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """stderr as a terminal 100 columns wide, plain.

    No fixture: pytest puts a stderr of its own in place between a fixture and the test.
    """
    screen = Terminal()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")
    return screen


def test_without_a_terminal_each_event_is_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    """In a log a phase is one row; what passes quickly is left out; nothing goes to stdout."""
    with Teller() as teller:
        for event in EVENTS:
            teller.emit(event)
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.splitlines() == [
        "Reading what the board holds...",
        "Rescued what the board held as rescue@4 (3 lines, 40 bytes).",
        "What the board held is in the archive as TIDE@2.",
        "Sending...",
        "Line 20 came back differently; it is sent again.",
        "A line was not confirmed; it is sent again.",
        "The board said \\x1b[2J[red].",
        "Kept as TIDE@3 (40 bytes).",
        "Nothing new: it is TIDE@3 already.",
    ]


def test_quiet_prints_no_progress(capsys: pytest.CaptureFixture[str]) -> None:
    """--quiet: not a word."""
    with Teller(quiet=True) as teller:
        for event in EVENTS:
            teller.emit(event)
    assert capsys.readouterr() == ("", "")


def test_on_a_terminal_lines_bytes_and_what_is_sent_again_are_live(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A person sees which line is on its way, how many lines, bytes, and lines sent again."""
    terminal = terminal_on_stderr(monkeypatch)
    with Teller() as teller:
        for event in EVENTS:
            teller.emit(event)
    shown = terminal.getvalue()
    assert "line 20, 2 of 2 lines, 40 of 40 bytes, 2 lines sent again" in " ".join(shown.split())


def test_on_a_terminal_nothing_a_board_says_is_obeyed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Escape sequences are shown as text and square brackets are no markup."""
    terminal = terminal_on_stderr(monkeypatch)
    with Teller() as teller:
        teller.emit(Phase("Recalling [bold]\x07"))
        teller.emit(Warned("The board said \x1b[2J[red]."))
    shown = terminal.getvalue()
    assert "\x1b[2J" not in shown
    assert "\x07" not in shown
    assert "\\x1b[2J[red]." in shown
    assert "[bold]\\x07" in shown


def test_the_live_line_goes_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """After close what follows stands on a row of its own, and closing twice does no harm."""
    terminal = terminal_on_stderr(monkeypatch)
    with Teller() as teller:
        teller.emit(Phase("Sending"))
        teller.close()
        teller.emit(Warned("Done with it."))
        teller.close()
    assert terminal.getvalue().endswith("Done with it.\n")
