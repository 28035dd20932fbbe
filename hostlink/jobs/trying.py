"""Try a listing without a board: run it on a practice board, and hold it against what is expected.

What is expected of a program is kept in the archive's record of jobs, as the end of a job "expect"
on one of its revisions, so that it is exported, merged and never changed. The newest one counts.
"""

from __future__ import annotations

import difflib
import string
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from itertools import zip_longest
from typing import Any

from hostlink.archive import Archive, Revision
from hostlink.board.profile.file import find_profile, shipped_profiles
from hostlink.board.profile.model import Profile
from hostlink.board.twin import kind_like
from hostlink.errors import HostlinkError, RefusedError, UsageError
from hostlink.jobs.events import Emit
from hostlink.jobs.language_of import in_language_of
from hostlink.jobs.listing_source import Material, from_archive
from hostlink.practice.kind import BoardKind
from hostlink.practice.kind_file import find_kind, kind_names
from hostlink.practice.pin_bank import PinChange, PinInput
from hostlink.practice.walk import MOST_STATEMENTS, End, Walk

JOB = "expect"
LETTERS = string.ascii_uppercase
MOST_EXPECTED = 1 << 16
"""Characters of output that are kept as expected."""
MOST_CHANGES = 1000
"""Changes of pins that are kept as expected."""


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


@dataclass(frozen=True, slots=True)
class Tried:
    """What a program did.

    line: the number of the line that failed, was running or asks, None if it ended. free_bytes:
    what the listing leaves of the memory. question: what INPUT shows while it waits, "". cut:
    whether it printed more than is kept. changes: what it put out at pins.
    """

    output: str
    ended: End
    error: str
    line: int | None
    free_bytes: int
    statements: int
    seconds: float
    question: str = ""
    cut: bool = False
    changes: tuple[PinChange, ...] = ()


@dataclass(frozen=True, slots=True)
class Traced:
    """One statement that was run.

    statement: which, from 1. line: its line number. ms: since the program began, when it was over.
    sets: the variables that it changed. prints: what it printed.
    """

    statement: int
    line: int | None
    ms: float
    sets: dict[str, int]
    prints: str


@dataclass(frozen=True, slots=True)
class Expectation:
    """What a program is expected to print. revision: the spec of the one that printed it."""

    program: str
    revision: str
    setting: Setting
    output: str
    ended: End
    changes: tuple[PinChange, ...] = ()


@dataclass(frozen=True, slots=True)
class Checked:
    """A program held against its expectation.

    spec: the revision that was tried. differs: a sentence on the first difference, "" if there is
    none. failed: why it could not be tried, "".
    """

    expectation: Expectation
    spec: str
    differs: str = ""
    failed: str = ""

    @property
    def good(self) -> bool:
        """Return whether the program did what is expected."""
        return not (self.differs or self.failed)


def kind_for(profile: Profile) -> BoardKind:
    """Return the practice board of a profile: its own kind, else one made of the profile."""
    if profile.name in shipped_profiles() and profile.name in kind_names():
        return find_kind(profile.name)
    return kind_like(profile)


def prepared(material: Material, profile: Profile, emit: Emit) -> Material:
    """Return a listing as it would be loaded: a shipped one is adapted for the board."""
    if material.shipped is None:
        return material
    return in_language_of(profile, material, emit, despite=False, allow=lambda _: False)


def begin(text: str, setting: Setting, profile: Profile) -> Walk:
    """Return the run of a listing, at its first statement. Raises RefusedError for a bad line."""
    return Walk(text, kind_for(profile), setting.inputs, setting.pins)


def finish(walk: Walk, setting: Setting) -> Tried:
    """Run to the end, or as far as the setting allows, and return what the program did."""
    ended = walk.run(setting.statements, setting.seconds)
    return Tried(
        output=walk.output,
        ended=ended,
        error=walk.error,
        line=walk.board.failed_line if ended == "error" else walk.line,
        free_bytes=walk.board.free(),
        statements=walk.statements,
        seconds=round(walk.seconds, 3),
        question=walk.question or "",
        cut=walk.cut,
        changes=tuple(walk.state.pins.changes),
    )


def trace(walk: Walk, setting: Setting) -> Iterator[Traced]:
    """Run as `finish` does, and yield every statement; `finish` then tells how it ended."""
    before = list(walk.state.variables)
    while walk.statements < setting.statements:
        if setting.seconds and walk.seconds >= setting.seconds:
            return
        line, printed = walk.line, walk.printed
        walk.step()
        if walk.ended == "input":
            return
        sets: dict[str, int] = {}
        now = walk.state.variables
        if now != before:
            pairs = enumerate(zip(before, now, strict=True))
            sets = {LETTERS[at]: value for at, (was, value) in pairs if was != value}
            before = list(now)
        prints = walk.printed_since(printed)
        yield Traced(walk.statements, line, round(walk.seconds * 1000, 3), sets, prints)
        if walk.ended is not None:
            return


def expect(archive: Archive, revision: Revision, setting: Setting, tried: Tried) -> Expectation:
    """Keep what a revision did as expected of its program.

    Raises RefusedError if it did not come to an end or printed too much.
    """
    kept = "The expectation was not changed."
    if tried.ended == "statements":
        raise RefusedError(
            f"{revision.spec} did not end within {setting.statements:,} statements.",
            kept=kept,
            advice="Name the seconds after which it is to be stopped.",
        )
    if tried.cut or len(tried.output) > MOST_EXPECTED or len(tried.changes) > MOST_CHANGES:
        raise RefusedError(
            f"{revision.spec} prints more than {MOST_EXPECTED:,} characters, or switches pins more "
            f"than {MOST_CHANGES:,} times.",
            kept=kept,
        )
    held = {
        "setting": asdict(setting),
        "output": tried.output,
        "ended": tried.ended,
        "changes": [asdict(each) for each in tried.changes],
    }
    with archive.event(JOB, program=revision.program, detail=held) as event:
        event.revision = revision
    return Expectation(
        revision.program, revision.spec, setting, tried.output, tried.ended, tried.changes
    )


def expectations(archive: Archive, program: str | None = None) -> dict[str, Expectation]:
    """Return what is expected of each program, or of one, by name; unreadable ones are left out."""
    found: dict[str, Expectation] = {}
    events = archive.events(job=JOB, program=program)
    for event in sorted(events, key=lambda event: event.started_at, reverse=True):
        if event.program not in found and event.outcome == "done":
            expectation = _read(event.program, event.revision, event.detail)
            if expectation is not None:
                found[event.program] = expectation
    return found


def _read(program: str, revision: str, detail: Mapping[str, Any]) -> Expectation | None:
    try:
        held = dict(detail["setting"])
        held["inputs"] = tuple(map(str, held["inputs"]))
        held["pins"] = tuple(PinInput(**each) for each in held["pins"])
        changes = tuple(PinChange(**each) for each in detail["changes"])
        output, ended = str(detail["output"]), detail["ended"]
        return Expectation(program, revision, Setting(**held), output, ended, changes)
    except (KeyError, TypeError, ValueError):
        return None


def difference(expected: Expectation, tried: Tried) -> str:
    """Return a sentence on the first difference from what is expected, "" if there is none."""
    before, now = expected.output.split("\n"), tried.output.split("\n")
    for row, (was, prints) in enumerate(zip(before, now, strict=False), 1):
        if was != prints:
            return f'Row {row} is "{_short(prints)}" and was "{_short(was)}".'
    if len(before) != len(now):
        return f"It prints {len(now) - 1} rows and printed {len(before) - 1}."
    if expected.ended != tried.ended:
        return f"It ended by {tried.ended} and had ended by {expected.ended}."
    for before_it, now_put in zip_longest(expected.changes, tried.changes):
        if before_it is None or now_put is None or replace(before_it, ms=now_put.ms) != now_put:
            return f"At a pin: {_put(now_put)}, and was {_put(before_it)}."
    return ""


def _put(change: PinChange | None) -> str:
    return "nothing" if change is None else f"{change.pin} {change.what} {change.value}"


def changed_rows(expected: Expectation, tried: Tried) -> list[str]:
    """Return the differences from what is expected, as rows of a unified diff."""
    before, now = expected.output.splitlines(), tried.output.splitlines()
    return list(difflib.unified_diff(before, now, "expected", "printed", lineterm=""))


def _short(row: str) -> str:
    return row if len(row) <= 40 else f"{row[:37]}..."


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
        yield _checked(archive, held[name])


def _checked(archive: Archive, expected: Expectation) -> Checked:
    spec = expected.program
    try:
        material = from_archive(expected.program, archive)
        spec = material.label
        walk = begin(material.text, expected.setting, find_profile(expected.setting.profile))
    except HostlinkError as error:
        return Checked(expected, spec, failed=error.what)
    return Checked(expected, spec, differs=difference(expected, finish(walk, expected.setting)))
