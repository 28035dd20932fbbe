"""Random kinds of practice board (see soak_kind_space), each surveyed and used.

`try_kind` surveys a board of a kind with storing, keeps the profile as the text of its file, and by
that loads and saves programs. What the board holds is read behind the wire's back. A program that
was saved is loaded again: that must change nothing.
"""

from __future__ import annotations

import contextlib
import dataclasses
import os
import random
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field

from bench_report import Section, Target
from soak_drawn import a_program
from soak_jobs import BoundedClock, Hang, new_archive
from soak_kind_space import draw_kind
from soak_kinds import profile_of

import hostlink.jobs.session.session
from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.board.profile.text import profile_text, read_profile
from hostlink.board.survey.steps import Consent
from hostlink.errors import HostlinkError, LinkError, LinkReason, NotKnownError
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.jobs.surveying import SurveyOptions, survey
from hostlink.link.clock import VirtualClock
from hostlink.listing import Listing
from hostlink.listing.canonical import canonical_lines
from hostlink.practice.basic import Basic
from hostlink.practice.kind import BoardKind
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort

PROGRAMS = 5
_AGAIN = 2  # of them that are loaded again as they were saved
_SMALL = 0.5  # programs with small letters in remarks and quoted text
_APART = re.compile(r'(?<=REM ).*|"[^"]*"')
MOST_SECONDS = 7200.0  # of virtual time, for one board
_LINES = (3, 5, 8, 12)
_NOT_UNDERSTOOD = (
    *(LinkReason.RUNNING, LinkReason.UNREADABLE, LinkReason.SILENT),
    *(LinkReason.FLOODING, LinkReason.LOOPED),
)

Lines = dict[int, bytes]


@dataclass
class Tried:
    """How a random kind went. unsaid: what must not be. apart: what is said not to be known, and
    stopped what overwrites; "" where all programs went there and back."""

    number: int
    apart: str = ""
    unsaid: list[str] = field(default_factory=list)
    programs: int = 0


class _Trial:
    """One board of a random kind, with the kind's own truth."""

    def __init__(self, kind: BoardKind, archive: Archive) -> None:
        self.kind = kind
        self.archive = archive
        self.true = profile_of(kind)
        self.machine = Machine(kind=kind)
        self.machine.basic.answered = True
        self.machine.resume()
        self.machine.run_until(0.0)
        self.clock = BoundedClock(MOST_SECONDS)
        self.clock.sleep(1.0)
        self.machine.run_until(1.0)
        self.machine.host_reads(1.0, 1 << 16)

    def held_after(self, text: str) -> Lines:
        """What a board of this kind holds when a listing was typed at it."""
        board = Basic(dataclasses.replace(self.kind))
        for row in text.splitlines():
            list(board.enter(row.encode("latin-1")))
        return dict(board.lines)

    @property
    def memory(self) -> Lines:
        return dict(self.machine.basic.lines)

    def program(self, choose: random.Random, lines: int = 0) -> str:
        """A listing of so many lines, 0 for any, of which the board takes every one."""
        while True:
            text = a_program(choose, lines or choose.choice(_LINES)).upper()
            if choose.random() < _SMALL:
                text = _APART.sub(lambda found: found[0].lower(), text)
            if len(self.held_after(text)) == len(text.splitlines()):
                return text

    def put(self, text: str) -> None:
        self.machine.basic._state.memory.replace(self.held_after(text))

    @contextlib.contextmanager
    def session(self, profile: Profile, *, is_guess: bool = False) -> Iterator[Session]:
        def open_port(_name: str, baud: int) -> tuple[PracticePort, VirtualClock]:
            port = PracticePort(self.machine, self.clock, jump=self.clock.advance_to)
            port._origin = 0.0
            port.baudrate = baud
            return port, self.clock

        before = hostlink.jobs.session.opening.open_port
        hostlink.jobs.session.opening.open_port = open_port
        try:
            choice = LinkChoice(f"practice://{self.kind.name}", profile, is_guess=is_guess)
            with open_session(choice, lambda _event: None, archive=self.archive) as opened:
                yield opened
        finally:
            hostlink.jobs.session.opening.open_port = before

    def is_kept(self, spec: str, held: Lines) -> bool:
        """Whether a revision is the program that the board holds, by the rules of its kind."""
        text = self.archive.content(self.archive.revision(spec)).text
        texts = {number: row.decode("latin-1").removeprefix(" ") for number, row in held.items()}
        rows = "".join(f"{number} {row}\n" for number, row in texts.items())
        got, due = (Listing.from_text(each).numbered() for each in (text, rows))
        return bool(canonical_lines(got, self.true.rules) == canonical_lines(due, self.true.rules))

    def is_safe(self, held: Lines) -> bool:
        """Whether a program is on the board, or in the archive."""
        specs = [each.spec for each in self.archive.rescues()]
        specs += [f"{each}{place}@1" for each in "PS" for place in range(PROGRAMS)]
        for spec in specs:
            with contextlib.suppress(HostlinkError):  # of a program that was not kept
                if self.is_kept(spec, held):
                    return True
        return self.memory == held


@contextlib.contextmanager
def _own_profiles() -> Iterator[None]:
    """Keep what is remembered of boards in a folder that goes away."""
    with tempfile.TemporaryDirectory(prefix="hostlink-soak-") as folder:
        before = os.environ.get("HOSTLINK_PROFILES")
        os.environ["HOSTLINK_PROFILES"] = folder
        try:
            yield
        finally:
            if before is None:
                del os.environ["HOSTLINK_PROFILES"]
            else:
                os.environ["HOSTLINK_PROFILES"] = before


def try_kind(number: int) -> Tried:
    """Survey a board of a random kind with storing; load and save programs by what was kept."""
    return try_board(draw_kind(number), number)


def try_board(kind: BoardKind, number: int, *, lines: int = 0) -> Tried:
    """As try_kind, with a board of this kind. lines: of the program that it holds, 0 for any."""
    choose = random.Random(f"programs {number}")
    tried = Tried(number)
    with _own_profiles(), new_archive() as archive:
        trial = _Trial(kind, archive)
        trial.put(trial.program(choose, lines))
        held = trial.memory
        try:
            profile = _surveyed(trial, number)
            if trial.memory != held:
                tried.unsaid.append("the survey did not put the program back")
            for _ in range(PROGRAMS):
                held = trial.memory
                _there_and_back(trial, profile, trial.program(choose), tried)
            held = trial.memory
        except (NotKnownError, LinkError) as error:
            is_honest = isinstance(error, NotKnownError) or error.reason in _NOT_UNDERSTOOD
            if not is_honest or (trial.memory != held and "rescue@" not in str(error)):
                tried.unsaid.append(f"failed: {error}")
            tried.apart = str(error)
        except HostlinkError as error:
            tried.unsaid.append(f"failed: {error}")
        except Hang:
            tried.unsaid.append("the job does not end")
        if not trial.is_safe(held):
            tried.unsaid.append("the program is neither on the board nor in the archive")
    return tried


def kept_of(kind: BoardKind, number: int) -> Profile:
    """The profile that a survey with storing proposes of a board of a kind."""
    with _own_profiles(), new_archive() as archive:
        trial = _Trial(kind, archive)
        trial.put(trial.program(random.Random(f"programs {number}")))
        return _surveyed(trial, number)


def _surveyed(trial: _Trial, number: int) -> Profile:
    """The profile that a survey with storing proposes, read back from its file."""
    options = SurveyOptions(name=f"kept-{number}", consent=Consent(storing=True))
    with trial.session(find_profile("tiny"), is_guess=True) as session:
        profile = survey(session, trial.archive, options).profile
    return read_profile(profile_text(profile), f"kept-{number}.toml")


def _there_and_back(trial: _Trial, profile: Profile, text: str, tried: Tried) -> None:
    name = f"P{tried.programs}"
    with trial.session(profile) as session:
        material = from_bytes(text.encode("latin-1"), name, name=name)
        load(session, trial.archive, material, LoadOptions(despite_review=True))
    if trial.memory != trial.held_after(text):
        tried.unsaid.append(f"called loaded, and the board holds something else: {text!r}")
    with trial.session(profile) as session:
        saved = save(session, trial.archive, SaveOptions(name=f"S{tried.programs}"))
    text = trial.archive.content(saved.revision).text
    if tried.programs < _AGAIN:
        held = trial.memory
        with trial.session(profile) as session:
            material = from_bytes(text.encode("latin-1"), f"{name}A", name=f"{name}A")
            load(session, trial.archive, material, LoadOptions(despite_review=True))
        if trial.memory != held:
            tried.unsaid.append(f"what was saved is another program when it is loaded: {text!r}")
    if not trial.is_kept(saved.revision.spec, trial.memory):
        tried.unsaid.append(f"saved {saved.revision.spec} as something else than the board holds")
    tried.programs += 1


def section_of(results: list[Tried]) -> Section:
    """The table of a run over random kinds."""
    apart = [each for each in results if each.apart]
    bad = [each for each in results if each.unsaid]
    row = {
        "trial": "random kinds",
        "trials": len(results),
        "programs": sum(each.programs for each in results),
        "apart": len(apart),
        "unsaid": len(bad),
    }
    targets = [Target.at_most("kinds on which something unsaid happened", len(bad), 0)]
    notes = [f"kind {each.number}, apart: {each.apart}" for each in apart]
    return Section("soak of random kinds", [row], targets, tuple(notes))
