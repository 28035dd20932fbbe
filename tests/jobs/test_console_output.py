"""What a board sends to the console."""

from __future__ import annotations

import pytest

from hostlink.jobs.console_output import ConsoleOutput
from hostlink.link.pacing import Pacing

PACING = Pacing(prompt=b"> ", line_s=0.01)


def test_rows_are_shown_when_they_end_and_the_open_row_can_be_read() -> None:
    """A prompt is the open row until more follows."""
    shown: list[str] = []
    output = ConsoleOutput("latin-1", shown.append)
    output.take(b"HELLO\r\n> ", 1.0)
    assert (shown, output.partial, output.last) == (["HELLO"], "> ", 1.0)
    assert output.ends_with_prompt(PACING)
    output.take(b"?", 2.0)
    assert not output.ends_with_prompt(PACING)
    assert output.quiet_at(PACING) == pytest.approx(2.0 + PACING.quiet_s)


def test_a_prompt_in_a_row_of_its_own_leaves_no_open_row() -> None:
    """Beginning at such a prompt starts a fresh row, and the prompt is still recognised."""
    shown: list[str] = []
    output = ConsoleOutput("latin-1", shown.append)
    output.begin(b"READY\r\n", 0.0)
    assert output.partial == ""
    assert output.ends_with_prompt(Pacing(prompt=b"READY\r\n"))
    assert shown == []


@pytest.mark.parametrize("size", [1, 2, 1000])
def test_the_answer_belongs_to_the_line_that_was_entered(size: int) -> None:
    """It is given once; without a line nothing is collected, and the echoed line end is no row."""
    shown: list[str] = []
    output = ConsoleOutput("latin-1", shown.append)
    output.take(b"BEFORE\r\n", 0.0)
    output.line_follows("PRINT 7")
    output.line_entered(echo=True)
    said = b"\r\n 7\r\n> "
    for at in range(0, len(said), size):
        output.take(said[at : at + size], 1.0)
    assert shown == ["BEFORE", " 7"]
    assert output.take_answer() == ("PRINT 7", b"\r\n 7\r\n> ")
    output.take(b"LATER\r\n", 2.0)
    assert output.take_answer() == (None, b"")
