"""Runs in the archive: from `run` and from the console, however they end, bounded in size."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from hostlink.archive import Archive, Origin, Run, RunEnd, RunText
from hostlink.archive.runs import MOST_BYTES
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.file import find_profile
from hostlink.errors import ArchiveError, HostlinkError, Interrupted
from hostlink.jobs.console import Console
from hostlink.jobs.events import Event
from hostlink.jobs.listing_source import content_of, find_material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.run.answers import Given
from hostlink.jobs.run.keeping import Printed
from hostlink.jobs.run.running import run
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.listing import Listing

DOUBLE = '10 PRINT "YOUR NUMBER";\n20 INPUT A\n30 PRINT A*2\n40 IF A<10 THEN 20\n'
LEFT = RunEnd("interrupted", "hostlink stopped listening before the program ended.")


def loaded(board: Any, archive: Archive, text: str) -> None:
    """Load a program, which the archive then has as DOUBLE@1."""
    with board.session() as session:
        material = find_material("-", archive, stdin=text.encode())
        load(session, archive, material, LoadOptions(name="DOUBLE"))


def last(archive: Archive) -> Run:
    return archive.runs(limit=1)[0]


# --- run ---------------------------------------------------------------------------------------


def test_a_run_is_kept_with_its_revision_and_answers(
    table: Callable[..., Any], archive: Archive
) -> None:
    """What was printed, echoed answers included; what was typed; which revision on which board."""
    board = table()
    loaded(board, archive, DOUBLE)
    with board.session() as session:
        ran = run(session, Given(["4", "21"]))
    kept = last(archive)
    assert (ran.spec, kept.spec, kept.revision) == ("run@1", "run@1", "DOUBLE@1")
    assert kept.printed == RunText(("YOUR NUMBER? 4", " 8", "? 21", " 42"))
    assert (kept.command, kept.typed.rows, kept.end) == ("RUN", ("4", "21"), RunEnd())
    assert kept.board_uuid == archive.boards()[0].uuid and kept.profile == "practice"
    assert 0.05 < kept.seconds < 60


def test_an_error_of_basic_is_kept_with_its_line(
    table: Callable[..., Any], archive: Archive
) -> None:
    """In the words of the board; its row is among what was printed."""
    board = table()
    loaded(board, archive, '10 PRINT "ON"\n20 PRINT 7/0\n')
    with board.session() as session:
        run(session)
    assert last(archive).end == RunEnd("error", "cannot divide by 0", 20)
    assert last(archive).printed.rows == ("ON", "! cannot divide by 0 in 20")


@pytest.mark.parametrize(
    ("options", "error"),
    [
        ({"answers": Given(["4"])}, 'The program asks "?", and there is no more input.'),
        ({"answers": Given(["4"] * 99), "longest_s": 3.0}, "The program did not end within 3 s"),
    ],
)
def test_a_run_that_fails_is_kept_too(
    table: Callable[..., Any], archive: Archive, options: dict[str, Any], error: str
) -> None:
    """With what it printed until then, and why it ended."""
    board = table()
    loaded(board, archive, DOUBLE)
    with board.session() as session, pytest.raises(HostlinkError):
        run(session, **options)
    kept = last(archive)
    assert kept.end.outcome == "failed" and kept.end.error.startswith(error)
    assert kept.printed.rows[:2] == ("YOUR NUMBER? 4", " 8") and kept.typed.rows[0] == "4"


def test_a_run_that_is_stopped_is_kept(table: Callable[..., Any], archive: Archive) -> None:
    """Ctrl+C ends it; what it printed is there."""
    board = table()
    loaded(board, archive, '10 PRINT "ON"\n20 GOTO 10\n')
    rows: list[Event] = []
    with board.session() as session:
        session.wire.cancelled = lambda: len(rows) > 20
        with pytest.raises(Interrupted):
            run(session, emit=rows.append)
    kept = last(archive)
    assert kept.end.outcome == "interrupted" and set(kept.printed.rows) == {"ON"}


def test_a_program_of_no_revision_is_kept_as_such(
    table: Callable[..., Any], archive: Archive
) -> None:
    """It was typed at the board itself; nothing is made up."""
    board = table()
    board.load("10 PRINT 1\n")
    with board.session() as session:
        run(session)
    assert (last(archive).revision, last(archive).printed.rows) == ("", (" 1",))


def test_without_a_program_nothing_is_kept(table: Callable[..., Any], archive: Archive) -> None:
    """RUN on an empty board is no run."""
    board = table()
    with board.session() as session:
        run(session)
    assert archive.runs() == []


def test_an_archive_that_cannot_be_written_stops_no_run(
    table: Callable[..., Any], archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The run goes on to its end, and then it is told what was not kept."""
    board = table()
    loaded(board, archive, '10 PRINT "ON"\n')
    with board.session() as session:
        session.attach()
        monkeypatch.setattr(archive, "keep_run", _refuse)
        assert run(session).output == "ON"
    told = [event.text for event in board.events if isinstance(event, Warned)]
    assert told == ["The run was not kept: the disk is full."]


def _refuse(*_: object, **__: object) -> Run:
    raise ArchiveError("The run was not kept: the disk is full.")


# --- console -----------------------------------------------------------------------------------


@pytest.fixture
def console(archive: Archive) -> Iterator[Callable[..., Console]]:
    """Open a console on the practice board "red"."""
    opened: list[Console] = []

    def start(*, echo: bool = True) -> Console:
        profile = find_profile("practice")
        talk = dataclasses.replace(profile.talk, echo=echo)
        port = f"practice://red?time=virtual&echo={'yes' if echo else 'no'}"
        choice = LinkChoice(port, dataclasses.replace(profile, talk=talk))
        opened.append(
            Console(choice, archive, lambda _: None, lambda _: None, look_again_s=0.0).__enter__()
        )
        return opened[-1]

    yield start
    for board in opened:
        board.__exit__(None, None, None)


def typed(board: Console, *lines: str) -> None:
    for line in lines:
        board.enter(line)
        board.settle(60.0, 0.6)


@pytest.mark.parametrize("echo", [True, False])
def test_a_run_in_the_console_is_kept_like_any_other(
    console: Callable[..., Console], archive: Archive, echo: bool
) -> None:
    """The same rows as `run` keeps, with the answers that were typed; other lines are no run."""
    board = console(echo=echo)
    typed(board, *DOUBLE.splitlines(), "PRINT 5", "RUN", "4", "21", "PRINT 6")
    (kept,) = archive.runs()
    assert kept.printed.rows == ("YOUR NUMBER? 4", " 8", "? 21", " 42")
    assert (kept.command, kept.typed.rows, kept.end) == ("RUN", ("4", "21"), RunEnd())


def test_a_run_in_the_console_that_ends_with_an_error(
    console: Callable[..., Console], archive: Archive
) -> None:
    """The words of the board and the line."""
    typed(console(), "10 PRINT 7/0", "RUN")
    assert last(archive).end == RunEnd("error", "cannot divide by 0", 10)


def test_a_run_in_the_console_that_is_stopped(
    console: Callable[..., Console], archive: Archive
) -> None:
    """By the user, or since the console is left while it runs."""
    board = console()
    typed(board, '10 PRINT "ON"', "20 GOTO 10")
    for leave, end in (
        (board.interrupt, RunEnd("interrupted", "The program was stopped.")),
        (lambda: board.__exit__(None, None, None), LEFT),
    ):
        board.enter("RUN")
        board.listen(0.3)
        leave()
        kept = last(archive)
        assert not kept.ended.endswith(".")  # it goes on in a sentence
        assert kept.end == end and kept.printed.rows[:2] == ("ON", "ON")
    assert len(archive.runs()) == 2


# --- bounds ------------------------------------------------------------------------------------


def test_the_first_and_the_last_rows_of_much_output_are_kept() -> None:
    """Half of the bound each, whole rows, and what is missing is told to the byte and the row."""
    printed = Printed()
    rows = [f"{number:07}" for number in range(20_000)]  # 8 bytes each with its line feed
    for row in rows:
        printed.add(row)
    half = MOST_BYTES // 2 // 8
    text = printed.text()
    assert text.rows == (*rows[:half], *rows[-half:])
    assert (text.cut, text.cut_after) == (8 * (20_000 - 2 * half), half)


def test_up_to_the_bound_nothing_is_cut() -> None:
    """To the byte."""
    printed = Printed()
    for _ in range(MOST_BYTES // 8):
        printed.add("1234567")
    assert printed.text() == RunText(("1234567",) * (MOST_BYTES // 8))
    printed.add("X")
    assert printed.text().cut == 8


def test_one_endless_row_is_cut_itself() -> None:
    """Its beginning is kept; a character of several bytes is never halved."""
    printed = Printed()
    printed.add("é" * MOST_BYTES)
    printed.add("END")
    text = printed.text()
    assert text.rows[-1] == "END" and set(text.rows[0]) == {"é"}
    assert sum(len(row.encode()) + 1 for row in text.rows) + text.cut == 2 * MOST_BYTES + 1 + 4
    assert sum(len(row.encode()) + 1 for row in text.rows) <= MOST_BYTES


def test_control_characters_are_kept_as_escapes() -> None:
    """What is shown later cannot obey them, and both ways of running keep the same."""
    printed = Printed()
    printed.add("\x1b[2J\ud800")
    assert printed.text().rows == ("\\x1b[2J\\ud800",)


def test_a_run_belongs_to_a_revision_that_was_kept_for_another_kind(
    table: Callable[..., Any], archive: Archive
) -> None:
    """The board lists it by its own rules; a changed program is no longer that revision."""
    other = content_of(Listing.from_text("10 PRINT 1\n"), b"10 PRINT 1\n", "utf-8",
                       find_profile("token"))  # fmt: skip
    archive.keep("DOUBLE", other, Origin("file"))
    board = table()
    loaded(board, archive, "10 PRINT 1\n")
    with board.session() as session:
        run(session)
        assert last(archive).revision == "DOUBLE@1"
    board.load("10 PRINT 2\n")
    with board.session() as session:
        run(session)
    assert last(archive).revision == ""
