"""Random kinds of practice board, drawn from the whole space of kinds, each surveyed and used.

`draw_kind` gives the same kind for a number every time. `try_kind` surveys a board of it with
storing, keeps the profile as the text of its file, and by that loads and saves programs. What the
board holds is read behind the wire's back.
"""

from __future__ import annotations

import contextlib
import dataclasses
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from bench_report import Section, Target
from soak_drawn import a_program
from soak_jobs import BoundedClock, Hang, new_archive
from soak_kinds import profile_of

import hostlink.jobs.session
from hostlink.archive import Archive
from hostlink.board.profile import Profile
from hostlink.board.profile_file import find_profile, profile_text, read_profile
from hostlink.board.survey.steps import Consent
from hostlink.errors import HostlinkError, LinkError, LinkReason, NotKnownError
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.material import from_bytes
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session import LinkChoice, Session
from hostlink.jobs.surveying import SurveyOptions, survey
from hostlink.link.clock import VirtualClock
from hostlink.listing import Listing
from hostlink.listing.canonical import canonical_lines
from hostlink.practice.bare import drive
from hostlink.practice.basic import Basic
from hostlink.practice.kind import Kind, Language, Messages, Shelf, Storage
from hostlink.practice.kind_checks import clashes
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

PROGRAMS = 5
MOST_SECONDS = 7200.0  # of virtual time, for one board
_LINES = (3, 5, 8, 12)
_LAID_OUT = (
    *("{number} {text}", "{number:>5} {text}", "{number:>5}: {text}", "{number}: {text}"),
    *(" {number} {text}", "{number:>5}{text}"),
)
_NOT_UNDERSTOOD = (LinkReason.RUNNING, LinkReason.UNREADABLE, LinkReason.SILENT)
_TOKEN_WORDS = ("GOTO", "GOSUB", "FOR", "IF", "INPUT", "LET", "NEXT", "PRINT", "REM", "RETURN")

Lines = dict[int, bytes]


def draw_kind(number: int) -> Kind:
    """Return the kind of that number: of each part, values that clash with no other.

    Messages and words are taken whole from the kinds that are shipped, since they belong together.
    A board that keeps the blank behind the number and lists one more is left out: each time its
    listing is typed at it again, every line has one blank more.
    """
    choose = random.Random(f"kind {number}")
    shipped = [find_kind(name) for name in kind_names()]
    while True:
        messages = choose.choice(shipped).messages
        language = choose.choice(shipped).language
        shelf = _shelf(choose, language)
        kind = Kind(
            name=f"random-{number}",
            title=f"random kind {number}",
            settings=_settings(choose),
            storage=_storage(choose),
            messages=_messages(choose, messages, language),
            language=_language(choose, language),
            shelf=shelf,
        )
        if not clashes(kind) and _tells_when_done(kind):
            return kind


def _tells_when_done(kind: Kind) -> bool:
    """Whether a stored line has any answer, without which no host could know that it was."""
    return kind.settings.echo or bool(kind.settings.prompt)


def _settings(choose: random.Random) -> BoardSettings:
    pages = choose.random() < 0.15
    line_end = choose.choice([b"\r", b"\r", b"\n", b"\r\n"])
    return BoardSettings(
        baud=choose.choice([1200, 2400, 9600, 19200, 38400, 57600, 115200]),
        latency_ms=choose.choice([1.0, 16.0]),
        receive_buffer=choose.choice([0, 1, 2, 3, 16, 63, 127]),
        transmit_buffer=choose.choice([0, 63]),
        echo=choose.random() < 0.85,
        prompt=choose.choice([b"+ ", b"> ", b">", b"]", b"ok\r\n", b"board: ", b"=> ", b". ", b""]),
        line_end=line_end,
        reply_end=choose.choice([b"\r\n", b"\r\n", b"\n\r", b"\n", b"\r"]),
        also_ends=choose.choice([b"", b"\n"]) if line_end == b"\r" else b"",
        fold_case=choose.random() < 0.2,
        longest_line=choose.choice([64, 71, 72, 79, 120, 249]),
        too_long=choose.choice(["dropped", "dropped", "ends", "gives-up"]),
        too_long_answer=choose.choice([b"\x07", b"", b"\b"]),
        ignored=choose.choice([b"", b"\x03"]),
        controls=choose.choice(["dropped", "echoed", "text"]),
        line_done=choose.choice(["echo", "prompt", "prompt", "after-prompt"]),
        prompt_late_ms=choose.choice([0.0, 0.0, 30.0]),
        line_ms=choose.choice([1.0, 5.0, 15.0, 40.0]),
        direct_ms=choose.choice([1.0, 2.0, 10.0]),
        char_ms=choose.choice([0.0, 0.0, 0.5, 2.0]),
        erase=choose.choice([b"\x08", b"\x7f", b""]),
        line_cancel=choose.choice([b"\x15", b"\x18", b""]),
        interrupt=choose.choice([b"\x03", b"\x1b", b"#"]),
        interrupt_typed=choose.choice(["at-once", "as-answer", "as-text"]),
        screen_width=choose.choice([0, 32, 40, 72]),
        wrap_ms=choose.choice([0.0, 0.0, 3.0]),
        page_lines=choose.choice([10, 20]) if pages else 0,
        page_prompt=choose.choice([b"-- more --", b"(blank for more)", b"MORE?"]),
        page_key=choose.choice([b"", b" "]),
        program_bytes=choose.choice([999, 1039, 2000, 4096]),
        eeprom_bytes=1024,
        restart_ms=choose.choice([300.0, 1000.0]),
        bootloader=False,
        seed=choose.getrandbits(16),
    )


def _storage(choose: random.Random) -> Storage:
    tokens = choose.random() < 0.35
    last = choose.choice([9999, 32767, 32767, 63999, 65529])
    blanks = ["after-number", "after-number", "kept", *(["squeezed"] if tokens else [])]
    kept = (blank := choose.choice(blanks)) == "kept"
    return Storage(
        form="tokens" if tokens else "text",
        case=choose.choice(["kept", "kept", "statements", "all"]),
        blanks=blank,  # type: ignore[arg-type]
        number_bytes=2,
        length_bytes=choose.choice([0, 1, 2]),
        end_bytes=choose.choice([0, 1]),
        keywords=_TOKEN_WORDS if tokens else (),
        constant_bytes=choose.choice([0, 3]) if tokens else 0,
        name_bytes=choose.choice([0, 2, 3]) if tokens else 0,
        first_line=choose.choice([0, 1]),
        last_line=last,
        beyond=choose.choice(["refused", "wrapped"]),
        signed_numbers=last > 32767 and choose.random() < 0.3,
        row="{number:>5}{text}" if kept else choose.choice(_LAID_OUT),
        row_width=choose.choice([0, 0, 0, 33, 40]),
        typed_within=choose.choice([0, 0, 4]),
        when_full=choose.choice(["refused", "stuck"]),
        checked=choose.random() < 0.15,
    )


def _messages(choose: random.Random, messages: Messages, language: Language) -> Messages:
    """Those of a kind, at times with a word that comes after every command, or an odd listing."""
    changed = messages
    if choose.random() < 0.2:
        changed = dataclasses.replace(changed, done="OK{end}", done_after=(), done_blank=True)
    if choose.random() < 0.15:
        changed = dataclasses.replace(changed, list_begin="PROGRAM{end}", list_end="END{end}")
    if not changed.list_row.endswith("{end}"):  # then what follows begins with the end of a row
        ends = {
            name: "{end}" + text.removeprefix("{end}")
            for name in ("done", "list_end")
            if (text := getattr(changed, name))
        }
        changed = dataclasses.replace(changed, **ends)
    if not dict(language.words)["memory"]:
        changed = dataclasses.replace(changed, memory="{free}{end}")
    return changed


def _language(choose: random.Random, language: Language) -> Language:
    return dataclasses.replace(
        language,
        small_letters=choose.random() < 0.6,
        quotes=choose.choice(['"', '"', "\"'"]),
        free=choose.choice(["ROOM()", "SIZE", "FRE(0)", language.free]),
        number=choose.choice(["blank", "signed", "spaced", "bare", "field"]),
        list_one=choose.random() < 0.5,
    )


def _shelf(choose: random.Random, language: Language) -> Shelf:
    words = dict(language.words)
    if not (words["store"] and words["recall"]):
        return Shelf(slots="none")
    return Shelf(
        slots=choose.choice(["named", "one"]),
        quoted=choose.random() < 0.5,
        shows=choose.choice(["names", "program", "nothing"]) if words["stored"] else "nothing",
        runs_at_start=choose.random() < 0.5,
    )


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

    def __init__(self, kind: Kind, archive: Archive) -> None:
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
            drive(board.enter(row.encode("latin-1")))
        return dict(board.lines)

    @property
    def memory(self) -> Lines:
        return dict(self.machine.basic.lines)

    def program(self, choose: random.Random, lines: int = 0) -> str:
        """A listing of so many lines, 0 for any, of which the board takes every one."""
        while True:
            text = a_program(choose, lines or choose.choice(_LINES)).upper()
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

        before = hostlink.jobs.session.open_port
        hostlink.jobs.session.open_port = open_port
        try:
            choice = LinkChoice(f"practice://{self.kind.name}", profile, is_guess=is_guess)
            with Session(choice, lambda _event: None, archive=self.archive) as opened:
                yield opened
        finally:
            hostlink.jobs.session.open_port = before

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


def try_kind(number: int) -> Tried:
    """Survey a board of a random kind with storing; load and save programs by what was kept."""
    return try_board(draw_kind(number), number)


def try_board(kind: Kind, number: int, *, lines: int = 0) -> Tried:
    """As try_kind, with a board of this kind. lines: of the program that it holds, 0 for any."""
    choose = random.Random(f"programs {number}")
    tried = Tried(number)
    with new_archive() as archive:
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
