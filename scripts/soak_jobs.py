"""Whole jobs in virtual time under every fault, each drawn from its number.

After each job the board and the archive are looked at from outside (soak_truth.py) and compared
with what the job said. What must not be found, and what counts as it, stands there.
"""

from __future__ import annotations

import contextlib
import dataclasses
import itertools
import os
import tempfile
import traceback
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from soak_boards import PLAIN, Drawn, is_beyond_any_host
from soak_claims import untrue
from soak_doing import DOING, LEAST_LISTS, Doing
from soak_durable import Syncs, watched_syncs
from soak_expected import expected_in_capture, expected_in_load
from soak_making import Making, whole
from soak_truth import BoardTruth, Lines, Trouble, Witness, lines_of

import hostlink.jobs.session.session
from hostlink.archive import Archive, Origin
from hostlink.board.dialogue.events import Warned
from hostlink.errors import ExitStatus, HostlinkError
from hostlink.jobs.events import AlreadyKept, BackupKept, Event, KeptAs, MemoryLost, Rescued
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.patience import time_limit_s
from hostlink.jobs.session.session import Session
from hostlink.link.clock import VirtualClock
from hostlink.practice.port import PracticePort
from hostlink.sentences import MAY_HAVE_ONE_MORE

MOST_LIMITS = 3
"""Of virtual time, times what hostlink gives one program at the most: a backup reads one and may
put it back twice, the second time after an error."""
SLACK_S = 120.0  # beside it, to open the port and to leave the board in order
MOST_QUIET_SECONDS = 60.0  # of it, in which nothing is told
MOST_TURNS = 5_000_000  # of the pump, for a wait in which no time passes
JOBS_IN_ARCHIVE = 250  # then a new one is begun
UNPROVEN = "not proven"
"""The words by which a job says that captures and free memory contradict each other."""
CONTRADICTED = "that its listing leaves"
"""How an error ends that says so. In a warning the same words may be settled afterwards."""


class Hang(BaseException):
    """A job did not end in the time it may take. No handler of errors may catch it."""


class BoundedClock(VirtualClock):
    """Virtual time that ends after so many seconds."""

    def __init__(self, seconds: float) -> None:
        super().__init__()
        self._end = seconds

    def sleep(self, seconds: float) -> None:
        self.advance_to(self.now() + seconds)

    def advance_to(self, moment: float) -> None:
        if moment > self._end:
            raise Hang
        super().advance_to(moment)


@dataclass
class Outcome:
    """How one job ended. error: "" where it was done. troubles: what must not have happened.

    board: how its kind is called. fair: board, profile and job are such that it can succeed.
    beyond: the board lies in a way that no host could notice. expected: silent errors that the
    voting rules let through on average. seconds: of virtual time. unproven: it said that what it
    kept is not proven.
    """

    number: int
    kind: str
    fault: str
    board: str
    fair: bool
    beyond: bool = False
    error: str = ""
    unproven: bool = False
    troubles: list[Trouble] = field(default_factory=list)
    expected: float = 0.0
    seconds: float = 0.0

    def of(self, kind: str) -> list[str]:
        """The troubles of one kind, in words."""
        return [trouble.text for trouble in self.troubles if trouble.kind == kind]

    @property
    def done(self) -> bool:
        return not (self.error or self.unproven or self.of("hang") or self.of("uncaught"))

    @property
    def trouble(self) -> list[str]:
        """All of it, in words that name the job."""
        where = f"job {self.number} ({self.kind}, {self.fault}, {self.board})"
        return [f"{where}: {trouble.kind}: {trouble.text}" for trouble in self.troubles]


class VirtualJob:
    """One job on one board; `made` is what was drawn for it."""

    def __init__(
        self,
        number: int,
        archive: Archive,
        *,
        kind: str = "",
        fault: str = "",
        drawn: Drawn = PLAIN,
        syncs: Syncs | None = None,
        record: Path | None = None,
        doing: Doing | None = None,
    ) -> None:
        """kind, fault, drawn: as Making. syncs: as Witness. record: a file for the wire.

        doing: what it does in place of what its kind does.
        """
        made = self.made = Making(number, kind, fault, drawn)
        self.archive = archive
        self._doing = doing or DOING[made.kind]
        self.clock = BoundedClock(MOST_LIMITS * time_limit_s(made.profile) + SLACK_S)
        self.events: list[tuple[float, Event]] = []
        self.truth = BoardTruth(made.machine())
        self.start = self.truth.before  # what memory holds when the port is open
        self.target = made.as_stored(lines_of(made.material.text))
        self.witness = Witness(archive.path, syncs)
        asks = bool(made.profile.commands.free_memory)
        self.outcome = Outcome(
            number,
            made.kind,
            made.fault,
            drawn.name,
            fair=made.fair,
            beyond=is_beyond_any_host(drawn, made.faults, asks=asks),
        )
        self._record = record
        self._turns = 0
        self._one_more = False  # it was said that a line may have come to those of the board

    # --- running it -------------------------------------------------------------------------------

    def run(self) -> Outcome:
        """Do it, then look at everything behind the wire's back."""
        outcome = self.outcome
        newest = self.witness.newest_listing()
        try:
            self._keep_beforehand()
            with self._session() as session:
                self._doing(self, session)
        except Hang:
            self.trouble("hang", f"no end after {self.clock.now():.0f} s and {self._turns} turns")
        except HostlinkError as error:
            outcome.error = f"{type(error).__name__}: {error.what}"
            self._look_at_words(str(error))
            self._one_more = MAY_HAVE_ONE_MORE in str(error)
            outcome.unproven |= CONTRADICTED in error.what
            said = untrue(str(error), self.truth, self.start, self.witness)
            outcome.troubles += said
            if error.status is ExitStatus.DONE:
                self.trouble("uncaught", "it failed, with the exit status of success")
        except Exception:  # noqa: BLE001 - what is looked for
            self.trouble("uncaught", traceback.format_exc().splitlines()[-1])
        outcome.seconds = self.clock.now()
        self._look_at_silence()
        self._look_for_losses(newest)
        self.witness.close()
        return outcome

    def _keep_beforehand(self) -> None:
        """Let the archive have what is on the board, as if it had been saved once."""
        if self.made.drawn.kept and self.truth.before:
            rows = (f"{number} {text}\n" for number, text in self.truth.before.items())
            text = "".join(rows)
            held = dataclasses.replace(self.made.material, text=text, raw=text.encode())
            self.archive.keep(
                f"H{self.made.number}", held.content(self.made.profile), Origin("file")
            )

    @contextlib.contextmanager
    def _session(self) -> Iterator[Session]:
        def open_port(_name: str, baud: int) -> tuple[PracticePort, VirtualClock]:
            could_know = self.made.drawn.wrong != "talk.restarts_on_open"
            warned = any(isinstance(event, Warned) for _, event in self.events)
            self.truth.was_said = warned or not could_know
            port = PracticePort(self.truth.machine, self.clock, jump=self.clock.advance_to)
            port.baudrate = baud
            self.start = self.truth.memory
            return port, self.clock

        def cancelled() -> bool:
            self._turns += 1
            if self._turns > MOST_TURNS:
                raise Hang
            return False

        before = hostlink.jobs.session.opening.open_port
        hostlink.jobs.session.opening.open_port = open_port
        try:
            # Each job has a board of its own: what one taught the archive is none of another's.
            where = f"practice://soak{self.made.number}"
            choice = LinkChoice(where, self.made.profile, record=self._record)
            with open_session(choice, self._told, cancelled, archive=self.archive) as session:
                yield session
        finally:
            hostlink.jobs.session.opening.open_port = before

    def _told(self, event: Event) -> None:
        self.events.append((self.clock.now(), event))
        for each in dataclasses.fields(event):
            value = getattr(event, each.name)
            if isinstance(value, str):
                self._look_at_words(value)
        if isinstance(event, MemoryLost) and self.truth.was_erased_by_chance(self.start):
            self.start = self.truth.memory  # told before it was read: what is to be put back
        if isinstance(event, Rescued | KeptAs | AlreadyKept | BackupKept):
            self.outcome.troubles += self.witness.acknowledged(event.spec)
        if isinstance(event, Rescued) and self.truth.lists < LEAST_LISTS:
            self.wrong("called rescued, after one look")
        if isinstance(event, AlreadyKept):
            held = self.witness.lines_kept_as(event.spec)
            if held is not None and held not in self._true_programs():
                self.wrong(f"called kept already, but {event.spec} is another program")

    def _true_programs(self) -> list[Lines]:
        """Every program that this job can have met, as the board holds it or as it was given."""
        given = lines_of(self.made.material.text)
        held = [self.truth.before, self.start, *self.truth.slots_before.values()]
        return [*held, given, self.target]

    # --- whatever happened ------------------------------------------------------------------------

    def trouble(self, kind: str, text: str) -> None:
        """Note what must not have happened."""
        self.outcome.troubles.append(Trouble(kind, text))

    def wrong(self, what: str) -> None:
        """Note a silent error; but what was said not to be proven is no lie."""
        if not self.outcome.unproven:
            self.trouble("silent", what)

    def _look_at_words(self, said: str) -> None:
        self.outcome.unproven |= UNPROVEN in said
        if not said.isprintable():
            self.trouble("shown", f"not fit to be shown: {said!r}")

    def _look_at_silence(self) -> None:
        moments = [0.0, *(at for at, _ in self.events), self.clock.now()]
        gaps = (later - sooner for sooner, later in itertools.pairwise(moments))
        longest = max(gaps)
        if longest > MOST_QUIET_SECONDS:
            self.trouble("quiet", f"nothing was told for {longest:.0f} s")

    def _look_for_losses(self, newest: int) -> None:
        """What the job put into the archive is true; what it took off the board is there."""
        truth, kept = self.truth, self.witness.listings_since(newest)
        for lines in self.witness.listings_since(newest, proven=True):
            if lines not in self._true_programs():
                self.wrong("a listing was kept that the board never held")
        self.outcome.troubles += truth.losses(kept, one_more=self._one_more)
        self.outcome.troubles += self.witness.gone()
        end = (
            self.made.application_bytes if self.made.kind == "firmware" else len(truth.flash_before)
        )
        if truth.lost_flash(self.witness.archive, end):
            self.trouble("lost", "flash")
        told = any(isinstance(event, MemoryLost) for _, event in self.events)
        if truth.erased_by_opening and self.outcome.done and not told:
            self.wrong("opening the port emptied the board, and that was not told")

    # --- what the rules let through ---------------------------------------------------------------

    def _rate(self) -> float:
        return max(self.made.faults.to_board, self.made.faults.to_host)

    def expect_capture(self, session: Session, program: Lines) -> None:
        """Add the silent errors that one capture lets through on average."""
        need = session.dialogue.evidence.readings_needed()
        witness = bool(self.made.profile.commands.free_memory)
        self.outcome.expected += expected_in_capture(program, self._rate(), need, witness=witness)

    def expect_all(self, session: Session) -> None:
        """The same for memory and everything stored."""
        for program in (self.start, *self.truth.slots_before.values()):
            self.expect_capture(session, program)

    def expect_load(self, session: Session, program: Lines) -> None:
        """Add the silent errors that one load lets through on average."""
        clean = session.dialogue.evidence.is_clean
        self.outcome.expected += expected_in_load(
            program, self._rate(), echo=self.made.settings.echo, clean=clean
        )


def in_memory() -> Path | None:
    """Where files stand in memory only, None where the system has no such place."""
    memory = Path("/dev/shm")
    return memory if os.access(memory, os.W_OK) else None


@contextlib.contextmanager
def new_archive() -> Iterator[Archive]:
    """An archive for some jobs, on files in memory where the system has any."""
    with (
        tempfile.TemporaryDirectory(prefix="hostlink-soak-", dir=in_memory()) as name,
        Archive.open(Path(name) / "archive.sqlite3") as archive,
    ):
        yield archive


def run_jobs(first: int, count: int) -> list[Outcome]:
    """Jobs of the soak, by their numbers."""
    outcomes = []
    syncs = watched_syncs()
    for begin in range(first, first + count, JOBS_IN_ARCHIVE):
        with new_archive() as archive:
            for number in range(begin, min(begin + JOBS_IN_ARCHIVE, first + count)):
                job = VirtualJob(number, archive, **whole(number), syncs=syncs)
                outcomes.append(job.run())
            outcomes[-1].troubles += [
                Trouble("archive", f"damaged: {finding}") for finding in archive.prove().findings
            ]
    return outcomes
