"""Fill in the message templates of one kind of board."""

from __future__ import annotations

from functools import lru_cache

from hostlink.practice.complaint import Complaint, Reason
from hostlink.practice.kind import BoardKind
from hostlink.practice.storing import storing


class Wording:
    """The messages of one kind of board."""

    def __init__(self, kind: BoardKind) -> None:
        self._messages = kind.messages
        self._errors = dict(kind.messages.errors)
        self._storing = storing(kind.storage, kind.language)
        self._end = kind.settings.reply_end.decode("latin-1")

    def say(self, template: str, **fields: object) -> bytes:
        """Return a message as bytes; fields: the values of its names in { }."""
        return self._filled(template, **fields).encode("latin-1", "replace")

    def _filled(self, template: str, **fields: object) -> str:
        return template.format(end=self._end, **fields) if template else ""

    def error(self, complaint: Complaint, where: str, flourish: str = "") -> bytes:
        """Return an error. where: from `place` or `direct`. flourish: added at its end."""
        template = self._errors.get(complaint.reason, self._errors[Reason.PUZZLED])
        what = self._filled(template, where=where, **complaint.fields)
        return self.say(self._messages.error, what=what, where=where + flourish)

    def stopped(self, where: str) -> bytes:
        """Return the message after an interrupt."""
        return self.say(self._messages.stopped, where=where)

    def place(self, number: int, text: bytes, at: int = -1) -> str:
        """Return how a message names a program line. at: the character in question, or -1."""
        if self._messages.mark and 0 <= at < len(text):
            text = text[:at] + self._messages.mark.encode("latin-1") + text[at + 1 :]
        row = self._storing.row(number, text).decode("latin-1")
        shown = self._storing.shown_number(number)
        return self._filled(self._messages.where, number=shown, row=row)

    def direct(self, typed: bytes) -> str:
        """Return how a message names a direct line."""
        return self._filled(self._messages.where_direct, typed=typed.decode("latin-1"))

    def done(self, command: str) -> bytes:
        """Return the message after a direct line. command: the last command in it."""
        after = self._messages.done_after
        return b"" if after and command not in after else self.say(self._messages.done)

    def wrong_answer(self, wanted: str) -> bytes:
        """Return the message of INPUT for an invalid answer."""
        return self.say(self._messages.wrong_answer, wanted=wanted)

    def listed(self, number: int, text: bytes) -> bytes:
        """Return what LIST sends for one line."""
        template = self._messages.list_row
        rows = (row.decode("latin-1") for row in self._storing.rows(number, text))
        return b"".join(self.say(template, row=row) for row in rows)


@lru_cache(maxsize=64)
def wording_of(kind: BoardKind) -> Wording:
    """Return the messages of a kind of board."""
    return Wording(kind)
