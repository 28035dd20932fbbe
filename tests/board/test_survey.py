"""The survey finds how a board talks, or says that it could not, and leaves its program alone."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from basic_runs import drive
from ticking_board import Lines, TickingBoard

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Event, ignore
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.text import profile_text, read_profile
from hostlink.board.recognise import USUAL_SPEEDS
from hostlink.board.survey.findings import SurveyFinding
from hostlink.board.survey.steps import Consent, SurveySteps
from hostlink.cli.ways import in_commands
from hostlink.errors import HostlinkError, Interrupted, LinkError, LinkReason, UsageError
from hostlink.jobs.files import TakenError
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.profiles import keep_profile
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session import opening
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.jobs.survey_results import differences_from, finding_rows, last_survey
from hostlink.jobs.surveying import Surveyed, SurveyOptions, survey
from hostlink.link.clock import VirtualClock
from hostlink.practice.kind import BoardKind
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

SURVEYS = 100
PARTS = 8
PROMPTS = (b"+ ", b"> ", b"ok\r\n", b"]", b"NEXT? ", b": ")
STORING = Consent(storing=True)
KEPT = 48
GUESS = LinkChoice("/dev/ttyUSB0", find_profile("tiny"), is_guess=True)
# What a listing of a club looks like: small letters, apostrophes and quotation marks in remarks.
LISTING = (
    b'10 REM water the beds, don\'t wait\n20 REM she said "yes" twice\n'
    b'30 PRINT "It\'s a dry day"\n40 LET B=0\n50 LET B=B+1\n60 IF B<9 THEN 50\n70 END\n'
)


@dataclass
class Bench:
    """A practice board with its secrets, and a way to survey it on a virtual clock."""

    settings: BoardSettings
    machine: Machine
    archive: Archive
    monkeypatch: pytest.MonkeyPatch

    def session(self, *, stop_running: bool = False, is_guess: bool = True) -> Session:
        kept = self.machine.basic.to_state()
        self.machine = Machine(self.settings)  # its time begins with the port's
        self.machine.basic.from_state(kept)
        clock = VirtualClock()
        port = PracticePort(self.machine, clock, jump=clock.advance_to)
        self.monkeypatch.setattr(opening, "open_port", lambda *_: (port, clock))
        events: list[Event] = []
        asks = self.settings.prompt.rstrip().endswith(b"?")  # as a program that waits would
        choice = LinkChoice(
            "practice://x",
            find_profile("tiny"),
            stop_running=stop_running or asks,
            is_guess=is_guess,
        )
        return open_session(choice, events.append)

    def survey(self, consent: Consent = Consent(), name: str = "surveyed") -> Surveyed:  # noqa: B008
        with self.session() as session:
            return survey(session, self.archive, SurveyOptions(name=name, consent=consent))


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with Archive.open(tmp_path / "archive.sqlite3") as opened:
        yield opened


def hidden(seed: int) -> BoardSettings:
    """Settings that the survey is not told."""
    draw = random.Random(seed)
    return BoardSettings(
        baud=draw.choice(USUAL_SPEEDS[:12]),
        receive_buffer=draw.randrange(2, 129),
        line_ms=draw.uniform(1, 40),
        prompt=draw.choice(PROMPTS),
        echo=draw.random() < 0.8,
        fold_case=draw.random() < 0.5,
        line_end=draw.choice([b"\r", b"\n", b"\r\n"]),
        line_done=draw.choice(["echo", "prompt", "after-prompt"]),
        latency_ms=draw.choice([1.0, 16.0]),
    )


def make(settings: BoardSettings, archive: Archive, monkeypatch: pytest.MonkeyPatch) -> Bench:
    machine = Machine(settings)
    for place in range(settings.receive_buffer % 5):
        drive(machine.basic.enter(f'{place * 10 + 10} PRINT "HELLO {place}"'.encode()))
    return Bench(settings, machine, archive, monkeypatch)


def values(result: Surveyed) -> dict[str, SurveyFinding]:
    return {finding.name: finding for finding in result.findings}


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
def test_a_hundred_surveys_measure_what_is_so_and_leave_the_program(
    part: int, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Speed, echo, prompt, line end and case always; a time that is measured within 20 %, a buffer
    that is measured never above what the board holds.

    LF alone serves a board that wants CR LF. Whether the echo of a line end comes late cannot be
    heard without echo.
    """
    times = buffers = 0
    for seed in range(part, SURVEYS, PARTS):
        settings = hidden(seed)
        bench = make(settings, archive, monkeypatch)
        before = dict(bench.machine.basic.lines)
        result = bench.survey(STORING)
        talk, found = result.profile.talk, values(result)
        assert talk.baud == settings.baud, seed
        assert talk.echo == settings.echo, seed
        assert talk.prompt == settings.prompt, seed
        assert talk.line_end == settings.line_end[-1:], seed
        case = "upper" if settings.fold_case else "kept"
        assert result.profile.rules.form.case == case, seed
        if found["talk.line_ms"].confidence == "measured":
            times += 1
            assert talk.line_ms == pytest.approx(settings.line_ms, rel=0.2), seed
        if found["talk.line_done"].confidence == "measured":
            silent_echo = not settings.echo and settings.line_done == "echo"
            assert talk.line_done == ("prompt" if silent_echo else settings.line_done), seed
        if found["talk.receive_buffer"].confidence == "measured":
            buffers += 1
            assert settings.receive_buffer - 1 <= talk.receive_buffer, seed
            assert talk.receive_buffer <= settings.receive_buffer, seed
        assert dict(bench.machine.basic.lines) == before, seed
    surveys = SURVEYS // PARTS
    assert times >= 0.8 * surveys  # the rest took less time than bytes that were going out
    assert buffers >= 0.2 * surveys


def odd(seed: int) -> BoardSettings:
    """Settings of boards with more manners than a speed and a prompt."""
    draw = random.Random(seed + 1000)
    settings = hidden(seed)
    if settings.prompt.rstrip().endswith(b"?"):  # an empty line that is answered so needs a key
        return settings
    return dataclasses.replace(
        settings,
        page_lines=draw.choice([0, 0, 0, 10, 23]),
        screen_width=draw.choice([40, 40, 0, 32]),
        wrap_ms=draw.choice([0, 0, 3.0]),
        char_ms=draw.choice([0, 0, 0, 0.5, 2.0]),
        transmit_buffer=draw.choice([63, 63, 0]),
        line_cancel=draw.choice([b"\x15", b"\x18", b""]),
        erase=draw.choice([b"\x08", b"\x7f", b""]),
        interrupt=draw.choice([b"\x03", b"\x1b", b"#", b""]),
        longest_line=draw.choice([72, 64, 80, 120]),
        receive_buffer=draw.choice([0, 1, 2, 3, 16, 63]),
    )


@pytest.mark.one_in(16)
@pytest.mark.parametrize("consent", [Consent(), STORING], ids=["asked", "stored"])
@pytest.mark.parametrize("part", range(PARTS))
def test_what_is_kept_of_any_board_loads_and_saves_at_once(
    part: int, consent: Consent, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The proposed profile reads back equal; a load and a save by it are proven."""
    for seed in range(part, KEPT, PARTS):
        bench = make(odd(seed), archive, monkeypatch)
        profile = bench.survey(consent, "mine").profile
        assert read_profile(profile_text(profile), "mine.toml") == profile, seed
        with bench.session() as session:
            session.use(LinkChoice("practice://x", profile))
            material = from_bytes(LISTING, "beds.bas", name="BEDS")
            load(session, archive, material, LoadOptions())
            assert save(session, archive, SaveOptions(name="BEDS")).revision.spec == "BEDS@1"


def test_without_consent_nothing_is_stored(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plain survey leaves time and buffer unknown and never takes a line into memory."""
    bench = make(BoardSettings(baud=9600, receive_buffer=3), archive, monkeypatch)
    before = dict(bench.machine.basic.lines)
    found = values(bench.survey())
    assert found["talk.line_ms"].confidence == "not found"
    assert "consent" in found["talk.receive_buffer"].evidence
    assert bench.machine.busy_s == 0
    assert dict(bench.machine.basic.lines) == before


def test_the_proposed_profile_works_and_reads_back(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The profile is valid TOML, equal when read again, and a load with it loses nothing."""
    settings = BoardSettings(baud=19200, receive_buffer=17, line_ms=23, line_done="after-prompt")
    bench = make(settings, archive, monkeypatch)
    profile = bench.survey(Consent(storing=True, longest=128), "lab").profile
    assert read_profile(profile_text(profile), "lab.toml") == profile
    assert profile.rules.form.longest_line == settings.longest_line
    assert profile.rules.storage.program_bytes == settings.program_bytes
    bench.machine.overruns = 0
    text = "".join(f'{n} PRINT "LINE NUMBER {n}"\n' for n in range(10, 300, 10)).encode()
    with bench.session() as session:
        session.use(LinkChoice("practice://x", profile))
        loaded = load(session, archive, from_bytes(text, "x.bas", name="X"), LoadOptions())
    assert loaded.report.repairs == 0
    assert bench.machine.overruns == 0


def test_a_survey_leaves_the_session_as_it_was_and_keeps_what_it_found(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Speed and dialogue are those of before; the archive has the findings of the board in words.

    One that fails at every speed leaves the speed too.
    """
    bench = make(BoardSettings(baud=19200), archive, monkeypatch)
    with bench.session() as session:
        result = survey(session, archive, SurveyOptions())
        assert session.wire.port.baudrate == session.profile.talk.baud == 9600  # type: ignore[attr-defined]
        assert session.dialogue.profile is session.profile
        board = session.board_in(archive)
    past = last_survey(archive, board.uuid)
    assert past is not None
    assert past.rows == finding_rows(result.findings)
    assert ("talk.baud", "19200", "measured") in [row[:3] for row in past.rows]
    with bench.session() as session, pytest.raises(LinkError):
        survey(session, archive, SurveyOptions(speeds=(300, 1200)))
    assert bench.machine.host_baud == 9600


def test_a_loop_that_the_board_refuses_is_not_waited_for(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A board without IF ends it with an error, and its prompt says that nothing runs."""
    words = tuple({**dict(BoardKind().language.words), "if": ()}.items())
    kind = BoardKind(language=dataclasses.replace(BoardKind().language, words=words))
    clock = VirtualClock()
    port = PracticePort(Machine(kind=kind), clock, jump=clock.advance_to)
    monkeypatch.setattr(opening, "open_port", lambda *_: (port, clock))
    choice = LinkChoice("practice://x", find_profile("tiny"), is_guess=True)
    with open_session(choice, lambda _: None) as session:
        result = survey(session, archive, SurveyOptions(name="x", consent=STORING))
    found = values(result)["talk.interrupt"]
    assert (found.is_found, found.evidence) == (False, "a counting loop does not finish")
    assert clock.now() < 90


def test_a_survey_stopped_while_storing_puts_the_program_back(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The test lines are gone again, and what memory holds is stated."""
    bench = make(BoardSettings(baud=9600), archive, monkeypatch)
    before = dict(bench.machine.basic.lines)
    assert before
    with bench.session() as session:
        session.wire.cancelled = lambda: bench.machine.busy_s > 0.05
        with pytest.raises(Interrupted) as caught:
            survey(session, archive, SurveyOptions(consent=STORING))
    assert "Memory holds what it held before." in caught.value.kept
    assert dict(bench.machine.basic.lines) == before
    assert last_survey(archive, archive.boards()[0].uuid) is None


def test_a_profile_is_never_kept_under_the_name_of_a_shipped_one(
    archive: Archive, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """It would make the shipped one useless; the user's own is replaced with consent only."""
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "own"))
    profile = make(BoardSettings(baud=9600), archive, monkeypatch).survey().profile
    with pytest.raises(UsageError, match="comes with hostlink"):
        keep_profile(profile, "practice", replace=True)
    path = keep_profile(profile, "red", replace=False)
    with pytest.raises(TakenError):
        keep_profile(profile, "red", replace=False)
    assert keep_profile(profile, "red", replace=True) == path
    assert find_profile("red").talk == profile.talk
    with pytest.raises(UsageError):
        keep_profile(profile, "../red", replace=True)


def test_a_board_is_held_against_a_profile(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a board differs from a profile is named; where it does not, nothing is."""
    settings = BoardSettings(baud=57600, receive_buffer=63, line_ms=15, prompt=b"] ")
    bench = make(settings, archive, monkeypatch)
    findings = bench.survey(STORING).findings
    names = {each.name for each in differences_from(findings, find_profile("practice"))}
    assert "talk.prompt" in names
    assert not names & {"talk.baud", "talk.line_ms", "talk.receive_buffer", "talk.echo"}


def test_a_running_program_is_not_taken_for_a_board_and_stops_only_with_consent(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that prints for ever gives no steady answer; with consent it is interrupted."""
    bench = make(BoardSettings(baud=9600), archive, monkeypatch)
    for line in (b"10 PRINT 12345", b"20 GOTO 10", b"30"):
        drive(bench.machine.basic.enter(line))
    with bench.session() as session:
        session.wire.port.baudrate = 9600  # type: ignore[attr-defined]
        session.wire.write(b"RUN\r")
        with pytest.raises(LinkError) as caught:
            survey(session, archive, SurveyOptions(speeds=(9600,)))
    assert caught.value.reason is LinkReason.RUNNING
    assert "--stop-running" in in_commands(caught.value.advice)
    with bench.session(stop_running=True) as session:
        session.wire.port.baudrate = 9600  # type: ignore[attr-defined]
        session.wire.write(b"RUN\r")
        assert survey(session, archive, SurveyOptions(speeds=(9600,))).profile.talk.baud == 9600
    assert sorted(bench.machine.basic.lines) == [10, 20]


def test_a_silent_board_is_said_to_be_silent(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With neither echo nor prompt there is nothing to judge a speed by."""
    bench = make(BoardSettings(baud=9600, echo=False, prompt=b""), archive, monkeypatch)
    with pytest.raises(LinkError) as caught:
        bench.survey()
    assert caught.value.reason is LinkReason.SILENT
    assert "not touched" in caught.value.kept


def at_port(board: TickingBoard, monkeypatch: pytest.MonkeyPatch) -> TickingBoard:
    """Put a board at the port that is opened."""
    monkeypatch.setattr(opening, "open_port", lambda *_: (board, board.clock))
    return board


@pytest.mark.parametrize("period", [0.7, 1.0, 1.6])
@pytest.mark.parametrize(
    ("row", "named"),
    [(b"TICK", "TICK"), (b"T N: N", "T {number}: {number}"), (b"SLOT 3", "SLOT 3")],
)
def test_a_row_that_a_board_prints_by_itself_is_found_and_hinders_nothing_then(
    row: bytes, named: str, period: float, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It answers no question: not how much is free, not which words are refused."""
    board, lines = at_port(TickingBoard(period, row=row), monkeypatch), Lines()
    board.answer = lines
    with open_session(GUESS, ignore) as session:
        result = survey(session, archive, SurveyOptions(name="ticking"))
    assert board.clock.now() < 60
    assert result.profile.talk.idle_chatter == (named,)
    assert f'prints "{named}" by itself' in result.told
    commands = result.profile.commands
    assert (commands.free_memory, commands.error_words) == ("", ("WHAT?",))
    with open_session(LinkChoice("/dev/ttyUSB0", result.profile), ignore) as session:
        load(session, archive, from_bytes(LISTING, "beds.bas", name="BEDS"), LoadOptions())
    assert len(lines.held) == LISTING.count(b"\n")


def test_a_row_that_comes_once_is_not_named(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    board = at_port(TickingBoard(1e9), monkeypatch)
    board.answer = Lines()
    steps = SurveySteps.listen

    def listen(self: SurveySteps) -> None:
        board.send_row()
        steps(self)

    monkeypatch.setattr(SurveySteps, "listen", listen)
    with open_session(GUESS, ignore) as session:
        result = survey(session, archive, SurveyOptions(name="once"))
    assert result.profile.talk.idle_chatter == ()


def test_a_board_that_is_never_still_gets_no_test_lines(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Times and sizes that are measured beside its rows are wrong, and a program is at stake."""
    board, lines = at_port(TickingBoard(1.0), monkeypatch), Lines()
    board.answer = lines
    lines.held = {10: "PRINT 1", 20: "END"}
    with open_session(GUESS, ignore) as session:
        result = survey(session, archive, SurveyOptions(name="ticking", consent=STORING))
    assert "Nothing was stored: what it prints by itself would spoil" in result.told
    assert lines.held == {10: "PRINT 1", 20: "END"}


@pytest.mark.parametrize("row", [b"5 TICK", b"12:00:N"])
def test_a_row_like_a_line_that_a_board_prints_by_itself_is_told(
    row: bytes, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    board = at_port(TickingBoard(1.0, row=row), monkeypatch)
    with open_session(GUESS, ignore) as session, pytest.raises(LinkError) as caught:
        survey(session, archive, SurveyOptions(name="ticking"))
    assert f'"{row[:4].decode()}' in caught.value.what
    assert "by itself, which looks like a line" in caught.value.what
    assert board.clock.now() < 60
    assert {*board.typed} == {"REM", "QZ", "LIST"}  # only what recognises a board


def test_a_board_that_lists_in_colours_is_told_so_by_load_and_survey(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ECMA-48, 8.3.117 SGR. Its lines are stored, though nothing can be proven of them."""
    board, lines = at_port(TickingBoard(1e9), monkeypatch), Lines(b"\x1b[36m")
    board.answer = lines
    beds = from_bytes(LISTING, "beds.bas", name="BEDS")
    for discards in (False, True):
        with open_session(GUESS, ignore) as session, pytest.raises(HostlinkError) as caught:
            load(session, archive, beds, LoadOptions(discard_board=discards))
        assert "with control sequences, as for colours" in caught.value.what
        assert "still on the board" not in caught.value.kept
        assert len(lines.held) == LISTING.count(b"\n")
    with open_session(GUESS, ignore) as session:
        result = survey(session, archive, SurveyOptions(name="coloured", consent=STORING))
    assert "as for colours" in result.told
    assert len(lines.held) == LISTING.count(b"\n")
