"""A session that stays open for hours: jobs borrow it, and it survives unplugging the board.

Rules:
1. One thread drives it; it owns the port while the board is here.
2. When the board vanishes, the port is closed; `look_for_it` finds the same board and attaches
   again. If `stays` is false, the error is raised instead.
3. A restart is reported when it happens, with the program that was lost. A restart during a job is
   reported after the job, unless the job reported it or has proved the memory since.
"""

from __future__ import annotations

import contextlib
import dataclasses
import time
from collections.abc import Callable, Iterator

from hostlink.archive import Archive, Board
from hostlink.board.dialogue.events import Warned
from hostlink.board.port.ports import Identity, port_of
from hostlink.errors import HostlinkError, LinkError, LinkReason
from hostlink.jobs.events import BoardReturned, BoardVanished, Emit, Event, MemoryLost
from hostlink.jobs.session.activity import BoardActivity
from hostlink.jobs.session.host_copy import LiveCopy
from hostlink.jobs.session.last_known import last_program
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.link.hearing import looks_like_question
from hostlink.link.pacing import ends_with_prompt
from hostlink.link.port import is_far
from hostlink.link.recording import Recorder
from hostlink.sentences import BOARD_AWAY, CHECK_FAR

_LOST = "The board restarted, and its memory was lost."
_VANISHED = "The board vanished (unplugged?). Waiting until it is back."
_CUT_OFF = "The connection to the board ended. Trying again until it is back."
_READ_ONLY = (
    "The archive is read-only: it keeps neither what the board holds nor what is typed to it. "
    "Programs can be run; loading and saving need an archive that can be written."
)
_REASONS_TO_STAY = (
    *(LinkReason.RUNNING, LinkReason.SILENT, LinkReason.UNREADABLE),
    *(LinkReason.FLOODING, LinkReason.LOOPED),
)


class LongSession:
    """A board attached until the end of a `with` block.

    emit: receives hostlink's own events. stays: attach to a board that shows no prompt, and wait
    for one that vanishes, looking for it every look_again_s seconds.
    """

    def __init__(
        self,
        choice: LinkChoice,
        archive: Archive,
        emit: Emit,
        *,
        cancelled: Callable[[], bool],
        stays: bool,
        look_again_s: float,
    ) -> None:
        self.choice = choice
        self.activity = BoardActivity()
        self._archive = archive
        self._emit = emit
        self._cancelled = cancelled
        self._stays = stays
        self._recorder = Recorder(choice.record) if choice.record is not None else None
        self._session: Session | None = None
        self._identity = Identity(choice.port)
        self._look_again_s = look_again_s
        self._look_at = 0.0
        self._is_half_typed = False  # a failure may have left part of a line in the board's input

    def open(self) -> None:
        """Open the port and attach. Raises LinkError or UsageError; the port is closed then."""
        try:
            self._connect(self.choice.port)
        except BaseException:
            self.__exit__(None, None, None)
            raise

    def __exit__(self, *_: object) -> None:
        self._close_port()
        if self._recorder is not None:
            self._recorder.close()

    @property
    def at_prompt(self) -> bool:
        """Return whether the board waits for a command."""
        return self.activity.now.at_prompt

    def _begin(self, row: bytes | None) -> None:
        """Start again. row: the last row of a board at its prompt; None if it is not there."""
        if row is None:
            self.activity.lost()
        else:
            self._is_half_typed = False
            self.activity.prompted()

    def _say(self, text: str) -> None:
        self._emit(Warned(text))

    # --- the link ----------------------------------------------------------------------------

    @property
    def is_here(self) -> bool:
        """Return whether the board is connected."""
        return self._session is not None

    def _connect(self, port: str, *, returning: bool = False) -> None:
        session = open_session(
            dataclasses.replace(self.choice, port=port, record=None),
            _unheard if returning else self._emit,  # no warning at each attempt
            self._cancelled,
            archive=self._archive,
            recorder=self._recorder,
        )
        session.tell(self._emit)
        self._session = session
        self._identity = session.identity
        self._begin(None)
        told = True
        try:
            session.attach()  # reports a restart caused by the opening
            self.choice = dataclasses.replace(
                session.choice, port=self.choice.port, record=self.choice.record
            )
            self._begin(session.dialogue.pacing.prompt)
        except LinkError as error:
            if not self._stays or error.reason not in _REASONS_TO_STAY:
                raise
            self._failed(session, error.reason)
            text = f"{error.what} {error.kept}".strip()
            self._emit(Warned(text, advice=error.advice))
            told = False
        self._restarts = session.restarts.seen
        self._board: Board = session.board_in(self._archive)
        self.copy = LiveCopy(self._archive, self._board, session.profile)
        if self._archive.read_only and not returning:
            self._say(_READ_ONLY)
        if session.restarts.memory_is_lost:
            spec = self.copy.lost()
            if not told:
                self._emit(MemoryLost(_LOST, spec))

    def _close_port(self) -> None:
        """Close the port, but not the recording, which continues when the board returns."""
        session, self._session = self._session, None
        if session is not None:
            session.wire.recorder = None
            with contextlib.suppress(HostlinkError):
                session.wire.close()

    def _here(self) -> Session:
        if self._session is None:
            raise LinkError(
                f"{BOARD_AWAY}; nothing was sent.",
                reason=LinkReason.GONE,
                advice=f"{CHECK_FAR}." if is_far(self._identity.port) else "Plug it in again.",
            )
        return self._session

    @contextlib.contextmanager
    def _linked(self) -> Iterator[Session]:
        """Give the session to the block, and close the port if the board vanishes in it."""
        try:
            yield self._here()
        except LinkError as error:
            if error.reason is LinkReason.GONE and self._session is not None:
                self._close_port()
                self._begin(None)
                if self._stays:
                    far = is_far(self._identity.port)
                    self._emit(BoardVanished(_CUT_OFF if far else _VANISHED))
            raise

    def look_for_it(self) -> None:
        """Look for the same board, also at other ports, and attach to it again."""
        if time.monotonic() < self._look_at:
            return
        self._look_at = time.monotonic() + self._look_again_s
        port = port_of(self._identity)
        if port is None:
            return
        try:
            self._connect(port, returning=True)
            had_lines = self.at_prompt and bool(self.copy.lines)
            empty = had_lines and self._here().dialogue.read_listing().is_bare
        except LinkError:
            self._close_port()
            return
        self._emit(BoardReturned(f"The board is back, at {port.partition('?')[0]}."))
        if empty:
            spec = last_program(self._archive, self._board)
            self.copy.lost()
            self._emit(MemoryLost("Its memory is empty: the board lost its supply.", spec))

    # --- jobs --------------------------------------------------------------------------------

    @contextlib.contextmanager
    def lend(self, *, may_stop: bool = False) -> Iterator[Session]:
        """Lend the open session to a job, and continue afterwards with the state that it left.

        may_stop: consent to stop a running program first. Raises LinkError if the board is not
        connected or a running program may not be stopped; nothing was typed then.
        """
        with self._linked() as session:
            self._make_free(session, may_stop=may_stop)
            session.is_astray = not self.at_prompt
            session.dialogue.restarted()  # earlier restarts do not concern this job
            try:
                with session.may_stop() if may_stop else contextlib.nullcontext():
                    yield session
            except HostlinkError as error:
                reason = error.reason if isinstance(error, LinkError) else None
                self._after_job(session, reason)
                raise
            except BaseException:
                self._after_job(session, LinkReason.UNKNOWN)
                raise
            self._after_job(session, None)

    def _make_free(self, session: Session, *, may_stop: bool) -> None:
        """Make sure that no program runs that would take what the job types as its input."""

    def _failed(self, session: Session, reason: LinkReason) -> None:
        """Note in what state the board is after a failure."""
        self._is_half_typed = True
        row = session.dialogue.standing_row
        self.activity.failed(reason, row if looks_like_question(row.encode()) else "")

    def _after_job(self, session: Session, failed: LinkReason | None) -> None:
        """Update the host copy after a job, and report a restart that it did not report.

        failed: why the link failed; None if the job succeeded or was refused.
        """
        pacing = session.dialogue.pacing
        well = failed is None and (
            not pacing.direct_end or ends_with_prompt(session.wire.recent, pacing)
        )
        self._begin(pacing.prompt if well else None)
        if failed is not None:
            self._failed(session, failed)
        before = max(self._restarts, session.restarts.told)
        self._restarts = session.restarts.seen
        self.copy = LiveCopy(self._archive, self._board, session.profile)
        if self._restarts > before and session.restarts.memory_is_lost:
            self._restarted()

    def use(self, choice: LinkChoice) -> None:
        """Talk to the board by another profile from now on, without closing its port."""
        with self._linked() as session:
            session.use(dataclasses.replace(choice, port=session.choice.port))
            self.choice = choice
            self._board = session.board_in(self._archive)
            self._after_job(session, LinkReason.UNKNOWN)

    def _restarted(self) -> None:
        """Report that the board restarted, and where its program is kept."""
        self._emit(MemoryLost(_LOST, self.copy.lost()))


def _unheard(event: Event) -> None:
    """Ignore the events of an attempt to reach the board."""
