"""A board at an open port: finding its prompt once, talking to it, closing the port once."""

from __future__ import annotations

import contextlib
import dataclasses
import re
from collections.abc import Iterator

from hostlink.advice import Advice
from hostlink.archive import Archive, Board
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.evidence import Evidence
from hostlink.board.dialogue.heard_talk import asks, parts_of
from hostlink.board.dialogue.learning import Learned
from hostlink.board.port.ports import Identity
from hostlink.board.profile.model import HEARD, Profile
from hostlink.board.recognised import Recognised
from hostlink.errors import ArchiveError, HostlinkError, Interrupted, LinkError, LinkReason
from hostlink.jobs.events import BoardRecognised, Emit, MemoryLost
from hostlink.jobs.session.last_known import known_board, last_program, unknown_board
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.patience import Patience
from hostlink.jobs.session.recognising import recognise
from hostlink.jobs.session.remembering import as_heard, remember
from hostlink.jobs.session.restarts import Restarts
from hostlink.link.attaching import Foresight
from hostlink.link.port import TunablePort
from hostlink.link.regain import FoundState
from hostlink.link.taking_back import take_back
from hostlink.link.wire import Wire
from hostlink.sentences import LOOKING_FOR_PROMPT, RESTARTED_AT_OPENING, UNTOUCHED

_NUMBER = re.compile(rb"[0-9]+(?=[^0-9])")
# How a board fails to answer if it does not talk as its profile says.
_TALKS_OTHERWISE = (LinkReason.RUNNING, LinkReason.UNREADABLE, LinkReason.SILENT)
_LOST_AT_OPENING = f"The board {RESTARTED_AT_OPENING}."


class Session:
    """A board attached for as long as the `with` block lasts."""

    def __init__(
        self,
        choice: LinkChoice,
        wire: Wire,
        patience: Patience,
        *,
        identity: Identity,
        foresight: Foresight,
        archive: Archive | None = None,
    ) -> None:
        """Take over an open wire; hostlink.jobs.session.opening opens one.

        patience: limits the time of jobs and passes their events on. identity: how the board is
        recognised again. foresight: what the opening was expected to do to the board. archive:
        where knowledge of the board is looked up and updated.
        """
        self.wire = wire
        self.identity = identity
        self.archive = archive
        self.foresight = foresight
        self.patience = patience
        self.emit: Emit = patience.emit
        self._evidence = Evidence(wire.health)
        self.restarts = Restarts(wire, foresight)
        self.choice = choice
        self.use(choice)
        self._is_known_kind = True
        self.is_astray = False  # the board's prompt has to be looked for again
        self.is_recognised = False  # how the board talks was found out, not taken from a profile
        self.begun: set[str] = set()  # the UUIDs of the events of its jobs

    def __enter__(self) -> Session:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self.wire.close()  # what a practice board or a recording could not keep is reported
            return
        with contextlib.suppress(HostlinkError):
            self.wire.close()

    def tell(self, emit: Emit) -> None:
        """Pass events to `emit` from now on."""
        self.patience.listener = emit

    @contextlib.contextmanager
    def may_stop(self) -> Iterator[None]:
        """Allow stopping a running program within the block, as the user has agreed."""
        before = self.choice.stop_running
        self.choice = dataclasses.replace(self.choice, stop_running=True)
        try:
            yield
        finally:  # keeps a board recognised in the meantime
            self.choice = dataclasses.replace(self.choice, stop_running=before)

    def attach(self, *, again: bool = False) -> None:
        """Bring the board to its prompt, unless an earlier call has done so.

        again: even then, since the board may be silent or talk differently by now. Raises LinkError
        or Interrupted, with the state in which the board was left.
        """
        if self.is_attached and not (again or self.is_astray):
            return
        try:
            woke = self._find_prompt(again=again)
        except Interrupted as error:
            what = f"Stopped while {LOOKING_FOR_PROMPT}."
            raise error.but(what=what, kept=UNTOUCHED) from error
        self.is_astray = False
        if self.is_attached:
            return
        self.restarts.attached(at_opening=woke)
        board = self._note_board()
        if not self.restarts.memory_is_lost:
            return
        spec = ""
        if self.archive is not None and board is not None:
            spec = last_program(self.archive, board)
        self.emit(MemoryLost(_LOST_AT_OPENING, spec))

    def _find_prompt(self, *, again: bool) -> bool:
        """Bring the board to its prompt; return whether it was heard starting.

        A board without a named profile, or one that does not talk as its profile says, is
        recognised first.
        """
        woke = False
        is_new = self.choice.is_guess and (again or not self.is_recognised)
        if is_new:
            woke = self.foresight.restarts and self.dialogue.listen_starting()
            self.restarts.silent_start = self.dialogue.silent_start
            self._recognise(starts=woke)
        starting = self.foresight.restarts and not (is_new or self.is_attached)
        try:
            woke |= self.dialogue.attach(may_interrupt=self.choice.stop_running, starting=starting)
            if starting:
                self.restarts.silent_start = self.dialogue.silent_start
            return woke
        except LinkError as error:
            knows_already = (self.is_recognised or self.is_astray) and not again
            if knows_already or error.reason not in _TALKS_OTHERWISE:
                raise
            if error.reason is LinkReason.RUNNING and asks(parts_of(self.wire.recent)[2]):
                raise
            self._recognise_after(error)
        return self.dialogue.attach(may_interrupt=self.choice.stop_running)

    def _recognise_after(self, failed: LinkError) -> None:
        """Recognise a board that does not talk as its profile says.

        Raises the error `failed` again, extended, if the board cannot be recognised either.
        """
        try:
            self._recognise()
        except LinkError as error:
            if error.reason not in (LinkReason.SILENT, LinkReason.UNREADABLE):
                raise
            what = f"{failed.what} The other usual speeds were tried too."
            raise LinkError(
                what, reason=failed.reason, kept=failed.kept, advice=failed.advice
            ) from error

    def _recognise(self, *, starts: bool = False) -> None:
        """Find out how the board talks, report that, and talk to it that way from now on.

        starts: it was just heard starting.
        """
        self.is_recognised = True
        found = recognise(
            self.wire,
            self.choice.profile if self.choice.is_named else None,
            self.emit,
            may_stop=self.choice.stop_running,
            starts=starts,
        )
        self._is_known_kind = found.known
        profile = found.profile if found.known else as_heard(found.profile)
        self._talk_by(profile, found.sentence, found.advice)

    def _talk_by(self, profile: Profile, sentence: str, advice: Advice = "") -> None:
        """Talk to the board by a new profile from now on, and report what was found out."""
        self.use(dataclasses.replace(self.choice, profile=profile, baud=0, is_guess=False))
        self.emit(BoardRecognised(sentence, self.profile, advice=advice))

    @contextlib.contextmanager
    def talking_as(self, found: Recognised) -> Iterator[None]:
        """Talk to the board as it was recognised within the block, and as before after it."""
        before, was_known = self.choice, self._is_known_kind
        self._is_known_kind = found.known
        try:
            self.use(dataclasses.replace(before, profile=found.profile, baud=0))
            yield
        finally:
            self._is_known_kind = was_known
            with contextlib.suppress(LinkError):  # the port may have vanished
                self.use(before)

    def talk_by(self, profile: Profile) -> Dialogue:
        """Talk to the board by a profile and at its speed from now on; return the dialogue."""
        self.use(dataclasses.replace(self.choice, profile=profile, baud=0))
        return self.dialogue

    @property
    def is_attached(self) -> bool:
        """Return whether the board's prompt was found since the port was opened."""
        return self.restarts.is_attached

    def use(self, choice: LinkChoice) -> None:
        """Use another profile or speed on the same open port from now on."""
        profile = choice.effective
        port, baud = self.wire.port, profile.talk.baud
        if isinstance(port, TunablePort) and port.baudrate != baud:
            port.baudrate = baud  # first, since a port that vanished refuses it
        self.choice = choice
        self.profile = profile
        self.dialogue = Dialogue(self.wire, profile, self.emit, evidence=self._evidence)
        self.wire.banner = profile.talk.banner.encode("latin-1", "replace")

    def learn(self, learned: Learned) -> None:
        """Add to the profile how the board was seen to change lines, and use it from now on."""
        rules = dataclasses.replace(self.choice.profile.rules, form=learned.form)
        self._talk_by(dataclasses.replace(self.profile, rules=rules), learned.sentence)
        self._note_board()

    def keep_heard(self) -> None:
        """Remember what was learnt about a board of unknown kind during a job."""
        heard = self.dialogue.profile
        if heard.is_unmeasured and heard != self.profile:
            self.profile = self.dialogue.profile = as_heard(heard)
            self.choice = dataclasses.replace(self.choice, profile=self.profile)
            self._note_board()

    def board_in(self, archive: Archive) -> Board:
        """Return this board's entry in the archive; a new board gets one. Raises ArchiveError.

        In a read-only archive nothing is recorded; a new board is known for this session only.
        """
        identity = self.identity
        if archive.read_only:
            return known_board(archive, identity) or unknown_board(identity)
        is_named = self._is_known_kind and self.profile.name != HEARD
        return archive.board_seen(
            vid=identity.vid,
            pid=identity.pid,
            serial=identity.serial,
            location=identity.location,
            profile=self.profile.name if is_named else "",
            restarts_on_open=self.restarts.take_lesson(),
        )

    def _note_board(self) -> Board | None:
        """Note in the archive that the board was seen; an error there does not end the job."""
        if self.archive is None:
            return None
        try:
            board = self.board_in(self.archive)
        except ArchiveError:
            self.restarts.return_lesson()
            return None
        remember(board.uuid, self.choice.profile)
        return board

    @contextlib.contextmanager
    def unstoppable(self) -> Iterator[None]:
        """Ignore the user's request to stop within the block, such as while putting back."""
        cancelled = self.wire.cancelled
        self.wire.cancelled = lambda: False
        try:
            yield
        finally:
            self.wire.cancelled = cancelled

    def abandon(self) -> None:
        """Try to bring the board to its prompt after a job was stopped half way.

        A board whose prompt was never found was sent whole lines only, and is left as it is.
        """
        if not self.is_attached:
            return
        with self.unstoppable(), contextlib.suppress(HostlinkError):
            half = _NUMBER.match(take_back(self.wire, self.dialogue.pacing))
            found = self.dialogue.regain(may_interrupt=True).found  # enters what was not erased
            if half is not None and found is FoundState.PROMPT:
                self.dialogue.exchange(half[0].decode())  # deletes the half line
