"""The console's engine: typed with care, output shown and not obeyed, host copy current, nothing
lost unsaved, and back after an unplug. Boards live on a virtual clock."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from recordings import read_recording

from hostlink.archive import Archive, Origin
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.loading import Loader
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import COMMANDS
from hostlink.errors import LinkError, LinkReason, ListingError, ReadBackError, RefusedError
from hostlink.jobs.board_rows import BoardRows
from hostlink.jobs.console import Console
from hostlink.jobs.event_words import event_words
from hostlink.jobs.events import BoardVanished, Event, MemoryLost, Rescued
from hostlink.jobs.pasting import look_at, may_overwrite, may_store
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.activity import Activity
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.restarting import restart

PROFILE = find_profile("practice")
ORIGIN = Origin("edit")


class Talk:
    """What passed in a console: rows from the board, events from hostlink."""

    def __init__(self) -> None:
        self.rows: list[str] = []
        self.events: list[Event] = []

    @property
    def warnings(self) -> str:
        return " ".join(
            event_words(each, COMMANDS) for each in self.events if isinstance(each, Warned)
        )


@pytest.fixture
def talk() -> Talk:
    return Talk()


@pytest.fixture
def console(archive: Archive, talk: Talk) -> Iterator[Callable[..., Console]]:
    """Open a console on the practice board "red": console("line_ms=5", stays=True)."""
    opened: list[Console] = []

    def start(options: str = "", *, record: Path | None = None, **choices: Any) -> Console:
        choice = LinkChoice(f"practice://red?time=virtual&{options}", PROFILE, record=record)
        board = Console(
            choice,
            archive,
            talk.events.append,
            talk.rows.append,
            look_again_s=0.0,
            **choices,
        )
        opened.append(board.__enter__())
        return board

    yield start
    for board in opened:
        board.__exit__(None, None, None)


def typed(board: Console, *lines: str) -> None:
    """Type lines, each answered before the next."""
    for line in lines:
        board.enter(line)
        board.settle(60.0, 0.6)


def copy_of(archive: Archive) -> tuple[str, bool]:
    """The host copy's text in the archive, and whether it may lack edits."""
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    return copy.content.text, copy.may_lack_edits


# --- talking ---------------------------------------------------------------------------------


def test_rows_of_the_board_come_without_echo_and_prompt(
    console: Callable[..., Console], talk: Talk
) -> None:
    """Direct commands and a program: the board's rows, without the echo and without its prompt."""
    board = console()
    assert board.partial == "+ "
    typed(board, "PRINT 6*7", '10 PRINT "HARBOUR"', "RUN")
    assert talk.rows == [" 42", "HARBOUR"]
    assert board.at_prompt
    assert board.partial == "+ "


def test_a_program_can_ask(console: Callable[..., Console], talk: Talk) -> None:
    """Its question stands as the row that has not ended; the next line is its answer."""
    board = console()
    typed(board, "10 INPUT A", "20 PRINT A*2", "RUN")
    assert not board.at_prompt
    assert board.partial == "? "
    typed(board, "21")
    assert talk.rows[-1] == " 42"
    assert board.at_prompt


def test_a_running_program_streams_and_is_interrupted(
    console: Callable[..., Console], talk: Talk
) -> None:
    """What it prints comes as it is printed; the interrupt goes to the board, which is said."""
    board = console()
    typed(board, '10 PRINT "ON"', "20 GOTO 10")
    board.enter("RUN")
    board.listen(0.5)
    assert talk.rows.count("ON") > 10
    with pytest.raises(RefusedError, match="running"):
        board.enter("PRINT 1")
    board.interrupt()
    assert board.settle(5.0, 1.0)
    assert "The program was stopped." in talk.warnings
    typed(board, "PRINT 7")
    assert talk.rows[-1] == " 7"


def test_board_output_is_shown_and_not_obeyed(talk: Talk) -> None:
    """Control and escape characters from the wire appear as escapes; bytes from 128 too."""
    rows = BoardRows("latin-1", talk.rows.append)
    rows.take(b"\x1b[2J\x07A\r\nB\x9bC\r\n\x1b]0;T")
    assert talk.rows == ["\\x1b[2J\\x07A", "B\\x9bC"]
    assert rows.partial == "\\x1b]0;T"


@pytest.mark.parametrize("cut", range(1, 12))
def test_rows_do_not_depend_on_how_they_arrive(cut: int, talk: Talk) -> None:
    """Split anywhere, between CR and LF too, the rows are the same."""
    rows = BoardRows("latin-1", talk.rows.append)
    text = b"ONE\r\n\r\nTWO\rX"
    rows.take(text[:cut])
    rows.take(text[cut:])
    assert talk.rows == ["ONE", "", "TWO"]
    assert rows.partial == "X"


def test_the_echo_of_our_own_line_end_is_no_row(talk: Talk) -> None:
    """The one that comes first is swallowed, one that comes later is a row."""
    rows = BoardRows("latin-1", talk.rows.append)
    rows.begin(swallow_end=True)
    rows.take(b"\r\n")
    rows.take(b"\r\nA\r\n")
    assert talk.rows == ["", "A"]


def test_an_endless_row_is_shown_in_parts(talk: Talk) -> None:
    """A board that never ends a row fills no memory."""
    rows = BoardRows("latin-1", talk.rows.append)
    rows.take(b"A" * 2000)
    assert [len(row) for row in talk.rows] == [512, 512, 512]


@pytest.mark.parametrize("line", ["PRINT 1\x03", "\x1b[A", "10 REM \t"])
def test_control_characters_are_not_typed(line: str, console: Callable[..., Console]) -> None:
    """An interrupt or escape in a line would not be what it looks like; nothing is sent."""
    board = console("", record=None)
    with pytest.raises(RefusedError, match="control character"):
        board.enter(line)
    typed(board, "PRINT 1")


def test_a_character_that_the_board_lacks_is_not_typed(console: Callable[..., Console]) -> None:
    """Named, and nothing is sent."""
    with pytest.raises(ListingError, match="U\\+20AC"):
        console().enter('10 PRINT "€"')


def test_lines_survive_a_damaged_wire(console: Callable[..., Console], archive: Archive) -> None:
    """At 1 % damage towards the board every line arrives right: its echo is looked at first."""
    board = console("to_board=0.01&seed=3")
    lines = [f'{n} PRINT "LINE NUMBER {n}"' for n in range(10, 110, 10)]
    typed(board, *lines)
    assert board.capture() == 10
    assert copy_of(archive) == ("".join(f"{line}\n" for line in lines), False)


# --- the host copy ---------------------------------------------------------------------------


def test_the_host_copy_follows_every_numbered_line(
    console: Callable[..., Console], archive: Archive
) -> None:
    """Entered, entered again and deleted; it says that it may lack edits at the board."""
    board = console()
    typed(board, "20 PRINT 2", "10 PRINT 1", "30 PRINT 3", "20 PRINT 22", "30")
    assert copy_of(archive) == ("10 PRINT 1\n20 PRINT 22\n", True)
    assert board.capture() == 2
    assert copy_of(archive) == ("10 PRINT 1\n20 PRINT 22\n", False)


def test_the_host_copy_follows_where_the_prompt_is_a_row_of_its_own(
    archive: Archive, talk: Talk
) -> None:
    """Seen with a surveyed board whose prompt is ok and a line end: nothing was noticed then."""
    talks = dataclasses.replace(PROFILE.talk, prompt=b"ok\r\n")
    choice = LinkChoice(
        "practice://red?time=virtual&prompt=ok%0D%0A", dataclasses.replace(PROFILE, talk=talks)
    )
    with Console(choice, archive, talk.events.append, talk.rows.append) as board:
        assert board.partial == ""
        for line in ("10 PRINT 1", "20 PRINT 2", "RUN"):
            board.enter(line)
            assert board.settle(longest_s=5.0, silence_s=5.0), line
        assert [line.text for line in board.copy.lines.values()] == ["PRINT 1", "PRINT 2"]
    assert talk.rows == ["ok", "ok", " 1", " 2", "ok"]


def test_a_line_that_the_board_refuses_is_not_in_the_copy(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """The board complains of it, so it is not in its memory."""
    board = console("program_bytes=30")
    typed(board, "10 PRINT 1", '20 PRINT "THIS DOES NOT FIT ANY MORE"')
    assert any(row.startswith("! ") for row in talk.rows)
    assert copy_of(archive)[0] == "10 PRINT 1\n"


def test_a_listing_that_passes_by_renews_the_copy(
    console: Callable[..., Console], archive: Archive
) -> None:
    """Lines that were typed at the board itself are in it after LIST."""
    board = console()
    board._here().wire.port.machine.basic._state.memory.replace(  # type: ignore[attr-defined]
        {10: b"PRINT 1", 15: b"PRINT 15"}
    )
    typed(board, "LIST")
    assert copy_of(archive) == ("10 PRINT 1\n15 PRINT 15\n", True)


def test_a_restart_in_between_is_told_and_empties_the_copy(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """What it held is kept under a name by which it can be loaded again."""
    board = console()
    typed(board, "10 PRINT 1")
    machine = board._here().wire.port.machine  # type: ignore[attr-defined]
    machine.restart(board._here().wire.now())
    board.listen(3.0)
    assert "The board restarted" in talk.warnings
    assert "hostlink load rescue@1" in talk.warnings
    assert board.copy.lines == {}
    assert archive.content(archive.revision("rescue@1")).text == "10 PRINT 1\n"


def test_an_edited_program_that_is_lost_is_kept_as_it_was_edited(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """Not the revision that it began as is offered, but what was on the board."""
    board = console()
    typed(board, "10 PRINT 1")
    kept = archive.keep("LAMP", archive.host_copy(archive.boards()[0].uuid).content, ORIGIN)  # type: ignore[union-attr]
    board.capture()
    typed(board, "20 PRINT 2")
    assert archive.host_copy(archive.boards()[0].uuid).revision == kept.revision.spec  # type: ignore[union-attr]
    machine = board._here().wire.port.machine  # type: ignore[attr-defined]
    machine.restart(board._here().wire.now())
    board.listen(3.0)
    (lost,) = [each for each in talk.events if isinstance(each, MemoryLost)]
    assert archive.content(archive.revision(lost.spec)).text == "10 PRINT 1\n20 PRINT 2\n"


# --- lent to jobs ----------------------------------------------------------------------------


def test_a_job_has_the_open_session_and_the_console_goes_on(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """The port is not opened again, and the host copy is what the job left."""
    board = console()
    port = board._here().wire.port
    with board.lend() as session:
        loaded = look_at("10 PRINT 3\n", PROFILE).parts[0]
        assert isinstance(loaded, tuple)
        Loader(session.dialogue, {10: loaded[0]}).load()
        save(session, archive, SaveOptions(name="THREE"))
    assert board._here().wire.port is port
    assert board.at_prompt
    assert list(board.copy.lines) == [10]
    typed(board, "RUN")
    assert talk.rows[-1] == " 3"


def test_a_restart_in_a_job_is_told_after_it_once(
    console: Callable[..., Console], talk: Talk
) -> None:
    """By what the job failed with it may not be seen; a restart on purpose tells of itself."""
    board = console()
    typed(board, "10 PRINT 1")
    with pytest.raises(LinkError), board.lend() as session:
        session.wire.port.machine.restart(session.wire.now())  # type: ignore[attr-defined]
        session.dialogue.listen_waking()
        raise LinkError("The job was cut short.", reason=LinkReason.RESTARTED)
    assert [each.spec for each in talk.events if isinstance(each, MemoryLost)] == ["rescue@1"]
    typed(board, "10 PRINT 2")
    talk.events.clear()
    with board.lend() as session:
        restart(session, board._archive, consent=lambda _: True)
    assert not [each for each in talk.events if isinstance(each, MemoryLost)]


def test_a_board_that_vanishes_in_a_job_is_waited_for(
    console: Callable[..., Console], talk: Talk
) -> None:
    """The port is given back, told once; the next job is refused in words."""
    board = console("unplug_after_bytes=40", stays=True)
    with pytest.raises(LinkError) as caught, board.lend() as session:
        for _ in range(20):
            session.dialogue.capture()
    assert caught.value.reason is LinkReason.GONE
    assert not board.is_here
    assert len([each for each in talk.events if isinstance(each, BoardVanished)]) == 1
    with pytest.raises(LinkError, match="not here"), board.lend():
        raise AssertionError("there is no session to lend")


# --- nothing is lost unsaved -----------------------------------------------------------------


@pytest.mark.parametrize("line", ["NEW", "new", "  NEW", "PRINT 1:NEW", "FETCH A", "fetch a"])
def test_a_line_that_clears_the_program_waits_until_it_is_kept(
    line: str, console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """The program is in the archive before the line goes out."""
    board = console()
    typed(board, "10 PRINT 1", "STOW A")
    typed(board, line)
    assert [each.lines for each in talk.events if isinstance(each, Rescued)] == [1]
    assert archive.content(archive.revision("rescue@1")).text == "10 PRINT 1\n"


def test_after_a_job_that_failed_a_program_is_kept_before_it_is_cleared(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """Nobody heard the prompt since: the board is asked for it before NEW may be typed."""
    board = console()
    typed(board, "10 PRINT 7")
    with pytest.raises(LinkError), board.lend():
        raise LinkError("The job did not go well.", reason=LinkReason.DAMAGED)
    assert not board.at_prompt
    board.enter("NEW")
    assert board.settle(5.0, 2.0)
    (told,) = [event for event in talk.events if isinstance(event, Rescued)]
    assert archive.content(archive.rescues()[0]).text == "10 PRINT 7\n"
    assert told.spec == "rescue@1"


@pytest.mark.parametrize("line", ["", "PRINT 5"])
def test_what_a_failed_job_left_in_the_input_line_is_never_entered(
    line: str, console: Callable[..., Console], talk: Talk
) -> None:
    """The board fell silent in the middle of a line: the next line typed is not joined to it."""
    board = console()
    typed(board, "10 PRINT 7")
    with pytest.raises(LinkError), board.lend() as session:
        session.wire.write(b'130 PRINT "ROW 13 O')
        raise LinkError("It fell silent.", reason=LinkReason.SILENT)
    board.listen(2.0)  # its echo comes late
    typed(board, line)
    assert board.at_prompt
    assert board.capture() == 1
    assert list(board.copy.lines) == [10]
    assert not line or " 5" in talk.rows


def test_clearing_words_given_to_a_program_that_asks_are_its_input(
    console: Callable[..., Console], archive: Archive
) -> None:
    """The board is not at its prompt: what may be its input may also be typed as the program ends,
    so a word that clears is not sent where the program cannot be kept first."""
    board = console()
    typed(board, "10 INPUT A", "20 PRINT A", "RUN")
    assert not board.at_prompt
    with pytest.raises(RefusedError, match='"NEW" was not sent'):
        board.enter("NEW")
    board.enter("7")
    board.settle(5.0, 2.0)
    assert board.at_prompt
    assert archive.rescues() == []
    assert [line.text for line in board.copy.lines.values()] == ["INPUT A", "PRINT A"]


def test_a_program_that_clears_itself_is_kept_before_it_runs(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """RUN is as dangerous as what it runs."""
    board = console()
    typed(board, "10 PRINT 1", "20 NEW", "RUN")
    assert [each.lines for each in talk.events if isinstance(each, Rescued)] == [2]
    assert archive.content(archive.revision("rescue@1")).text == "10 PRINT 1\n20 NEW\n"
    assert board.capture() == 0


def test_without_a_proven_capture_the_program_is_not_cleared(
    console: Callable[..., Console], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where it cannot be kept the line is not typed."""
    board = console()
    typed(board, "10 PRINT 1")

    def fail(*_: object) -> None:
        raise LinkError("The captures do not agree.", reason=LinkReason.DAMAGED)

    monkeypatch.setattr("hostlink.jobs.console.rescue_held", fail)
    with pytest.raises(LinkError, match="do not agree"):
        board.enter("NEW")
    assert board.capture() == 1


WORDS: list[Any] = [
    ("NEW", True),
    ("N.", True),
    ("10 NEW", False),
    ('PRINT "NEW"', False),
    ("PRINT '\"':NEW", True),  # on a board whose texts may stand between apostrophes
    ('PRINT "\'":NEW', True),
    ('PRINT "DON\'T SAY NEW"', False),
    ("LIST", False),
    ("FETCH A", True),
    ("", False),
]


@pytest.mark.parametrize(("line", "may"), WORDS)
def test_what_may_overwrite_is_recognised(line: str, may: bool) -> None:
    """By the profile's words, outside quotes, shortened too; a numbered line is only stored."""
    assert may_overwrite(line, PROFILE) is may


@pytest.mark.parametrize(
    ("line", "may"),
    [("STOW A", True), ("stow a", True), ('PRINT "STOW A"', False), ("FETCH A", False)],
)
def test_what_stores_on_the_board_is_recognised(line: str, may: bool) -> None:
    """By the profile's word; what stood there before is gone then."""
    assert may_store(line, PROFILE) is may


# --- pastes ----------------------------------------------------------------------------------


def test_a_paste_is_mended_and_sent_proven(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """Typographic quotes become plain; lines already there stay; what was held is rescued."""
    board = console()
    typed(board, "5 REM MINE", '20 PRINT "OLD"')
    pasted = look_at("10 PRINT “NEW”\n20 PRINT 2\n5\n", PROFILE)
    assert pasted.mended
    assert pasted.count == 3
    board.send(pasted)
    assert copy_of(archive) == ('10 PRINT "NEW"\n20 PRINT 2\n', False)
    assert any(isinstance(each, Rescued) for each in talk.events)
    typed(board, "RUN")
    assert talk.rows[-2:] == ["NEW", " 2"]


def test_a_paste_that_cannot_be_proven_says_what_keeps_the_program_before(
    console: Callable[..., Console], monkeypatch: pytest.MonkeyPatch
) -> None:
    """By its spec, and only if there was a program."""

    def fail(*_: Any) -> None:
        raise ReadBackError("It does not hold the program.", kept="The listing was not changed.")

    board = console()
    monkeypatch.setattr(Loader, "load", fail)
    with pytest.raises(ReadBackError) as caught:
        board.send(look_at("10 PRINT 1\n", PROFILE))
    assert caught.value.kept == "The listing was not changed."
    typed(board, "5 REM MINE")
    with pytest.raises(ReadBackError) as caught:
        board.send(look_at("10 PRINT 1\n", PROFILE))
    assert caught.value.kept.endswith("What it held before is kept as rescue@1.")


def test_direct_lines_in_a_paste_are_entered_in_their_place(
    console: Callable[..., Console], archive: Archive, talk: Talk
) -> None:
    """NEW clears (after a rescue), the block is sent, RUN runs it."""
    board = console()
    typed(board, "90 PRINT 90")
    board.send(look_at("NEW\n10 PRINT 1\n20 PRINT 2\nRUN\n", PROFILE))
    assert talk.rows[-2:] == [" 1", " 2"]
    assert copy_of(archive)[0] == "10 PRINT 1\n20 PRINT 2\n"


def test_what_the_review_finds_in_a_paste_is_told() -> None:
    """Before anything is sent; jumps out of the paste are the board's own affair."""
    for text in ("10 PRINT 1\n20 END\n", "10 PRINT 1\r\n20 END\r\n", "10 PRINT 1\r20 END\r"):
        assert look_at(text, PROFILE).mended == ()  # line ends are as the terminal sends them
    pasted = look_at(f"10 REM {'A' * 100}\n20 GOTO 500\n", PROFILE)
    assert pasted.errors == 1
    assert any("characters long" in remark for remark in pasted.remarks)
    assert not any("500" in remark for remark in pasted.remarks)


def test_a_paste_needs_the_prompt(console: Callable[..., Console]) -> None:
    """A running program would take it as its input."""
    board = console()
    typed(board, "10 INPUT A", "RUN")
    with pytest.raises(RefusedError, match="not at its prompt"):
        board.send(look_at("10 PRINT 1\n20 PRINT 2\n", PROFILE))


def test_a_board_that_answers_no_interrupt_while_its_program_asks_is_silent(
    console: Callable[..., Console], talk: Talk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its program would echo what is typed: with not even that, it is not said to ask any more."""
    board = console()
    typed(board, "10 INPUT A", "RUN")
    board.listen(3.0)
    assert board.activity.now.activity is Activity.ASKING
    with board._linked() as session:
        wire, write = session.wire, session.wire.write
    monkeypatch.setattr(wire, "write", lambda _: None)  # its wire is broken on the way there
    board.interrupt()
    assert board.activity.now.activity is Activity.SILENT
    assert "not even an echo" in talk.warnings
    monkeypatch.setattr(wire, "write", write)
    board.interrupt()
    assert board.at_prompt


# --- unplugged -------------------------------------------------------------------------------


def test_an_unplug_ends_a_console_that_does_not_stay(console: Callable[..., Console]) -> None:
    """On a pipe nobody waits: the error says that the board is gone."""
    board = console("unplug_after_bytes=30")
    with pytest.raises(LinkError) as caught:
        typed(board, *["PRINT 1"] * 10)
    assert caught.value.reason is LinkReason.GONE
    assert not board.is_here


def test_the_link_is_taken_up_again_when_the_board_returns(
    console: Callable[..., Console], talk: Talk, place: Path
) -> None:
    """It is waited for, attached to, and told to be empty; the recording goes on in one file."""
    board = console("unplug_after_bytes=60&fresh", stays=True, record=place / "wire.txt")
    typed(board, "10 PRINT 1")
    with pytest.raises(LinkError):
        typed(board, *["PRINT 1"] * 10)
    assert not board.is_here
    assert "Waiting until it" in talk.warnings
    with pytest.raises(LinkError, match="not here"):
        board.enter("PRINT 1")
    board.choice = dataclasses.replace(board.choice, port="practice://red?time=virtual")
    board._identity = dataclasses.replace(
        board._identity, port="practice://red?time=virtual&fresh"
    )  # it lost its supply
    board.listen(0.1)
    assert board.is_here
    assert "The board is back" in talk.warnings
    assert "Its memory is empty" in talk.warnings
    assert "hostlink load rescue@1" in talk.warnings
    typed(board, "PRINT 5")
    assert talk.rows[-1] == " 5"
    board.__exit__(None, None, None)
    text = (place / "wire.txt").read_text(encoding="ascii")
    sent = b"".join(burst.data for burst in read_recording(text) if burst.side == "host")
    assert sent.count(b"PRINT 5") == 1
    assert b"10 PRINT 1" in sent


def test_a_board_that_is_not_back_yet_is_looked_for_again(
    console: Callable[..., Console], monkeypatch: pytest.MonkeyPatch, place: Path
) -> None:
    """It is not there, or its opening fails: each look is short, nothing is raised, and the
    recording is still open."""
    board = console("unplug_after_bytes=30", stays=True, record=place / "wire.txt")
    with pytest.raises(LinkError):
        typed(board, *["PRINT 1"] * 10)
    with open_session(LinkChoice("practice://red?time=virtual", PROFILE), lambda _: None):
        board.listen(0.1)  # somebody else has it now
        assert not board.is_here
    looks = []

    def away(identity: Any) -> None:
        looks.append(identity)

    monkeypatch.setattr("hostlink.jobs.session.long_session.port_of", away)
    for _ in range(3):
        board.listen(0.1)
    assert len(looks) == 3
    assert not board.is_here
    monkeypatch.undo()
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(place / "practice"))
    board.listen(0.1)
    typed(board, "PRINT 9")
    assert "PRINT 9" in (place / "wire.txt").read_text(encoding="ascii")


def test_a_board_that_shows_no_prompt_is_stayed_with(
    talk: Talk, console: Callable[..., Console]
) -> None:
    """A program that waits for input when the console opens: told, and it can be answered."""
    first = console()
    typed(first, "10 INPUT A", "20 PRINT A+1", "STOW START")
    first.__exit__(None, None, None)
    board = console("restarts_on_open=1", stays=True)
    assert "A program may be running" in talk.warnings
    typed(board, "41")
    assert talk.rows[-1] == " 42"
