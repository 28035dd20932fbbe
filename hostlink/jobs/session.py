"""One open port for the whole of a job: opened once, the prompt found once, closed once."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from hostlink.archive import Archive, Board
from hostlink.board.dialogue import Dialogue
from hostlink.board.ports import Identity, identity_of
from hostlink.board.profile import Profile
from hostlink.errors import HostlinkError
from hostlink.jobs.events import Emit
from hostlink.link.opening import open_port
from hostlink.link.recording import Recorder
from hostlink.link.wire import Wire


@dataclass(frozen=True, slots=True)
class LinkChoice:
    """Which board to talk to and how.

    port: a device name or address. baud: overrides the profile's speed where not 0. record: a file
    for the recording of the wire. stop_running: consent to interrupt a running program.
    """

    port: str
    profile: Profile
    baud: int = 0
    record: Path | None = None
    stop_running: bool = False

    @property
    def effective(self) -> Profile:
        """The profile with the chosen speed."""
        if not self.baud:
            return self.profile
        talk = dataclasses.replace(self.profile.talk, baud=self.baud)
        return dataclasses.replace(self.profile, talk=talk)


class Session:
    """A board attached for as long as the `with` block lasts."""

    def __init__(
        self, choice: LinkChoice, emit: Emit, cancelled: Callable[[], bool] = lambda: False
    ) -> None:
        self.choice = choice
        self.emit = emit
        self.profile = choice.effective
        self.identity: Identity = identity_of(choice.port)
        recorder = Recorder(choice.record) if choice.record is not None else None
        port, clock = open_port(choice.port, self.profile.talk.baud)
        banner = self.profile.talk.banner.encode("latin-1", "replace")
        self.wire = Wire(port, clock, banner=banner, recorder=recorder, cancelled=cancelled)
        self.dialogue = Dialogue(self.wire, self.profile, emit)
        self._attached = False

    def __enter__(self) -> Session:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with contextlib.suppress(HostlinkError):
            self.wire.close()

    def attach(self) -> None:
        """Get to the board's prompt, the first time this is called."""
        if not self._attached:
            self.dialogue.attach(may_interrupt=self.choice.stop_running)
            self._attached = True

    @property
    def restarted_since_attach(self) -> bool:
        """Whether the board's banner came by since the port was opened."""
        return self.wire.health.restarts > 0

    def board_in(self, archive: Archive) -> Board:
        """This board's entry in the archive, made if it is new."""
        identity = self.identity
        return archive.board_seen(
            vid=identity.vid,
            pid=identity.pid,
            serial=identity.serial,
            location=identity.location,
            profile=self.profile.name,
        )

    def abandon(self) -> None:
        """Leave the board at a prompt after a job was stopped half way; best effort."""
        self.wire.cancelled = lambda: False
        with contextlib.suppress(HostlinkError):
            self.dialogue.regain(may_interrupt=True)
