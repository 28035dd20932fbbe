"""Try a listing without a board: run it on a practice board, and hold it to what is expected.

What is expected of a program is kept in the archive as a run of one of its revisions that is marked
as expected, so that it is found, exported, merged and never changed. The newest one counts.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from hostlink.archive import Archive, Revision, RunEnd, RunText
from hostlink.archive.runs import MOST_BYTES, Outcome, Run
from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.board.profile.model import Profile
from hostlink.board.twin import kind_like
from hostlink.errors import HostlinkError, RefusedError, UsageError
from hostlink.jobs.listing_source import from_archive
from hostlink.jobs.stepping import LETTERS, put_out
from hostlink.practice.kind import BoardKind
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.pin_bank import PinInput
from hostlink.practice.walk import MOST_STATEMENTS, End, Walk

COMMAND = "try"
"""Begins the command of a run without a board; behind it stands what else its setting holds."""
_MORE = ("statements", "seconds", "pins")


@dataclass(frozen=True, slots=True)
class Setting:
    """How a listing is tried: the same setting gives the same run every time.

    profile: its name. inputs: the lines for INPUT. statements: how many are run at most. seconds:
    stop after so many seconds of the board's own time, 0 for not. pins: what comes to its pins.
    """

    profile: str
    inputs: tuple[str, ...] = ()
    statements: int = MOST_STATEMENTS
    seconds: float = 0.0
    pins: tuple[PinInput, ...] = ()

    @property
    def command(self) -> str:
        """Return what of the setting a kept run has no column for, as its command."""
        held = {name: value for name, value in asdict(self).items() if name in _MORE and value}
        return f"{COMMAND} {json.dumps(held)}"

    def begin(self, text: str, profile: Profile) -> Walk:
        """Return the run of a listing before its first statement. Raises RefusedError."""
        return Walk(text, kind_for(profile), self.inputs, self.pins)

    def finish(self, walk: Walk) -> End:
        """Run to the end, or as far as the setting allows."""
        return walk.run(self.statements, self.seconds)


@dataclass(frozen=True, slots=True)
class Expectation:
    """What a program is expected to do. revision: the spec of the one that did it.

    rows: what it printed, what it put out at pins, and how it ended if not at its end.
    """

    program: str
    revision: str
    setting: Setting
    rows: tuple[str, ...]

    def differences(self, walk: Walk, ended: End) -> list[str]:
        """Return the rows that differ in a run, as a unified diff without its heading."""
        return list(difflib.unified_diff(self.rows, outcome_rows(walk, ended), n=0, lineterm=""))[
            2:
        ]


@dataclass(frozen=True, slots=True)
class Checked:
    """A program held to what is expected.

    spec: the revision that was tried. differs: the rows that differ. failed: why it could not be
    tried, or "".
    """

    expectation: Expectation
    spec: str
    differs: list[str]
    failed: str = ""


def kind_for(profile: Profile) -> BoardKind:
    """Return the practice board of a profile: its own kind, else one made of the profile."""
    if profile.name in shipped_profiles() and profile.name in kind_names():
        return find_kind(profile.name)
    return kind_like(profile)


def outcome_rows(walk: Walk, ended: End) -> tuple[str, ...]:
    """Return what a program did, as the rows of an `Expectation`."""
    rows = walk.output.splitlines()
    rows += [f"pin {each.pin}: {put_out(each)}" for each in walk.state.pins.changes]
    return (*rows, *([] if ended == "end" else [f"ended by {ended}"]))


def trace(walk: Walk, setting: Setting) -> Iterator[dict[str, Any]]:
    """Run as `Setting.finish` does, and yield every statement, as it stands in JSON.

    Its number, its line, the time in ms when it was over, the variables that it set, and what it
    printed.
    """
    before = list(walk.state.variables)
    while walk.statements < setting.statements and walk.ended is None:
        if setting.seconds and walk.seconds >= setting.seconds:
            return
        line, printed = walk.line, walk.printed
        walk.step()
        if walk.ended == "input":
            return
        now = walk.state.variables
        pairs = zip(LETTERS, now, before, strict=True) if now != before else ()
        yield {
            "statement": walk.statements,
            "line": line,
            "ms": round(walk.seconds * 1000, 3),
            "sets": {name: value for name, value, was in pairs if value != was},
            "prints": walk.printed_since(printed),
        }
        before = list(now)


def expect(
    archive: Archive, revision: Revision, setting: Setting, walk: Walk, ended: End
) -> Expectation:
    """Keep what a revision did as expected of its program.

    Raises RefusedError if it did not come to an end or did too much.
    """
    rows = outcome_rows(walk, ended)
    if ended == "statements" or walk.cut or sum(map(len, (*rows, *setting.inputs))) > MOST_BYTES:
        raise RefusedError(
            f"{revision.spec} comes to no end, or prints more than {MOST_BYTES:,} characters.",
            kept="What is expected was not changed.",
            advice="Name the seconds after which it is to be stopped.",
        )
    outcomes: dict[End, Outcome] = {"end": "done", "error": "error"}
    archive.keep_run(
        RunText(rows),
        RunEnd(outcomes.get(ended, "interrupted"), walk.error, walk.board.failed_line),
        seconds=walk.seconds,
        revision=revision,
        profile=setting.profile,
        command=setting.command,
        typed=setting.inputs,
        expected=True,
    )
    return Expectation(revision.program, revision.spec, setting, rows)


def expectations(archive: Archive, program: str | None = None) -> dict[str, Expectation]:
    """Return what is expected of each program, or of one, by name; unreadable ones are left out."""
    found: dict[str, Expectation] = {}
    runs = archive.runs(program, expected=True)
    for run in sorted(runs, key=lambda run: run.at, reverse=True):
        setting = _setting_of(run)
        if setting is not None:
            held = Expectation(run.program, run.revision, setting, run.printed.rows)
            found.setdefault(run.program, held)
    return found


def _setting_of(run: Run) -> Setting | None:
    """Return how a run without a board was tried, None for any other run."""
    word, _, more = run.command.partition(" ")
    if word != COMMAND:
        return None
    try:
        held = json.loads(more)
        held["pins"] = tuple(PinInput(**each) for each in held.get("pins", ()))
        return Setting(run.profile, run.typed.rows, **held)
    except (AttributeError, TypeError, ValueError):
        return None


def check_all(archive: Archive, tag: str | None = None) -> Iterator[Checked]:
    """Try the latest revision of each program of which something is expected; yield the results.

    tag: only programs with that tag. Raises UsageError if there is none.
    """
    held = expectations(archive)
    wanted = [program.name for program in archive.programs(tag=tag) if program.name in held]
    if not wanted:
        where = f" with the tag {tag}" if tag else ""
        raise UsageError(
            f"Nothing is expected of any program{where} in the archive.",
            advice=lambda by: f"Keep what a program prints as expected {by.expect('PROGRAM')}.",
        )
    for name in wanted:
        expected, setting, spec = held[name], held[name].setting, name
        try:
            material = from_archive(name, archive)
            spec = material.label
            walk = setting.begin(material.text, find_profile(setting.profile))
        except HostlinkError as error:
            yield Checked(expected, spec, [], error.what)
        else:
            yield Checked(expected, spec, expected.differences(walk, setting.finish(walk)))
