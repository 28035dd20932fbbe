"""A board that prints a row by itself while it waits at its prompt."""

from __future__ import annotations

from dataclasses import replace

from scripted_board import PROMPT, ScriptedBoard

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.profile.file import find_profile
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire


class TickingBoard(ScriptedBoard):
    """A board at its prompt that prints a row and the prompt every `period` seconds.

    listing: the rows that answer LIST. row: N in it becomes the number of the row.
    """

    def __init__(self, period: float, listing: bytes = b"", row: bytes = b"TICK") -> None:
        super().__init__(VirtualClock(), lambda line: (line == "LIST") * listing + PROMPT)
        self.period = period
        self._row = row
        self._ticks = 0

    def wait_until(self, moment: float) -> None:
        while self.clock.now() < moment and not self.in_waiting:
            due = (self._ticks + 1) * self.period
            if due <= self.clock.now():
                self.send_row()
                continue
            coming = self._coming[0][0] if self._coming else moment
            self.clock.advance_to(min(moment, due, coming))

    def send_row(self) -> None:
        """Print the row and the prompt now."""
        self._ticks += 1
        self._send(b"\r\n" + self._row.replace(b"N", b"%d" % self._ticks) + b"\r\n" + PROMPT)

    def capture(self, *chatter: str) -> dict[int, str]:
        """Read what it holds by a profile with these rows as idle_chatter."""
        profile = find_profile("tiny")
        talk = replace(profile.talk, prompt=b"> ", idle_chatter=chatter)
        dialogue = Dialogue(Wire(self, self.clock), replace(profile, talk=talk))
        return {number: line.text for number, line in dialogue.capture().lines.items()}


class Lines:
    """The answers of a board that only keeps numbered lines, lists and clears them.

    colour: the control sequence that begins each listed line.
    """

    def __init__(self, colour: bytes = b"") -> None:
        self.held: dict[int, str] = {}
        self._colour = colour

    def __call__(self, typed: str) -> bytes:
        number, _, text = typed.strip().partition(" ")
        if number.isdigit():
            self.held.pop(int(number), None)
            self.held.update({int(number): text} if text else {})
            return PROMPT
        if number == "NEW":
            self.held.clear()
        listed = sorted(self.held.items()) if number == "LIST" else []
        row = self._colour + b"%d %s\r\n"
        rows = b"".join(row % (at, each.encode("latin-1")) for at, each in listed)
        return (rows if number in ("LIST", "NEW", "REM") else b"WHAT?\r\n") + PROMPT
