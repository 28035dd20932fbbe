"""Try a listing without a board: run it on a practice board, and compare with what is expected.

What is expected of a program is kept in the archive as a run of one of its revisions that is marked
as expected, so that it is found, exported, merged and never changed. The newest one counts.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from hostlink.archive import Archive, Revision, RunEnd, RunText
from hostlink.archive.runs import MOST_BYTES, Outcome, Run
from hostlink.board.dialogue.reported_errors import find_reported_error
from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.board.profile.model import Profile
from hostlink.board.twin import kind_like
from hostlink.errors import HostlinkError, RefusedError, UsageError
from hostlink.jobs.listing_source import from_archive
from hostlink.jobs.stepping import put_out
from hostlink.practice.kind import BoardKind
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.pin_bank import PinInput
from hostlink.practice.values import Variables
from hostlink.practice.walk import MOST_STATEMENTS, End, Walk
from hostlink.sentences import cannot_run

COMMAND = "try"
"""The first word in the command of a kept run without a board; more of its setting follows."""
_MORE = ("statements", "seconds", "pins")
_ADDED = ("pin ", "ended by ")
EXPECTED_UNCHANGED = "The expected output was not changed."
_AT_ONCE = 5000  # statements, a few milliseconds, between two checks whether to stop


@dataclass(frozen=True, slots=True)
class Setting:
    """How a listing is tried: the same setting gives the same run every time.

    profile: its name. inputs: the lines for INPUT. statements: how many are run at most. seconds:
    the limit in the board's own time, 0 for none. pins: the input at its pins.
    """

    profile: str
    inputs: tuple[str, ...] = ()
    statements: int = MOST_STATEMENTS
    seconds: float = 0.0
    pins: tuple[PinInput, ...] = ()

    @property
    def command(self) -> str:
        """Return the command to keep with a run: the parts of the setting that no column holds."""
        held = {name: value for name, value in asdict(self).items() if name in _MORE and value}
        return f"{COMMAND} {json.dumps(held)}"

    def begin(self, text: str, profile: Profile) -> Walk:
        """Return the run of a listing before its first statement. Raises RefusedError."""
        return Walk(text, kind_for(profile), self.inputs, self.pins)

    def finish(self, walk: Walk, stopped: Callable[[], bool] = lambda: False) -> End:
        """Run to the end, or as far as the setting and `stopped` allow."""
        while not stopped():
            most = min(walk.statements + _AT_ONCE, self.statements)
            ended = walk.run(most, self.seconds)
            if ended != "statements" or most == self.statements:
                return ended
        return "stopped"


@dataclass(frozen=True, slots=True)
class Tried:
    """A listing that was tried. expected: the run that it should equal, None if there is none."""

    label: str
    profile: Profile
    setting: Setting
    walk: Walk
    ended: End
    expected: Run | None = None

    @property
    def output(self) -> str:
        """Return what it printed, without the error for a word that is not simulated."""
        end = self.walk.error_text if self.walk.missing else ""
        return self.walk.output.removesuffix(end)

    @property
    def rows(self) -> tuple[str, ...]:
        """Return what it printed and put out at pins, and how it ended unless at its end."""
        rows = self.output.splitlines()
        rows += [f"pin {each.pin}: {put_out(each)}" for each in self.walk.state.pins.changes]
        return (*rows, *([] if self.ended == "end" else [f"ended by {self.ended}"]))

    @property
    def differs(self) -> list[str]:
        """Return what is not as expected, as a unified diff without its heading."""
        wanted = self.rows if self.expected is None else self.expected.printed.rows
        return list(difflib.unified_diff(wanted, self.rows, n=0, lineterm=""))[2:]

    @property
    def error(self) -> str:
        """Return the error that stopped it, in the words that `run` shows, or ""."""
        found = find_reported_error(self.walk.output.splitlines(), self.profile)
        return found.message if self.walk.error and found is not None else self.walk.error

    def as_dict(self) -> dict[str, object]:
        """Return the try for JSON output."""
        walk, expected = self.walk, self.expected
        return {
            "listing": self.label,
            "profile": self.setting.profile,
            "output": self.output,
            "cut": walk.cut,
            "ended": self.ended,
            "error": cannot_run(walk.missing) if walk.missing else walk.error or None,
            "line": walk.stood_at,
            "lacked": walk.lacked,
            "question": walk.question,
            "statements": walk.statements,
            "seconds": round(walk.seconds, 3),
            "free_bytes": walk.board.free(),
            "pins": [asdict(each) for each in walk.state.pins.changes],
            "expected": expected and {"revision": expected.revision, "differs": self.differs},
        }


def kind_for(profile: Profile) -> BoardKind:
    """Return the practice board of a profile: its own kind, else one made from the profile."""
    if profile.name in shipped_profiles() and profile.name in kind_names():
        return find_kind(profile.name)
    return kind_like(profile)


def trace(
    walk: Walk, setting: Setting, stopped: Callable[[], bool] = lambda: False
) -> Iterator[dict[str, Any]]:
    """Run as `Setting.finish` does, and yield each statement for JSON output.

    The keys give its number, its line, the time in ms when it was over, the variables that it set,
    and what it printed.
    """
    while not stopped():
        before, done_before = Variables(walk.state.variables), walk.statements
        line, printed = walk.line, walk.printed
        walk.run(min(done_before + 1, setting.statements), setting.seconds)
        if walk.statements == done_before or walk.ended == "input":
            return
        now = walk.state.variables
        changed = () if now == before else {**before, **now}
        yield {
            "statement": walk.statements,
            "line": line,
            "ms": round(walk.seconds * 1000, 3),
            "sets": {name: now[name] for name in changed if now[name] != before[name]},
            "prints": walk.printed_since(printed),
        }


def expect(archive: Archive, revision: Revision, tried: Tried) -> Tried:
    """Keep what a revision did as what is expected of its program.

    Raises RefusedError if it did not end, did too much, or needs what is not simulated.
    """
    if word := tried.walk.missing:
        raise RefusedError(
            f"What {revision.spec} prints is not known, since {cannot_run(word)}.",
            kept=EXPECTED_UNCHANGED,
            advice="Run it on a board.",
        )
    walk, setting, rows = tried.walk, tried.setting, tried.rows
    too_much = walk.cut or sum(map(len, (*rows, *setting.inputs))) > MOST_BYTES
    if tried.ended in ("statements", "stopped") or too_much:
        much = f"The output and answers of {revision.spec} exceed {MOST_BYTES:,} characters."
        raise RefusedError(
            much if too_much else f"{revision.spec} did not come to an end.",
            kept=EXPECTED_UNCHANGED,
            advice=lambda by: f"Stop it earlier {by.allow_time}.",
        )
    outcomes: dict[End, Outcome] = {"end": "done", "error": "error"}
    kept = archive.keep_run(
        RunText(rows),
        RunEnd(outcomes.get(tried.ended, "interrupted"), tried.error, walk.board.failed_line),
        seconds=walk.seconds,
        revision=revision,
        profile=setting.profile,
        command=setting.command,
        typed=setting.inputs,
        expected=True,
    )
    return replace(tried, expected=kept)


def expectations(archive: Archive, program: str | None = None) -> dict[str, tuple[Run, Setting]]:
    """Return the expected run of each program, or of one, by name, with its setting."""
    held: dict[str, tuple[Run, Setting]] = {}
    for run in sorted(archive.runs(program, expected=True), key=lambda run: run.at, reverse=True):
        if setting := setting_of(run):
            held.setdefault(run.program, (run, setting))
    return held


def printed_by(run: Run) -> Sequence[str]:
    """Return the rows that a program printed, without those that a run without a board adds."""
    rows = list(run.printed.rows)
    while rows and rows[-1].startswith(_ADDED) and setting_of(run):
        rows.pop()
    return rows


def setting_of(run: Run) -> Setting | None:
    """Return how a run without a board was tried; None for any other run, or if unreadable."""
    word, _, more = run.command.partition(" ")
    if word != COMMAND:
        return None
    try:
        held = json.loads(more)
        held["pins"] = tuple(PinInput(**each) for each in held.get("pins", ()))
        return Setting(run.profile, run.typed.rows, **held)
    except (AttributeError, TypeError, ValueError, RecursionError):
        return None


def check_all(
    archive: Archive, tag: str | None, stopped: Callable[[], bool]
) -> Iterator[tuple[Run, Tried | HostlinkError]]:
    """Try the latest revision of each program with an expected run, until `stopped`.

    Yield the expected run and the result, or an error if the program could not be tried.
    tag: only programs with that tag. Raises UsageError if there is none.
    """
    held = expectations(archive)
    wanted = [program.name for program in archive.programs(tag=tag) if program.name in held]
    if not wanted:
        where = f" with the tag {tag}" if tag else ""
        raise UsageError(
            f"No program{where} in the archive has expected output.",
            advice=lambda by: f"Keep what a program prints as expected {by.expect('PROGRAM')}.",
        )
    for name in wanted:
        expected, setting = held[name]
        try:
            material, profile = from_archive(name, archive), find_profile(setting.profile)
            walk = setting.begin(material.text, profile)
        except HostlinkError as error:
            yield expected, error
            continue
        ended = setting.finish(walk, stopped)
        if ended == "stopped":
            return
        yield expected, Tried(material.label, profile, setting, walk, ended, expected)
