"""Standard streams that are closed or broken, and a hostlink that is stopped, told or hung up."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hostlink.cli.entry import COMMANDS, cli

if os.name != "posix":
    pytest.skip("closes descriptors, sends signals", allow_module_level=True)

pytestmark = pytest.mark.usefixtures("signals")

DEADLINE_S = 180.0
REAL = ("--port", "practice://class")
ENDLESS = ('10 PRINT "X"', "20 GOTO 10")

# Every command with arguments that let it do its work, and its status with an empty standard input.
LINES: dict[str, tuple[tuple[str, ...], int]] = {
    "practice": ((), 2),
    "boards": ((), 0),
    "survey": ((), 0),
    "meet": ((), 0),
    "load": (("-",), 1),
    "save": (("TIDE",), 0),
    "run": ((), 0),
    "console": ((), 0),
    "restart": ((), 1),
    "stored": ((), 0),
    "store": (("TIDE",), 0),
    "recall": (("NOBODY",), 1),
    "backup": ((), 0),
    "putback": (("backup@9",), 1),
    "firmware": (("write", "--previous"), 1),
    "together": (("-",), 1),
    "class": (("nobody.toml",), 1),
    "review": (("tide",), 0),
    "mend": (("-",), 1),
    "renumber": (("tide",), 0),
    "shrink": (("tide",), 0),
    "adapt": (("tide", "--profile", "capital"), 0),
    "try": (("shipped:tide",), 0),
    "sheet": (("tide", "-o", "tide.html"), 0),
    "card": (("-o", "card.html"), 0),
    "booklet": (("tide", "-o", "booklet.html"), 0),
    "site": (("tide", "-o", "site"), 0),
    "keep": (("tide.bas",), 0),
    "give": (("tide", "-o", "given.zip"), 0),
    "programs": ((), 0),
    "find": (("TIDE",), 0),
    "show": (("TIDE",), 0),
    "history": (("TIDE",), 0),
    "runs": (("TIDE",), 0),
    "compare": (("tide", "dice"), 1),
    "note": (("TIDE", "high water"), 0),
    "tag": (("TIDE", "harbour"), 0),
    "retire": (("TIDE",), 0),
    "return": (("TIDE",), 0),
    "archive": (("prove",), 0),
}


def start(*words: str, closed: tuple[int, ...] = (), **ends: int) -> subprocess.Popen[bytes]:
    """Start hostlink with some of its standard streams closed."""

    def close() -> None:
        for end in closed:
            os.close(end)

    pipes = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    return subprocess.Popen(
        [sys.executable, "-m", "hostlink", *words],
        preexec_fn=close,
        **{**pipes, **ends},
    )


def ended(*words: str, closed: tuple[int, ...] = (), **ends: int) -> tuple[int, str, str]:
    """Run hostlink so; its status, output and talk."""
    with start(*words, closed=closed, **ends) as process:
        out, err = process.communicate(timeout=DEADLINE_S)
    told = (out or b"").decode(), (err or b"").decode()
    for bad in ("Traceback", "Exception ignored", "Fatal Python error", "lost sys.std"):
        assert bad not in "".join(told), told
    return process.returncode, *told


@pytest.fixture
def loaded(hostlink: Callable, place: Path) -> Path:
    """The folder; TIDE is on the board, in the archive and in a file."""
    assert hostlink("load", "tide").status == 0
    (place / "tide.bas").write_text(hostlink("show", "TIDE").out, encoding="utf-8")
    return place


def files_in(folder: Path) -> dict[Path, bytes]:
    """All that stands in a folder."""
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_every_command_stands_in_the_table() -> None:
    """A new command is tried with closed streams, too."""
    assert set(LINES) == set(COMMANDS) == set(cli.list_commands(None))  # type: ignore[arg-type]


@pytest.mark.one_in(14)
@pytest.mark.parametrize("name", LINES)
def test_no_job_begins_that_cannot_report(name: str, loaded: Path) -> None:
    """Standard output or error is closed: status 1, said where it still can be, nothing is done."""
    words, _ = LINES[name]
    before = files_in(loaded)
    for closed in [(1,), (2,), (0, 1), (0, 2), (1, 2), (0, 1, 2)]:
        status, out, err = ended(name, *words, closed=closed)
        assert status == 1
        if len(set(closed) & {1, 2}) == 1:
            which = "output" if 1 in closed else "error"
            told = err if 1 in closed else out
            assert told.startswith(f"hostlink: Standard {which} is closed")
            assert "Nothing was done." in told
    assert files_in(loaded) == before


@pytest.mark.one_in(14)
@pytest.mark.parametrize("name", LINES)
@pytest.mark.usefixtures("loaded")
def test_a_closed_standard_input_is_an_empty_one(name: str) -> None:
    """Each command ends as it does with an empty standard input."""
    words, status = LINES[name]
    assert ended(name, *words, closed=(0,))[0] == status


@pytest.mark.one_in(14)
@pytest.mark.parametrize(
    ("name", "end"),
    [
        *((name, "stdout") for name in LINES),
        *((name, "stderr") for name in ("load", "save", "survey", "store", "backup", "console")),
    ],
)
@pytest.mark.usefixtures("loaded")
def test_a_reader_that_has_gone_ends_nothing_but_the_output(name: str, end: str) -> None:
    """`| head -1`, and `2>&1 | head -1` for a job that talks: no word of it, and the job's status.

    Where it was data that nobody reads, the status is 0.
    """
    words, status = LINES[name]
    reader, writer = os.pipe()
    os.close(reader)
    done, _, err = ended(name, *words, **{end: writer})
    os.close(writer)
    assert done == status or (done, end) == (0, "stdout")
    assert "ipe" not in err


@pytest.mark.one_in(2)
@pytest.mark.parametrize("words", [("load", "-"), ("together", "-"), ("console",), ("run",)])
@pytest.mark.usefixtures("loaded")
def test_a_standard_input_that_cannot_be_read_is_no_traceback(
    words: tuple[str, ...], place: Path
) -> None:
    """It is open for writing only (`0> file`)."""
    end = os.open(place / "new.txt", os.O_WRONLY | os.O_CREAT)
    status, _, err = ended(*words, stdin=end)
    os.close(end)
    if words[-1] == "-":
        assert status == 1
        assert "tandard input cannot be read" in err
    else:
        assert status == 0


def test_bytes_that_are_no_text_are_no_traceback(loaded: Path) -> None:
    """They are refused as characters that the board lacks, or typed where it has them."""
    (loaded / "bytes").write_bytes(b"PRINT 1\n\xff\xfe\nPRINT 2\n")
    end = os.open(loaded / "bytes", os.O_RDONLY)
    status, out, _ = ended("console", stdin=end)
    os.close(end)
    assert status == 0
    assert " 2" in out


# --- a reader that goes away in the middle -------------------------------------------------------


def test_a_run_whose_reader_goes_away_stops_the_program(
    hostlink: Callable, listing: Callable, seat: Callable
) -> None:
    """`hostlink run | head -1`: quiet, status 0, and the board is at its prompt."""
    assert hostlink("load", listing(*ENDLESS)).status == 0
    run = seat("run", *REAL)
    run.until("X\n")
    run.hang_up()
    assert run.end() == 0
    assert run.err == ""
    assert hostlink("save", "ENDLESS").status == 0


def test_a_load_whose_talk_nobody_reads_goes_on_to_its_end(
    hostlink: Callable, seat: Callable, board_holds: Callable
) -> None:
    """`hostlink load 2>&1 | head -1`: the board holds all of it, and the status says so."""
    assert hostlink("load", "-", stdin=b"10 REM MINE\n").status == 0
    load = seat("load", "tide", "--port", "practice://class?baud=9600", "--baud", "9600")
    load.until("Sending", of="err")
    load.hang_up(of="err")
    assert load.end() == 0
    assert len(board_holds()) == 32


# --- signals -------------------------------------------------------------------------------------


def test_a_terminal_that_is_closed_ends_the_run_in_good_order(
    hostlink: Callable, listing: Callable, seat: Callable, board_holds: Callable
) -> None:
    """The system sends SIGHUP; the program is stopped, and what happened goes to stderr.

    Whether a write to the terminal fails before the signal is heeded makes no difference.
    """
    assert hostlink("load", listing(*ENDLESS)).status == 0
    run = seat("run", *REAL, terminal=True)
    run.until("X\r\n")
    run.hang_up()
    assert run.end() == 128 + signal.SIGHUP
    assert "It was interrupted. The program is still in the board's memory." in run.err
    assert list(board_holds()) == [10, 20]


def test_a_signal_that_was_ignored_stays_ignored(
    hostlink: Callable, listing: Callable, seat: Callable
) -> None:
    """nohup: the hang-up is nothing to it, SIGTERM ends it (POSIX.1-2017, nohup)."""
    assert hostlink("load", listing("10 INPUT A", "20 PRINT A", "30 GOTO 10")).status == 0

    def ignore() -> None:
        signal.signal(signal.SIGHUP, signal.SIG_IGN)

    run = seat("run", *REAL, preexec_fn=ignore)
    run.until(r"\? $")
    run.process.send_signal(signal.SIGHUP)
    run.type("5\n")
    run.until(" 5\n")
    run.process.send_signal(signal.SIGTERM)
    assert run.end() == 128 + signal.SIGTERM
    assert "It was interrupted" in run.err


def test_a_signal_at_a_question_ends_at_once(hostlink: Callable, seat: Callable) -> None:
    """Nobody has to answer first; the board is as it was."""
    assert hostlink("load", "tide").status == 0
    ask = seat("restart", *REAL, terminal=True)
    ask.until("Restart the board", of="err")
    ask.process.send_signal(signal.SIGTERM)
    assert ask.end() == 128 + signal.SIGTERM
    assert "Stopped at the question." in ask.err
    assert hostlink("save").status == 0


def test_a_signal_ends_a_console_that_waits_for_its_pipe(seat: Callable) -> None:
    """No further line has to come first."""
    console = seat("console", *REAL)
    console.type("PRINT 5\n")
    console.until(" 5\n")
    console.process.send_signal(signal.SIGTERM)
    assert console.process.wait(DEADLINE_S) == 128 + signal.SIGTERM


@pytest.mark.one_in(2)
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
@pytest.mark.parametrize(
    ("line", "row", "state"),
    [
        ("PRINT 6*7", " 42", "The board is at its prompt."),
        ("RUN", "ON", "Its program was left running."),
    ],
)
def test_a_signal_ends_a_console_at_a_terminal(
    number: int, line: str, row: str, state: str, hostlink: Callable, seat: Callable
) -> None:
    """It is no Ctrl+C, which stops the board's program: the console ends and tells the state."""
    assert hostlink("load", "-", stdin=b'10 PRINT "ON"\n20 INPUT A\n').status == 0
    console = seat("console", *REAL, terminal=True, env={**os.environ, "TERM": "xterm"})
    console.until("Talking to")
    console.type(f"{line}\r")
    console.until(f"{row}\r\n")
    console.process.send_signal(number)
    assert console.end() == 128 + number
    assert console.err.endswith(f"hostlink: The console was ended.\n  {state}\n")


def test_a_signal_without_a_job_is_told_in_a_word(seat: Callable) -> None:
    """A listing is awaited from standard input: nothing was begun."""
    load = seat("load", "-", terminal=True)
    load.until("Type or paste the listing", of="err")
    load.process.send_signal(signal.SIGTERM)
    assert load.end() == 128 + signal.SIGTERM
    assert load.err.endswith("hostlink: Stopped.\n")


# --- stopped and going on ------------------------------------------------------------------------


class SlowBoard:
    """A board behind a pseudo terminal: RUN prints ON at once, and OFF when the test says so."""

    def __init__(self) -> None:
        import pty
        import tty

        self._far, near = pty.openpty()
        tty.setraw(near)
        self.name = os.ttyname(near)
        os.close(near)  # else the port would be in use
        self.go_on = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def _live(self) -> None:
        line = b""
        while True:
            try:
                data = os.read(self._far, 64)
            except OSError:  # nobody has opened the near end, or not yet
                if self.go_on.is_set():
                    return
                continue
            for byte in data:
                if byte != 13:
                    line += bytes((byte,))
                    os.write(self._far, bytes((byte,)))
                    continue
                os.write(self._far, b"\r\n")
                if line == b"RUN":
                    os.write(self._far, b"ON\r\n")
                    self.go_on.wait(DEADLINE_S)
                    os.write(self._far, b"OFF\r\n")
                os.write(self._far, b"> ")
                line = b""

    def close(self) -> None:
        self.go_on.set()
        self._thread.join(DEADLINE_S)
        os.close(self._far)


@pytest.fixture
def slow_board() -> Iterator[SlowBoard]:
    board = SlowBoard()
    yield board
    board.close()


def test_time_in_which_hostlink_is_stopped_is_no_time_of_the_program(
    seat: Callable, slow_board: SlowBoard
) -> None:
    """Stopped for longer than the run may take, it goes on, and hears the end of the program."""
    limit_s = 4
    run = seat(*("run", "--port", slow_board.name, "--profile", "tiny", "--seconds", str(limit_s)))
    run.until("ON\n")
    run.process.send_signal(signal.SIGSTOP)
    with pytest.raises(subprocess.TimeoutExpired):
        run.process.wait(limit_s + 0.5)
    slow_board.go_on.set()
    run.process.send_signal(signal.SIGCONT)
    assert run.end() == 0, run.err
    assert run.out == "ON\nOFF\n"
