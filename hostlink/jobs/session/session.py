"""One open port for the whole of a job: opened once, the prompt found once, closed once."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

from hostlink.archive import Archive, Board
from hostlink.archive.events import OpenEvent
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.evidence import Evidence
from hostlink.board.dialogue.heard_talk import asks, parts_of
from hostlink.board.dialogue.learning import Learned
from hostlink.board.port.ports import Identity, identity_of
from hostlink.board.profile.model import HEARD, Profile
from hostlink.board.recognise import Recognised
from hostlink.board.twin import twin_named
from hostlink.errors import ArchiveError, HostlinkError, Interrupted, LinkError, LinkReason
from hostlink.jobs.events import BoardRecognised, Emit, MemoryLost
from hostlink.jobs.session.attaching import last_program, remembered_restart
from hostlink.jobs.session.patience import Patience, time_limit_s
from hostlink.jobs.session.recognising import recognise
from hostlink.jobs.session.remembering import as_heard, remember
from hostlink.link.attaching import Foresight, foresee
from hostlink.link.opening import open_port, sizes_told
from hostlink.link.port import TunablePort
from hostlink.link.recording import Recorder
from hostlink.link.wire import STOPPED, Wire

# What a board that talks otherwise than its profile says looks like.
_TALKS_OTHERWISE = (LinkReason.RUNNING, LinkReason.UNREADABLE, LinkReason.SILENT)
_LOST_AT_OPENING = (
    "The board restarted when its port was opened; what its memory held was lost then."
)


@dataclass(frozen=True, slots=True)
class LinkChoice:
    """Which board to talk to and how.

    port: a device name or address. baud: overrides the profile's speed where not 0. record: a file
    for the recording of the wire. stop_running: consent to interrupt a running program. is_guess:
    nobody named the profile and the board is new, so it is to be recognised. is_named: the user
    named the profile, so that its values stand where a board talks otherwise.
    """

    port: str
    profile: Profile
    baud: int = 0
    record: Path | None = None
    stop_running: bool = False
    is_guess: bool = False
    is_named: bool = True

    @property
    def effective(self) -> Profile:
        """The profile with the chosen speed, and the sizes that the address itself tells."""
        profile = self.profile
        if self.baud:
            talk = dataclasses.replace(profile.talk, baud=self.baud)
            profile = dataclasses.replace(profile, talk=talk)
        if told := sizes_told(self.port):
            storage = dataclasses.replace(profile.rules.storage, **told)  # type: ignore[arg-type]
            rules = dataclasses.replace(profile.rules, storage=storage)
            profile = dataclasses.replace(profile, rules=rules)
        return profile


class Session:
    """A board attached for as long as the `with` block lasts."""

    def __init__(
        self,
        choice: LinkChoice,
        emit: Emit,
        cancelled: Callable[[], bool] = lambda: False,
        *,
        archive: Archive | None = None,
        recorder: Recorder | None = None,
    ) -> None:
        """Open the port, said before where that will probably restart the board.

        archive: what is known of the board is looked up and renewed there. recorder: one that is
        open already, in place of a new one for choice.record. Raises LinkError, UsageError.
        """
        self.choice = choice
        self._patience = Patience(emit)
        self.emit: Emit = self._patience.emit
        self.profile = choice.effective
        self.identity: Identity = identity_of(choice.port)
        self.archive = archive
        self.foresight = foresee(
            choice.port,
            profile_says=self.profile.talk.restarts_on_open,
            remembered=remembered_restart(archive, self.identity),
        )
        missing = choice.port.startswith("/") and not Path(choice.port).exists()
        if self.foresight.restarts and not missing:
            emit(Warned(_warning(choice.port, self.foresight)))
        kind = twin_named(choice.port)
        twin = (kind,) if kind is not None else ()
        own = Recorder(choice.record) if recorder is None and choice.record is not None else None
        try:
            port, clock = open_port(choice.port, self.profile.talk.baud, *twin)
        except HostlinkError:
            if own is not None:
                own.close()
            raise
        self.wire = Wire(
            port, clock, recorder=recorder or own, cancelled=cancelled, watch=self._patience.watch
        )
        self._evidence = Evidence(self.wire.health)
        self.use(choice)
        self._attached = False
        self._is_known_kind = True
        self.is_recognised = False  # how the board talks was found out, not taken from a profile
        self._told = False
        self.begun: set[str] = set()  # the UUIDs of the events of its jobs
        self.restarts_told = 0  # restarts of which a job itself has said what came of them
        self._restarts_settled = 0
        self._woke = False
        self._silent_start = False  # it should have started, and nothing came for that long

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None:
            self.wire.close()  # what a practice board or a recording could not keep must be told
            return
        with contextlib.suppress(HostlinkError):
            self.wire.close()

    def tell(self, emit: Emit) -> None:
        """Report to `emit` from now on."""
        self._patience.listener = emit

    @contextlib.contextmanager
    def job(
        self,
        archive: Archive,
        name: str,
        board: Board,
        *,
        parts: int = 1,
        program: str = "",
        detail: dict[str, Any] | None = None,
    ) -> Iterator[OpenEvent]:
        """Record the job that is done inside, and limit its time.

        parts: how many programs it may read or write. A job inside a job adds no limit. Past the
        limit LinkError is raised, and a minute is left for leaving the board in order. Where it
        is stopped the error says how the board is left.
        """
        limit_s = parts * time_limit_s(self.profile)
        with (
            self._patience.limited(limit_s, self.wire.now) as is_whole,
            archive.event(name, board_uuid=board.uuid, program=program, detail=detail) as record,
        ):
            self.begun.add(record.uuid)
            try:
                yield record
            except Interrupted as error:
                if is_whole:
                    raise self._stopped(error, name) from error
                raise

    def _stopped(self, error: Interrupted, job: str) -> Interrupted:
        """Return the error with which job was stopped, and how the board is left where the job said
        nothing of it: whatever changes the board says so itself."""
        what = f"The {job} was stopped." if error.what == STOPPED else error.what
        if not error.kept:
            self.abandon()
        return error.but(what=what, kept=error.kept or "Nothing on the board was changed.")

    @property
    def lines_sent(self) -> tuple[int, int]:
        """How many lines the job under way has sent, and of how many; (0, 0) before the first."""
        sent = self._patience.sent
        return (sent.sent_lines, sent.all_lines) if sent is not None else (0, 0)

    @contextlib.contextmanager
    def may_stop(self) -> Iterator[None]:
        """What is done inside has the user's consent to stop a running program."""
        before = self.choice.stop_running
        self.choice = dataclasses.replace(self.choice, stop_running=True)
        try:
            yield
        finally:  # a board that was recognised meanwhile stays so
            self.choice = dataclasses.replace(self.choice, stop_running=before)

    def attach(self, *, again: bool = False) -> None:
        """Get to the board's prompt, the first time this is called.

        again: later too, since the board may be silent or talk otherwise by now. Raises LinkError
        or Interrupted, with the state in which the board was left.
        """
        if self._attached and not again:
            return
        try:
            woke = self._find_prompt(again=again)
        except Interrupted as error:
            raise error.but(
                what="Stopped while looking for the board's prompt.",
                kept="The board's program was not touched.",
            ) from error
        if self._attached:
            return
        self._attached, self._woke = True, woke
        board = self._note_board()
        if not self.restarted_since_attach:
            return
        spec = ""
        if self.archive is not None and board is not None:
            spec = last_program(self.archive, board)
        self.emit(MemoryLost(_LOST_AT_OPENING, spec))

    def _find_prompt(self, *, again: bool) -> bool:
        """Get to the prompt, recognising a board that nobody named or that talks otherwise; whether
        it was heard starting."""
        woke = False
        is_new = self.choice.is_guess and not self.is_recognised
        if is_new:
            woke = self.foresight.restarts and self.dialogue.listen_starting()
            self._silent_start = self.dialogue.silent_start
            self._recognise()
        starting = self.foresight.restarts and not (is_new or self._attached)
        try:
            woke |= self.dialogue.attach(may_interrupt=self.choice.stop_running, starting=starting)
            if starting:
                self._silent_start = self.dialogue.silent_start
            return woke
        except LinkError as error:
            knows_already = self.is_recognised and not again
            if knows_already or error.reason not in _TALKS_OTHERWISE:
                raise
            if error.reason is LinkReason.RUNNING and asks(parts_of(self.wire.recent)[2]):
                raise
            self._recognise_after(error)
        return self.dialogue.attach(may_interrupt=self.choice.stop_running)

    def _recognise_after(self, failed: LinkError) -> None:
        """Recognise a board that did not talk as its profile says; what was found at first is told
        where nothing else is found."""
        try:
            self._recognise()
        except LinkError as error:
            if error.reason not in (LinkReason.SILENT, LinkReason.UNREADABLE):
                raise
            what = f"{failed.what} The other usual speeds were tried too."
            raise LinkError(
                what, reason=failed.reason, kept=failed.kept, advice=failed.advice
            ) from error

    def _recognise(self) -> None:
        """Find out how the board talks, say so, and talk so from now on."""
        self.is_recognised = True
        found = recognise(
            self.wire,
            self.choice.profile if self.choice.is_named else None,
            self.emit,
            may_stop=self.choice.stop_running,
        )
        self._is_known_kind = found.known
        self._talk_by(found.profile if found.known else as_heard(found.profile), found.sentence)

    def _talk_by(self, profile: Profile, sentence: str) -> None:
        """Say what was found out of the board, and talk to it by that from now on."""
        self.use(dataclasses.replace(self.choice, profile=profile, baud=0, is_guess=False))
        self.emit(BoardRecognised(sentence, self.profile))

    @contextlib.contextmanager
    def talking_as(self, found: Recognised) -> Iterator[None]:
        """Talk inside as the board was heard to talk, and afterwards as before."""
        before, was_known = self.choice, self._is_known_kind
        self._is_known_kind = found.known
        try:
            self.use(dataclasses.replace(before, profile=found.profile, baud=0))
            yield
        finally:
            self._is_known_kind = was_known
            with contextlib.suppress(LinkError):  # of a port that has just vanished
                self.use(before)

    def talk_by(self, profile: Profile) -> Dialogue:
        """Talk by a profile from now on, at its speed; returns the dialogue."""
        self.use(dataclasses.replace(self.choice, profile=profile, baud=0))
        return self.dialogue

    @property
    def is_attached(self) -> bool:
        """Whether the board's prompt was found since the port was opened."""
        return self._attached

    @property
    def restarted_since_attach(self) -> bool:
        """Whether the board restarted since the port was opened, or since `memory_is_known`."""
        return self._woke or self.wire.health.restarts > self._restarts_settled

    @property
    def restarts_on_open(self) -> bool | None:
        """What this opening taught: whether the board restarts; None where it taught nothing."""
        if not self._attached:
            return None
        if self._woke or self.wire.health.restarts:
            return True
        # Without a banner a restart may go by unseen, unless it was listened for: a board that was
        # silent for so long and then answered at once did not start meanwhile.
        told = self.wire.banner or self._silent_start
        return False if self.foresight.pulses and told else None

    def restart_line_pulled(self) -> None:
        """A job restarts the board: what is heard from now on says nothing of the opening."""
        self._told = True

    def memory_is_known(self) -> None:
        """A load was proven: an earlier restart says nothing about the memory any more."""
        self._restarts_settled = self.wire.health.restarts
        self._woke = False

    def use(self, choice: LinkChoice) -> None:
        """Talk over the same open port by another profile or speed from now on."""
        self.choice = choice
        self.profile = choice.effective
        self.dialogue = Dialogue(self.wire, self.profile, self.emit, evidence=self._evidence)
        self.wire.banner = self.profile.talk.banner.encode("latin-1", "replace")
        port, baud = self.wire.port, self.profile.talk.baud
        if isinstance(port, TunablePort) and port.baudrate != baud:
            port.baudrate = baud

    def learn(self, learned: Learned) -> None:
        """Take what the board was seen to do to lines into its profile, from now on."""
        rules = dataclasses.replace(self.choice.profile.rules, form=learned.form)
        self._talk_by(dataclasses.replace(self.profile, rules=rules), learned.sentence)
        self._note_board()

    def keep_heard(self) -> None:
        """Remember what was learnt of a board of no known kind while it was talked to."""
        heard = self.dialogue.profile
        if heard.is_unmeasured and heard != self.profile:
            self.profile = self.dialogue.profile = as_heard(heard)
            self.choice = dataclasses.replace(self.choice, profile=self.profile)
            self._note_board()

    def board_in(self, archive: Archive) -> Board:
        """This board's entry in the archive, made if it is new."""
        identity = self.identity
        is_named = self._is_known_kind and self.profile.name != HEARD
        return archive.board_seen(
            vid=identity.vid,
            pid=identity.pid,
            serial=identity.serial,
            location=identity.location,
            profile=self.profile.name if is_named else "",
            restarts_on_open=self._taught(),
        )

    def _note_board(self) -> Board | None:
        """Note in the archive that the board was seen; a job that keeps nothing can do without."""
        if self.archive is None:
            return None
        try:
            board = self.board_in(self.archive)
        except ArchiveError:
            self._told = False
            return None
        remember(board.uuid, self.choice.profile)
        return board

    def _taught(self) -> bool | None:
        """What the opening taught, told once: a restart later in the work is another matter."""
        if not self._attached or self._told:
            return None
        self._told = True
        return self.restarts_on_open

    @contextlib.contextmanager
    def unstoppable(self) -> Iterator[None]:
        """Let a stop that the user has asked for not reach what is done inside: putting back."""
        cancelled = self.wire.cancelled
        self.wire.cancelled = lambda: False
        try:
            yield
        finally:
            self.wire.cancelled = cancelled

    def abandon(self) -> None:
        """Leave the board at a prompt after a job was stopped half way; best effort.

        A board whose prompt was never found was given whole lines only, and is left as it is.
        """
        if not self._attached:
            return
        with self.unstoppable(), contextlib.suppress(HostlinkError):
            self.dialogue.regain(may_interrupt=True)


def _warning(port: str, foresight: Foresight) -> str:
    return (
        f"Opening {port} will probably restart the board ({foresight.why}): what its memory holds "
        "is lost then, unless it is stored in its EEPROM."
    )
