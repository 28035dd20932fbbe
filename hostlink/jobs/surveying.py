"""Survey a board: measure how it talks, propose a profile with the evidence for each value."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from hostlink.archive import Archive
from hostlink.archive.events import OpenEvent
from hostlink.board.dialogue import Dialogue
from hostlink.board.events import Phase, Warned
from hostlink.board.profile import Profile
from hostlink.board.profile_file import profile_text, profiles_folder, shipped_profiles
from hostlink.board.survey import Finding, Findings, Manner
from hostlink.board.survey_program import find_free_memory, find_list_form
from hostlink.board.survey_storing import Storing
from hostlink.board.uart import warn
from hostlink.errors import (
    HostlinkError,
    Interrupted,
    LinkError,
    NotKnownError,
    RefusedError,
    UsageError,
)
from hostlink.jobs.files import write_new
from hostlink.jobs.recalling import memory_after, put_into_memory
from hostlink.jobs.rescuing import rescue_held
from hostlink.jobs.session import Session

_TABLES = {"listing": "form", "storage": "storage"}


@dataclass(frozen=True, slots=True)
class SurveyOptions:
    """name: of the profile to propose. storing: consent to store test lines in the memory, which
    is captured, kept and put back. long_line: consent to type an over-long line. speeds: the
    speeds to try, empty for the usual ones. clock_hz: the board's clock, 0 where not known.
    """

    name: str = "surveyed"
    storing: bool = False
    long_line: bool = False
    speeds: tuple[int, ...] = ()
    clock_hz: int = 0


@dataclass(frozen=True, slots=True)
class Surveyed:
    """The proposed profile, what it rests on, and how many lines the board held (and holds)."""

    profile: Profile
    findings: tuple[Finding, ...]
    lines: int


@dataclass(frozen=True, slots=True)
class PastSurvey:
    """What an earlier survey found. rows: value, found, how sure, evidence, each in words."""

    at: datetime
    rows: tuple[tuple[str, str, str, str], ...]


def survey(session: Session, archive: Archive, options: SurveyOptions) -> Surveyed:
    """Measure the board at the other end. Its program is left, or put back and proven.

    What was found is kept with the board. The session talks afterwards as it did before. Raises
    LinkError where no usual speed gives a readable answer; whatever fails after the program was
    cleared says what memory holds and where the program is kept.
    """
    manner = Manner(
        session.wire, session.profile, session.emit, stop_running=session.choice.stop_running
    )
    try:
        profile = manner.survey(options.speeds)
        board = session.board_in(archive)
        with session.job(archive, "survey", board, parts=3) as record:
            surveyed = _survey(session, archive, options, manner, profile, record)
            record.detail["found"] = finding_rows(surveyed.findings)
            return surveyed
    except Interrupted as error:
        error.what = "The survey was stopped."
        error.kept = error.kept or "The program on the board was not touched."
        raise
    finally:
        with contextlib.suppress(LinkError):  # of a port that has just vanished
            session.use(session.choice)


def _survey(
    session: Session,
    archive: Archive,
    options: SurveyOptions,
    manner: Manner,
    profile: Profile,
    record: OpenEvent,
) -> Surveyed:
    """What is measured once the board is understood."""
    if options.long_line:
        manner.find_longest()
    if session.wire.health.restarts:
        manner.findings.add("talk.restarts_on_open", True, "its banner came after the opening")
    dialogue = Dialogue(session.wire, profile, session.emit)
    session.emit(Phase("Reading the listing"))
    dialogue.profile = find_list_form(dialogue, manner.findings)
    try:
        lines = len(dialogue.capture().lines)
    except NotKnownError as error:  # nothing is overwritten by looking
        session.emit(Warned(error.what))
        lines = 0
    session.emit(Phase("Looking for the free-memory question"))
    find_free_memory(dialogue, manner.findings)
    base = dialogue.profile
    session.dialogue = Dialogue(
        session.wire, _with(base, manner.findings, options.name), session.emit
    )
    if options.storing:
        _measure_storing(session, archive, manner, record)
    else:
        for name in ("talk.line_ms", "talk.line_done", "talk.receive_buffer"):
            manner.findings.missing(name, "needs consent to store test lines (--storing)")
    _warn_of_speed(session, manner.findings, options.clock_hz)
    proposed = _with(base, manner.findings, options.name)
    return Surveyed(proposed, tuple(manner.findings), lines)


def _measure_storing(session: Session, archive: Archive, manner: Manner, record: OpenEvent) -> None:
    """Measure with stored lines; whatever happens, the program is put back or said where it is."""
    kept = rescue_held(session, archive, session.board_in(archive))
    record.detail["lines"] = len(kept.lines)
    measured = session.dialogue.profile
    session.dialogue = _careful(session, measured)
    try:
        session.dialogue.clear()
        Storing(manner, session.dialogue).measure()
        found = _with(measured, manner.findings, measured.name)
        session.dialogue = Dialogue(session.wire, found, session.emit)
        session.emit(Phase("Putting the program back"))
        put_into_memory(session, kept.lines)
    except HostlinkError as error:
        memory_after(session, error, kept.lines, kept.spec)
        raise


def _careful(session: Session, profile: Profile) -> Dialogue:
    """A dialogue that assumes nothing of how the board stores lines."""
    talk = dataclasses.replace(
        profile.talk,
        receive_buffer=0,
        line_ms=max(50.0, profile.talk.line_ms),
        line_done="after-prompt" if profile.talk.prompt else profile.talk.line_done,
        after_prompt_ms=100.0,
    )
    return Dialogue(session.wire, dataclasses.replace(profile, talk=talk), session.emit)


def _warn_of_speed(session: Session, findings: Findings, clock_hz: int) -> None:
    """Say where the board's clock cannot make its speed closely enough."""
    baud = findings.value("talk.baud")
    if clock_hz and isinstance(baud, int):
        for double_speed in (False, True):
            if warning := warn(baud, clock_hz, double_speed):
                session.emit(Warned(warning))


def _with(profile: Profile, findings: Findings, name: str) -> Profile:
    """A profile with the findings in place and their evidence noted."""
    by_table: dict[str, dict[str, object]] = {}
    evidence: list[tuple[str, str]] = []
    for finding in findings:
        table, _, key = finding.name.partition(".")
        evidence.append((finding.name, f"{finding.confidence}: {finding.evidence}"))
        if finding.confidence != "not found":
            by_table.setdefault(table, {})[key] = finding.value
    rules = profile.rules
    for table, field in _TABLES.items():
        part = dataclasses.replace(getattr(rules, field), **by_table.get(table, {}))
        rules = dataclasses.replace(rules, **{field: part})
    talk = by_table.get("talk", {})
    commands = by_table.get("commands", {})
    return dataclasses.replace(
        profile,
        name=name,
        title="Measured by a survey",
        about=f"What has no evidence below is the value of profile {base_name(profile)}.",
        source="hostlink survey",
        talk=dataclasses.replace(profile.talk, **talk),  # type: ignore[arg-type]
        commands=dataclasses.replace(profile.commands, **commands),  # type: ignore[arg-type]
        rules=rules,
        evidence=tuple(evidence),
    )


def finding_rows(findings: Sequence[Finding]) -> tuple[tuple[str, str, str, str], ...]:
    """Findings in words: value, found, how sure, evidence."""
    return tuple(
        (one.name, value_words(one.value), one.confidence, one.evidence) for one in findings
    )


def value_words(value: object) -> str:
    """A value of a profile in words; bytes as in a program, "-" where none was found."""
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return repr(value)[1:] if isinstance(value, bytes) else str(value)


def last_survey(archive: Archive, board_uuid: str) -> PastSurvey | None:
    """What the last survey of a board found, or None."""
    for event in archive.events(board_uuid=board_uuid, job="survey"):
        found = event.detail.get("found")
        if isinstance(found, list):
            rows = [tuple(map(str, row)) for row in found if isinstance(row, list)]
            return PastSurvey(event.started_at, tuple(row for row in rows if len(row) == 4))
    return None


def check_new_name(name: str) -> None:
    """Refuse, before anything is measured, to call a profile like a shipped one."""
    if name in shipped_profiles():
        raise UsageError(
            f'"{name}" is the name of a profile that comes with hostlink.',
            kept="Nothing was written.",
            advice="Choose another name.",
        )


def keep_profile(profile: Profile, name: str, *, replace: bool) -> Path:
    """Write a profile under a name by which `find_profile` finds it; where it is written.

    replace: consent to replace another one of the user's. Raises ProfileError or UsageError where
    the name cannot be one, TakenError where it is taken, RefusedError where it cannot be written.
    """
    check_new_name(name)
    text = profile_text(dataclasses.replace(profile, name=name))
    folder = profiles_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RefusedError(
            f"The folder of profiles, {folder}, cannot be made: {error.strerror or error}.",
            kept="Nothing was written.",
        ) from error
    path = folder / f"{name}.toml"
    write_new(path, text.encode(), replace=replace)
    return path


def base_name(profile: Profile) -> str:
    """The profile that a surveyed one was begun from."""
    mark = "is the value of profile "
    return profile.about.partition(mark)[2].rstrip(".") or profile.name


@dataclass(frozen=True, slots=True)
class Difference:
    """A value in which a board differs from a profile."""

    name: str
    board: object
    profile: object
    evidence: str


def against(findings: Sequence[Finding], profile: Profile) -> list[Difference]:
    """Where what was found differs from a profile; times within a fifth count as equal."""
    differences = []
    for finding in findings:
        if finding.confidence == "not found":
            continue
        table, _, key = finding.name.partition(".")
        part: object = profile.rules
        if table in _TABLES:
            part = getattr(profile.rules, _TABLES[table])
        else:
            part = getattr(profile, table)
        expected = getattr(part, key)
        if not _alike(key, finding.value, expected):
            differences.append(Difference(finding.name, finding.value, expected, finding.evidence))
    return differences


def _alike(key: str, found: object, expected: object) -> bool:
    if key.endswith("_ms") and isinstance(found, float) and isinstance(expected, int | float):
        return abs(found - expected) <= 0.2 * max(found, expected) + 0.2
    return found == expected
