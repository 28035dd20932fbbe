"""Ended in the middle of real work: signals to a hostlink of its own, in real time."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive

if os.name != "posix":
    pytest.skip("sends signals to another process", allow_module_level=True)

pytestmark = pytest.mark.usefixtures("signals")

# 664 bytes at 60 a second: time enough to come in between, on a busy computer too.
SLOW = ("--port", "practice://class?baud=600", "--baud", "600")
AT_ONCE = ("--port", "practice://class?time=virtual")


def interrupted(
    words: tuple[str, ...], after: str, *, times: int = 1, number: int = signal.SIGINT
) -> tuple[int, str, str]:
    """Run hostlink and send a signal as soon as a row of its talk or data matches `after`."""
    command = [sys.executable, "-u", "-m", "hostlink", *words]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as hostlink:
        watchdog = threading.Timer(120, hostlink.kill)  # a bound, not a wait
        watchdog.start()
        try:
            assert hostlink.stdout is not None
            assert hostlink.stderr is not None
            watched = hostlink.stdout if after.startswith("out:") else hostlink.stderr
            seen = ""
            for row in watched:
                seen += row
                if re.search(after.removeprefix("out:"), row):
                    for _ in range(times):
                        hostlink.send_signal(number)
                    break
            else:
                pytest.fail(f"{after!r} was never said: {seen}")
            out, err = hostlink.communicate()
        finally:
            watchdog.cancel()
            hostlink.kill()
    if watched is hostlink.stdout:
        return hostlink.returncode, seen + out, err
    return hostlink.returncode, out, seen + err


@pytest.mark.one_in(3)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_in_the_middle_of_a_load(
    number: int, hostlink: Callable, archive: Archive, board_holds: Callable
) -> None:
    """What the board holds and what was kept is said; the next load works.

    The status is 128 and the signal's number: common practice of shells (POSIX.1-2017, Shell &
    Utilities 2.8.2, asks for a value above 128).
    """
    assert hostlink("load", "-", *AT_ONCE, stdin=b"10 REM MINE\n").status == 0
    status, _, err = interrupted(("load", "tide", *SLOW), "^Sending", number=number)
    assert status == 128 + number
    what, kept, advice = [row.strip() for row in err.splitlines()[-3:]]
    assert what.startswith("hostlink: Stopped while loading the shipped TIDE: ")
    assert "the board holds a part of it" in what
    assert "The listing is kept as TIDE@1." in kept
    assert "What it held before is kept as rescue@1." in kept
    assert advice == "Load again to complete it."
    assert 0 <= len(board_holds()) < 32
    load = next(event for event in archive.events() if event.job == "load")
    assert load.outcome == "interrupted"
    assert archive.prove().clean
    # No part of a program may pass for a revision: without a name there is nothing to save it to.
    assert hostlink("save", *AT_ONCE).status == 1
    assert hostlink("load", "tide", *AT_ONCE).status == 0
    assert len(board_holds()) == 32
    assert len(archive.history("TIDE")) == 1


def test_ctrl_c_before_anything_is_sent(hostlink: Callable, board_holds: Callable) -> None:
    """While the board's program is still being read nothing was touched, and that is said."""
    assert hostlink("load", "tide", *AT_ONCE).status == 0
    status, _, err = interrupted(("load", "dice", *SLOW), "^Reading what the board holds")
    assert status == 130
    assert "Stopped before anything of the shipped DICE was sent." in err
    assert "The program on the board was not touched." in err
    assert len(board_holds()) == 32
    assert hostlink("save", *AT_ONCE).status == 0


def test_ctrl_c_while_saving(hostlink: Callable, board_holds: Callable, archive: Archive) -> None:
    """Nothing is kept and the board is as it was."""
    assert hostlink("load", "-", *AT_ONCE, stdin=b"10 REM MINE\n" * 1).status == 0
    assert hostlink("load", "tide", *AT_ONCE).status == 0
    status, _, err = interrupted(("save", "COPY", *SLOW), "^Reading the board's program")
    assert status == 130
    assert "The program on the board was not touched. Nothing was kept in the archive." in err
    assert "COPY" not in [program.name for program in archive.programs()]
    assert len(board_holds()) == 32


@pytest.mark.one_in(3)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_interrupts_a_running_program(
    number: int, hostlink: Callable, place: Path
) -> None:
    """The program stops, stays in memory, and what it printed is in the transcript."""
    assert hostlink("load", "-", *AT_ONCE, stdin=b'10 PRINT "X"\n20 GOTO 10\n').status == 0
    words = ("run", "--port", "practice://class", "-o", "so-far.txt")
    status, out, err = interrupted(words, "out:^X$", number=number)
    assert status == 128 + number
    assert out.startswith("X\n")
    assert "It was interrupted. The program is still in the board's memory." in " ".join(
        err.split()
    )
    assert (place / "so-far.txt").read_text(encoding="utf-8").startswith("X\n")
    assert hostlink("save", "ENDLESS", *AT_ONCE).status == 0


def test_a_second_ctrl_c_does_not_wait(hostlink: Callable, archive: Archive) -> None:
    """Twice in a row ends at once, still with 130, and the archive is sound."""
    assert hostlink("load", "-", *AT_ONCE, stdin=b"10 REM MINE\n").status == 0
    status, _, err = interrupted(("load", "tide", *SLOW), "^Sending", times=2)
    assert status == 130
    assert "Traceback" not in err
    assert archive.prove().clean
    assert hostlink("load", "tide", *AT_ONCE).status == 0
