"""A program that runs is typed into by nobody but the user, and stopped only with consent."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from soak_kinds import profile_of

from hostlink.archive import Archive
from hostlink.board.profile.model import Profile
from hostlink.errors import Interrupted, LinkError, LinkReason, RefusedError
from hostlink.jobs.console import Console
from hostlink.jobs.events import ProgramFailed
from hostlink.jobs.listing_source import find_material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.session.activity import Activity
from hostlink.jobs.session.board_contents import read_contents
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.practice.kind_file import find_kind, kind_names

ASKING = ("10 INPUT A", "20 PRINT A", "30 GOTO 10")


class Desk:
    """A console on a practice board; `written` holds what went to the board."""

    def __init__(self, archive: Archive, address: str, profile: Profile) -> None:
        self.stopped = False
        self.written = b""
        choice = LinkChoice(address, profile)
        self.console = Console(
            choice,
            archive,
            lambda _: None,
            lambda _: None,
            cancelled=lambda: self.stopped,
            stays=True,
        )
        self.console.open()
        session = self.console._session
        assert session is not None
        self.session = session
        self.port = session.wire.port
        write = self.port.write

        def noted(data: bytes) -> int | None:
            self.written += data
            self.on_write()
            return write(data)

        self.port.write = noted  # type: ignore[method-assign]
        self.on_write: Callable[[], None] = lambda: None

    def type(self, *lines: str) -> None:
        for line in lines:
            self.console.enter(line)
            self.console.settle(5.0, 3.0)
        self.written = b""

    @property
    def memory(self) -> dict[int, bytes]:
        return dict(self.port.machine.basic.lines)  # type: ignore[attr-defined]


@pytest.fixture
def desk(archive: Archive) -> Iterator[Callable[..., Desk]]:
    """Open a console on a board of a kind, by the profile that fits: desk(kind)."""
    with ExitStack() as opened:

        def start(kind: str = "practice", options: str = "") -> Desk:
            address = f"practice://red-{kind}?time=virtual&fresh{options}"
            address += f"&kind={kind}" * (kind != "practice")
            made = Desk(archive, address, profile_of(find_kind(kind)))
            opened.push(made.console)
            return made

        yield start


def test_a_job_types_nothing_into_a_program_that_waits_for_an_answer(
    desk: Callable[..., Desk], archive: Archive
) -> None:
    """The error shows the question; the program waits as before and takes the user's answer."""
    board = desk()
    board.type(*ASKING, "RUN")
    assert board.console.activity.now.question == "? "
    with (
        pytest.raises(LinkError, match='it asks "\\?"') as failed,
        board.console.lend() as session,
    ):
        read_contents(session, archive)
    assert failed.value.reason is LinkReason.RUNNING
    assert board.written == b""
    board.type("7")
    assert board.console.partial == "? "


def test_with_consent_the_program_is_stopped_and_the_job_done(
    desk: Callable[..., Desk], archive: Archive
) -> None:
    """A question and an endless loop alike; the board is at its prompt afterwards."""
    for program in (ASKING, ('10 PRINT "ON"', "20 GOTO 10")):
        board = desk()
        board.type("NEW", *program)
        board.console.enter("RUN")
        board.console.listen(2.0)
        assert board.console.activity.now.runs
        with board.console.lend(may_stop=True) as session:
            assert read_contents(session, archive).lines == len(program)
        assert board.console.at_prompt
        board.console.__exit__(None, None, None)


def test_a_command_that_is_about_to_be_answered_is_waited_for(
    desk: Callable[..., Desk], archive: Archive
) -> None:
    """Nobody is asked about a direct command that is still being answered."""
    board = desk()
    board.type("10 PRINT 1")
    board.console.enter("PRINT 2")
    with board.console.lend() as session:
        assert read_contents(session, archive).lines == 1


def test_a_clearing_word_given_as_an_answer_makes_nothing_else_be_typed(
    desk: Callable[..., Desk],
) -> None:
    """The board is not asked for its prompt while a program is known to wait."""
    board = desk()
    board.type(*ASKING, "RUN")
    board.console.enter("GOTO")
    assert board.written == b"GOTO\r"


def test_after_a_job_that_failed_the_prompt_is_looked_for_before_anything_is_typed(
    desk: Callable[..., Desk], archive: Archive
) -> None:
    """The next job begins by an empty line, not by a command."""
    board = desk()
    with pytest.raises(LinkError), board.console.lend():
        raise LinkError("The wire broke.", reason=LinkReason.DAMAGED)
    assert board.console.activity.now.activity is Activity.UNKNOWN
    with board.console.lend() as session:
        read_contents(session, archive)
    assert not board.written.startswith(b"L")
    assert board.console.at_prompt


def test_an_answer_that_is_cancelled_half_way_is_taken_back(desk: Callable[..., Desk]) -> None:
    """The next answer is not appended to it."""
    board = desk()
    board.type(*ASKING, "RUN")

    def stop() -> None:
        board.stopped = len(board.written) >= 4

    board.on_write = stop
    with pytest.raises(Interrupted):
        board.console.enter("123456789")
    board.stopped, board.on_write = False, lambda: None
    assert board.console.activity.now.activity is Activity.ASKING
    shown: list[str] = []
    board.console._output._rows._show = shown.append
    board.type("7")
    assert shown == [" 7"]


@pytest.mark.parametrize("kind", kind_names())
def test_a_board_is_free_after_a_stored_line(
    kind: str, desk: Callable[..., Desk], archive: Archive
) -> None:
    """Where no prompt is to come, the end of the last row and quiet stand for it."""
    board = desk(kind)
    board.type("10 PRINT 1", "")
    assert board.console.at_prompt
    with board.console.lend() as session:
        assert read_contents(session, archive).lines == 1


@pytest.mark.one_in(4)
@pytest.mark.parametrize("kind", kind_names())
def test_a_load_that_is_stopped_leaves_no_half_line(
    kind: str, desk: Callable[..., Desk], archive: Archive, place: Path
) -> None:
    """Also on a board with no key that cancels or erases what was typed."""
    lines = {n: f'PRINT "THIS IS LINE {n}"' for n in range(10, 200, 10)}
    listing = place / "lines.bas"
    listing.write_text("".join(f"{n} {text}\n" for n, text in lines.items()), encoding="ascii")
    board = desk(kind)
    whole = {n: text.replace(" ", "").encode() for n, text in lines.items()}
    for most in range(250, 320, 7):
        board.written = b""

        def stop(most: int = most) -> None:
            board.stopped = len(board.written) >= most

        board.on_write = stop
        with pytest.raises(Interrupted), board.console.lend() as session:
            load(session, archive, find_material(str(listing), archive), LoadOptions())
        board.stopped, board.on_write = False, lambda: None
        held = {n: text.replace(b" ", b"") for n, text in board.memory.items()}
        assert held.items() <= whole.items()
        board.type("PRINT 1")
        assert board.console.at_prompt


@pytest.mark.parametrize("kind", ["practice", "capital", "token", "ready"])
def test_an_error_that_ends_a_program_is_reported_with_its_line(
    kind: str, desk: Callable[..., Desk]
) -> None:
    """Only an error that ends a program which was run; printed text like one is none."""
    board = desk(kind)
    events: list[object] = []
    board.console._emit = events.append
    board.type("10 PRINT 1", "20 PRINT 7/0", "RUN")
    (failed,) = [each for each in events if isinstance(each, ProgramFailed)]
    assert failed.number == 20
    events.clear()
    board.type("PRINT 7/0", "20 PRINT 2", "RUN")
    assert not [each for each in events if isinstance(each, ProgramFailed)]


@pytest.mark.parametrize("kind", kind_names())
def test_every_kind_of_board_is_left_alone_at_a_question_and_stopped_with_consent(
    kind: str, desk: Callable[..., Desk], archive: Archive
) -> None:
    """The job is refused without a byte; with consent it is done, and the program still there."""
    board = desk(kind)
    board.type(*ASKING, "RUN")
    assert "?" in board.console.activity.now.question
    with pytest.raises(LinkError), board.console.lend():
        pytest.fail("the job was begun")
    assert board.written == b""
    with board.console.lend(may_stop=True) as session:
        assert read_contents(session, archive).lines == len(ASKING)
    assert board.console.at_prompt


def test_a_board_whose_memory_is_full_is_known_to_be_deaf(desk: Callable[..., Desk]) -> None:
    """It answers each character and takes none; a restart ends that."""
    board = desk("capital", "&program_bytes=70")
    with pytest.raises(LinkError, match="memory is so full"):
        for number in range(10, 200, 10):
            board.console.enter(f"{number} PRINT 1")
            board.console.settle(5.0, 3.0)
    assert board.console.activity.now.activity is Activity.FULL


def test_a_board_with_room_for_a_part_of_a_line_blames_its_memory_not_the_wire(
    desk: Callable[..., Desk],
) -> None:
    """The part that it may have stored is told, and what helps: a number alone makes room."""
    board = desk("capital", "&program_bytes=62")
    with pytest.raises(RefusedError, match=r"takes \d+ of the line's 10 char") as caught:
        for number in range(10, 200, 10):
            board.console.enter(f"{number} PRINT 1")
            board.console.settle(5.0, 3.0)
    assert "line 60" in caught.value.kept
    board.type("10")
    assert board.console.at_prompt
    board.console.capture()
    assert list(board.console.copy.lines) == [20, 30, 40, 50]


def test_a_silent_board_is_known_to_be_silent(desk: Callable[..., Desk]) -> None:
    """It is stayed with; the state tells it until something comes from the board."""
    board = desk()
    board.port.write = len  # type: ignore[method-assign, assignment]
    with pytest.raises(LinkError):
        board.console.enter("PRINT 1")
    assert board.console.activity.now.activity is Activity.SILENT
