"""`hostlink console`: on a pipe line by line, on a terminal with keys and a screen.

The terminal is prompt_toolkit's own pipe input and recording output; the board is a practice board
on a virtual clock, listened to by its owner's thread.
"""

from __future__ import annotations

import io
import re
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import PipeInput, create_pipe_input
from prompt_toolkit.output import DummyOutput

from hostlink.archive import Archive
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.no_prompt_errors import asks_for
from hostlink.board.profile.file import find_profile
from hostlink.cli.console_screen import ConsoleTerminal, _history
from hostlink.cli.console_words import doing_words
from hostlink.cli.progress import Teller
from hostlink.cli.ways import IN_CONSOLE, in_commands
from hostlink.jobs.console import Console
from hostlink.jobs.session.activity import Activity, BoardState
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.link.owner import Owner

LONGEST_S = 60.0  # a bound, not a wait
PASTE = "\x1b[200~{}\x1b[201~"  # bracketed paste: xterm control sequences, private mode 2004


# --- on a pipe -------------------------------------------------------------------------------


def test_a_pipe_talks_line_by_line(hostlink: Callable, archive: Archive) -> None:
    """Each line is answered before the next is typed, an INPUT too; the transcript is the data."""
    told = hostlink("console", stdin=b"10 INPUT A\n20 PRINT A*2\nRUN\n21\nPRINT 5\n")
    assert told.status == 0
    assert told.out.splitlines() == [
        "+ 10 INPUT A",
        "+ 20 PRINT A*2",
        "+ RUN",
        "? 21",
        " 42",
        "+ PRINT 5",
        " 5",
    ]
    copy = archive.host_copy(archive.boards()[0].uuid)
    assert copy is not None
    assert copy.content.text == "10 INPUT A\n20 PRINT A*2\n"
    assert copy.may_lack_edits


def test_a_save_after_console_edits_makes_the_next_revision(
    hostlink: Callable, archive: Archive
) -> None:
    """The program is known, so no name is asked for; after NEW it is another one, and it is."""
    assert hostlink("load", "shipped:TIDE").status == 0
    hostlink("console", stdin=b"30 LET H=9\n")
    assert archive.host_copy(archive.boards()[0].uuid).revision == "TIDE@1"
    assert re.search("TIDE@1, proven [-0-9]+ [:0-9]+, changed since", hostlink("boards").out)
    assert hostlink("save").status == 0
    latest = archive.revision("TIDE")
    assert latest.spec == "TIDE@2"
    assert "30 LET H=9" in archive.content(latest).text
    hostlink("console", stdin=b"NEW\n10 PRINT 1\n")
    assert archive.host_copy(archive.boards()[0].uuid).revision == ""
    assert "has no name here yet" in hostlink("save").err


def test_a_save_of_another_known_program_is_told_as_that_one(
    hostlink: Callable, archive: Archive, tmp_path: Path
) -> None:
    """Fetched from the EEPROM at the console, PIER is PIER and no revision of TIDE."""
    (tmp_path / "pier.bas").write_text("10 PRINT 5\n20 END\n")
    assert hostlink("load", "pier.bas").status == 0
    assert hostlink("store", "PIER").status == 0
    assert hostlink("load", "shipped:TIDE").status == 0
    assert hostlink("recall", "PIER").status == 0
    hostlink("console", stdin=b"10 PRINT 6\n")
    assert hostlink("save").status == 0
    assert archive.revision("PIER").spec == "PIER@2"
    assert hostlink("load", "shipped:TIDE").status == 0
    hostlink("console", stdin=b"FETCH PIER\n")
    assert "Kept as PIER@3" in hostlink("save").err  # an older one again is the newest
    assert archive.revision("TIDE").spec == "TIDE@1"


def test_the_word_that_ends_ends(hostlink: Callable) -> None:
    """What stands after it is not typed; with a blank before it, it goes to the board."""
    told = hostlink("console", stdin=b"PRINT 1\nleave!\nPRINT 2\n")
    assert told.status == 0
    assert " 1" in told.out
    assert " 2" not in told.out
    assert "! " in hostlink("console", stdin=b" leave!\n").out


def test_clearing_on_a_pipe_rescues_first(hostlink: Callable, archive: Archive) -> None:
    """NEW waits until the program is kept."""
    told = hostlink("console", stdin=b"10 PRINT 1\nNEW\ncapture!\n")
    assert told.status == 0
    assert "Rescued what the board held as rescue@1" in told.err
    assert "proven: 0 lines" in told.err
    assert archive.content(archive.revision("rescue@1")).text == "10 PRINT 1\n"


def test_a_program_that_runs_on_is_left_or_interrupted(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the end of the pipe a running program is left alone and that is said; interrupt! stops
    it; a line meanwhile is refused with status 1."""
    monkeypatch.setattr("hostlink.cli.commands.console._LONGEST_ANSWER_S", 1.0)
    told = hostlink("console", stdin=b"10 INPUT A\nRUN\n")
    assert told.status == 0
    assert "The program was left running" in told.err
    assert told.out.splitlines()[-1] == "? "
    loop = b'10 PRINT "ON"\n20 GOTO 10\nRUN\n'
    told = hostlink("console", "--stop-running", stdin=loop + b"PRINT 1\n")
    assert told.status == 1
    assert "running and printing" in told.err
    told = hostlink("console", "--stop-running", stdin=loop + b"interrupt!\nPRINT 7\n")
    assert told.status == 0
    assert told.out.splitlines()[-1] == " 7"


def test_a_line_that_is_too_long_is_told_and_the_next_is_typed(hostlink: Callable) -> None:
    """On a pipe the console goes on behind it, and ends with status 1."""
    told = hostlink("console", stdin=f"10 REM {66 * 'A'}\nPRINT 5\n".encode())
    assert told.status == 1
    assert "too long: it has 73 characters, and the board takes 72." in told.err
    assert "wire" not in told.err
    assert told.out.splitlines()[-1] == " 5"


def test_the_console_does_not_advise_itself(capsys: pytest.CaptureFixture[str]) -> None:
    """A question is answered where it is told; elsewhere at a terminal, since a pipe ends first."""
    asked = asks_for(b"HOW MANY? ", may_stop=False)
    Teller(by=IN_CONSOLE).emit(Warned(asked.what, advice=asked.advice))
    assert "Answer it here, or stop it by interrupt!" in capsys.readouterr().err
    assert "Answer it with `hostlink console` at a terminal" in in_commands(asked.advice)


def test_an_unplug_on_a_pipe_is_a_failed_link(hostlink: Callable) -> None:
    """Nobody waits there; status 3 and what happened."""
    told = hostlink(
        "console",
        "--port",
        "practice://class?time=virtual&unplug_after_bytes=20",
        stdin=b"PRINT 1\n" * 9,
    )
    assert told.status == 3
    assert "unplugged" in told.err


def test_the_wire_is_recorded(hostlink: Callable, place: Path) -> None:
    """--record writes down what passed, and never over a file that is there."""
    assert hostlink("console", "--record", "wire.txt", stdin=b"PRINT 12345\n").status == 0
    assert "12345" in (place / "wire.txt").read_text(encoding="ascii")
    assert hostlink("console", "--record", "wire.txt", stdin=b"PRINT 1\n").status == 1


def test_it_does_not_stand_in_together(hostlink: Callable) -> None:
    """There standard input holds the commands."""
    told = hostlink("together", stdin=b"console\n")
    assert told.status != 0
    assert '"console" cannot be used in a command file.' in told.err


# --- on a terminal ---------------------------------------------------------------------------


class Seen(io.StringIO):
    """What was written, from whichever thread; `wait_for` blocks until a text is there."""

    def __init__(self) -> None:
        super().__init__()
        self._more = threading.Condition()

    def write(self, text: str) -> int:
        with self._more:
            count = super().write(text)
            self._more.notify_all()
        return count

    def wait_for(self, text: str) -> None:
        with self._more:
            assert self._more.wait_for(lambda: text in self.getvalue(), LONGEST_S), self.getvalue()


@pytest.fixture
def seen() -> Seen:
    """Everything that is printed while there is a keyboard, on either stream."""
    return Seen()


@contextmanager
def keyboard(
    archive: Archive, seen: Seen, options: str = ""
) -> Iterator[tuple[PipeInput, ConsoleTerminal]]:
    """A screen at the practice board "desk", and keys to press."""
    from hostlink.cli.output import data
    from hostlink.cli.progress import Teller

    choice = LinkChoice(f"practice://desk?time=virtual&{options}", find_profile("practice"))

    def connect() -> Console:
        return Console(choice, archive, Teller().emit, data, stays=True)

    with (
        redirect_stdout(seen),
        redirect_stderr(seen),
        create_pipe_input() as keys,
        create_app_session(input=keys, output=DummyOutput()),
        Owner(
            "desk", connect, idle=lambda board, ends: board.listen(0.05, ends), idle_s=0.01
        ) as owner,
    ):
        board = owner.submit(lambda opened: opened).result(LONGEST_S)
        yield keys, ConsoleTerminal(owner, board, _history(archive))


def press(keys: PipeInput, screen: ConsoleTerminal, text: str) -> bool:
    """Press keys and let the screen take one turn."""
    keys.send_text(text)
    return screen.turn()


def test_lines_are_typed_and_answered(archive: Archive, seen: Seen) -> None:
    """Return types the line; the board's rows come above; the word that ends ends."""
    with keyboard(archive, seen) as (keys, screen):
        assert press(keys, screen, "PRINT 6*7\r")
        seen.wait_for(" 42\n")
        assert not press(keys, screen, "leave!\r")


def test_a_line_can_be_edited_and_called_back(archive: Archive, seen: Seen) -> None:
    """Backspace and left arrow edit; up arrow brings the last line, in the next run too."""
    with keyboard(archive, seen) as (keys, screen):
        press(keys, screen, "PRIN 99\x7f\x7f7\x1b[D\x1b[DT\r")
        seen.wait_for(" 7\n")
    with keyboard(archive, seen) as (keys, screen):
        press(keys, screen, "\x1b[A\x7f8\r")
        seen.wait_for(" 8\n")


def test_ctrl_c_interrupts_the_program_and_not_hostlink(archive: Archive, seen: Seen) -> None:
    """The running program streams, stops, and the console goes on."""
    with keyboard(archive, seen) as (keys, screen):
        press(keys, screen, '10 PRINT "ON AND ON"\r')
        press(keys, screen, "20 GOTO 10\r")
        press(keys, screen, "RUN\r")
        seen.wait_for("ON AND ON\n" * 20)
        assert press(keys, screen, "\x03")
        seen.wait_for("The program was stopped.")
        seen.wait_for("* stopped")
        assert press(keys, screen, "PRINT 5\r")
        seen.wait_for(" 5\n")


def test_the_row_that_the_board_has_not_ended_stands_before_the_line(
    archive: Archive, seen: Seen
) -> None:
    """Its prompt, or the question of a program."""
    with keyboard(archive, seen) as (keys, screen):
        assert screen._board_row() == "+ "
        press(keys, screen, "10 INPUT A\r")
        press(keys, screen, "RUN\r")
        assert screen._board_row() == "? "
        press(keys, screen, "1\r")


def test_the_last_row_says_what_the_board_does(archive: Archive, seen: Seen) -> None:
    """And how a program is stopped, in the width of the narrowest usual screen."""
    with keyboard(archive, seen) as (keys, screen):
        assert screen._foot().startswith("The board is at its prompt.")
        press(keys, screen, "10 INPUT A\r")
        press(keys, screen, "RUN\r")
        screen._wait(screen._owner.submit(lambda board: board.settle(5.0, 2.0)))
        assert screen._foot().startswith("The program is waiting; Ctrl+C stops it.")
        press(keys, screen, "\x03")
        assert screen._foot().startswith("The board is at its prompt.")
    assert all(len(doing_words(BoardState(each))) <= 41 for each in Activity)


@pytest.mark.parametrize(("answer", "lines"), [("yes", 2), ("no", 0), ("", 0)])
def test_a_paste_is_reviewed_before_it_is_sent(
    answer: str, lines: int, archive: Archive, seen: Seen
) -> None:
    """Several lines are taken whole: mends are shown, the question is asked, only yes sends."""
    with keyboard(archive, seen) as (keys, screen):
        keys.send_text(PASTE.format("10 PRINT “A”\r\n20 PRINT 2\r\n"))
        assert press(keys, screen, f"{answer}\r")
        seen.wait_for("quotes became plain")
        seen.wait_for("on the board, proven" if lines else "Nothing was sent")
        press(keys, screen, "capture!\r")
        seen.wait_for(f"proven: {lines} lines")


def test_what_stood_on_the_line_is_no_part_of_a_paste(archive: Archive, seen: Seen) -> None:
    """It is there again afterwards; in front of the paste it would make another line number."""
    with keyboard(archive, seen) as (keys, screen):
        keys.send_text("PRIN" + PASTE.format("10 PRINT 1\r\n20 PRINT 2\r\n"))
        assert press(keys, screen, "yes\r")
        seen.wait_for("on the board, proven")
        assert press(keys, screen, "T 77\r")
        seen.wait_for(" 77\n")
        press(keys, screen, "capture!\r")
        seen.wait_for("proven: 2 lines")


def test_a_paste_within_a_line_is_typed_text(archive: Archive, seen: Seen) -> None:
    """One line without its end is inserted, and can still be edited."""
    with keyboard(archive, seen) as (keys, screen):
        assert press(keys, screen, f"PRINT {PASTE.format('123')}4\r")
        seen.wait_for(" 1234\n")


def test_an_error_is_told_and_the_console_goes_on(archive: Archive, seen: Seen) -> None:
    """A character that the board lacks is named; the next line is typed as ever."""
    with keyboard(archive, seen) as (keys, screen):
        assert press(keys, screen, 'PRINT "€"\r')
        seen.wait_for("U+20AC")
        assert press(keys, screen, "PRINT 3\r")
        seen.wait_for(" 3\n")


def test_an_unplug_is_told_and_the_board_comes_back(archive: Archive, seen: Seen) -> None:
    """The console does not end: it waits, and says when the board is back."""
    with keyboard(archive, seen, "unplug_after_bytes=25") as (keys, screen):
        press(keys, screen, "PRINT 1\r")
        press(keys, screen, "PRINT 2\r")
        press(keys, screen, "PRINT 3\r")
        seen.wait_for("Waiting until it is back")
        seen.wait_for("The board is back, at practice://desk")
        assert not press(keys, screen, "leave!\r")


def test_the_way_out_stands_on_the_screen(archive: Archive, seen: Seen) -> None:
    """In the row at the foot, all the time."""
    with keyboard(archive, seen) as (_, screen):
        assert "leave! ends" in screen._foot()


def test_leaving_by_the_end_of_input(archive: Archive, seen: Seen) -> None:
    """A terminal that is closed ends the console too."""
    with keyboard(archive, seen) as (keys, screen):
        assert not press(keys, screen, "\x04")
