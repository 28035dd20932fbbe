"""A practice board of one kind on a virtual clock: what is typed at it, and all that comes back."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

from hostlink.practice.kind import BoardKind
from hostlink.practice.kind_file import find_kind
from hostlink.practice.machine import Machine


class KindBoard:
    """A board whose first questions are answered. changed: settings besides its kind's."""

    def __init__(self, kind: BoardKind | str, **changed: Any) -> None:
        kind = find_kind(kind) if isinstance(kind, str) else kind
        settings = dataclasses.replace(kind.settings, **changed)
        self.kind = dataclasses.replace(kind, settings=settings)
        self.machine = Machine(kind=self.kind)
        self.end = settings.line_end
        self.now = 0.0
        self.wait(0.5)
        for _ in kind.messages.questions:
            self.say(self.end)

    def wait(self, seconds: float) -> bytes:
        """Let time pass; return what the board said meanwhile."""
        self.now += seconds
        self.machine.run_until(self.now)
        return self.machine.host_reads(self.now, 1 << 20)

    def say(self, typed: bytes, seconds: float = 10.0) -> bytes:
        """Send bytes, then let time pass; return what the board said meanwhile."""
        self.machine.host_sends(typed, self.now)
        return self.wait(seconds)

    def enter(self, *lines: bytes, seconds: float = 10.0) -> bytes:
        """Type lines, each with its line end; return what the board said to all of them."""
        return b"".join(self.say(line + self.end, seconds) for line in lines)

    def restart(self, seconds: float = 10.0) -> bytes:
        """Pull the restart line; return what the board said until then."""
        self.machine.restart(self.now)
        return self.wait(seconds)

    @property
    def lines(self) -> dict[int, bytes]:
        """The program in memory."""
        return self.machine.basic.lines

    def reported_free(self) -> int:
        """Return the free memory by the board's own word, as its kind asks for it."""
        words = dict(self.kind.language.words)
        question = b"PRINT " + self.kind.language.free.encode()
        if words["memory"]:
            question = words["memory"][0].encode()
        answer = self.enter(question).replace(question, b"")
        found = re.search(rb"-?\d+", answer)
        assert found is not None, answer
        free = int(found[0])
        return free + 65536 if free < 0 else free
