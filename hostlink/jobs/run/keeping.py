"""Keep each run of a program in the archive, however it was started and however it ends.

`run` and the console both use this; a run that cannot be kept is reported and goes on.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Mapping

from hostlink.archive import Archive, Revision, RunEnd, RunText
from hostlink.archive.runs import MOST_BYTES
from hostlink.board.dialogue.capturing import Capture
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.reported_errors import ReportedError
from hostlink.errors import ArchiveError, HostlinkError, Interrupted
from hostlink.jobs.events import Emit, Event, RowPrinted
from hostlink.jobs.run.output import RunOutput
from hostlink.jobs.session.last_known import held_as
from hostlink.jobs.session.rescuing import held_content
from hostlink.jobs.session.session import Session
from hostlink.listing import Line, to_text
from hostlink.words import safe

_HALF = MOST_BYTES // 2
_LEFT = RunEnd("interrupted", "hostlink stopped listening before the program ended.")
STOPPED = RunEnd("interrupted", "The program was stopped.")


class Printed:
    """Collects printed rows; beyond MOST_BYTES it keeps the first and the last half of that."""

    def __init__(self) -> None:
        self._first: list[str] = []
        self._last: deque[str] = deque()
        self._room = _HALF  # bytes that the first half still takes
        self._held = 0  # bytes in the last half
        self._cut = 0

    def add(self, row: str) -> None:
        """Take a row; control characters in it are kept as escapes."""
        data = safe(row).encode("utf-8", "replace")
        kept = data[: _HALF - 1].decode("utf-8", "ignore")
        size = len(kept.encode()) + 1
        self._cut += len(data) + 1 - size
        if not self._last and size <= self._room:
            self._room -= size
            self._first.append(kept)
            return
        self._last.append(kept)
        self._held += size
        while self._held > _HALF:
            gone = len(self._last.popleft().encode()) + 1
            self._held -= gone
            self._cut += gone

    def text(self) -> RunText:
        """Return what is kept, and how much is missing where."""
        rows = (*self._first, *self._last)
        return RunText(rows, self._cut, len(self._first) if self._cut else 0)


class RunRecord:
    """One run, collected as it happens. It is kept at the end of its `with` block, or by `keep`.

    lines: the program in memory as it was read before. command: the line that starts it. emit:
    receives the events of `output`, which takes what the board sends. end: how it ended, unless an
    error leaves the block. spec: the name of the kept run, "" until it is kept.
    """

    def __init__(
        self, session: Session, lines: Mapping[int, Line], command: str, emit: Emit
    ) -> None:
        self.command = command
        self.emit = emit
        profile, pacing = session.profile, session.dialogue.pacing
        charset, own_rows = profile.rules.form.charset, profile.commands.answer_rows
        self.output = RunOutput(charset, self._told, pacing, own_rows)
        self.typed: list[str] = []
        self.end = _LEFT
        self.began = True  # False for a command that could not be typed
        self.spec = ""
        self._printed = Printed()
        self._session = session
        self._lines = lines
        self._started = session.wire.now()

    def _told(self, event: Event) -> None:
        if isinstance(event, RowPrinted):
            self._printed.add(event.text)
        self.emit(event)

    def __enter__(self) -> RunRecord:
        return self

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, Interrupted):
            self.end = STOPPED
        elif isinstance(error, HostlinkError | OSError):
            what = error.what if isinstance(error, HostlinkError) else str(error)
            self.end = RunEnd("failed", what)
        elif error is not None:
            return  # the user wants to leave at once
        self.keep()

    def answered(self, answer: bytes, *, echo: bool) -> None:
        """Add an answer typed without `output`. echo: the echo of its line end will come."""
        self.typed.append(to_text(answer, self._session.profile.rules.form.charset))
        self.output.take(answer if echo else answer + b"\n")

    def ended(self, fault: ReportedError | None) -> None:
        """Note that the program ended at the prompt. fault: the error of BASIC, or None."""
        self.end = RunEnd() if fault is None else RunEnd("error", fault.message, fault.number)

    def keep(self) -> None:
        """Keep the run in the session's archive; if that fails, warn and go on."""
        archive, text = self._session.archive, self._printed.text()
        if archive is None or not self.began or not (self._lines or text.rows):
            return
        try:
            board = self._session.board_in(archive).uuid
            self.spec = archive.keep_run(
                text, self.end, seconds=self._session.wire.now() - self._started,
                revision=self._revision(archive, board), board_uuid=board,
                profile=self._session.profile.name, command=self.command, typed=self.typed,
            ).spec  # fmt: skip
        except ArchiveError as error:
            self._session.emit(Warned(error.what))

    def _revision(self, archive: Archive, board_uuid: str) -> Revision | None:
        """Return the revision that ran: the one that the board is known to hold, or the newest."""
        with contextlib.suppress(ArchiveError):
            held = held_content(self._session, Capture(dict(self._lines), 1))
            copy = archive.host_copy(board_uuid)
            loaded = copy.revision if copy is not None else ""
            known = held_as(archive, held, loaded, self._session.profile.rules)
            return known if self._lines and isinstance(known, Revision) else None
        return None
