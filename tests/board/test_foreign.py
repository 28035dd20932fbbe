"""A foreign interpreter at a real terminal: what its profile says of it, and how it is talked to.

Loading and saving its packaged programs is in tests/published/test_foreign_load.py.
"""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any, NoReturn

import pytest

from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.loading import Loader
from hostlink.board.profile.file import find_profile, load_profile, shipped_profiles
from hostlink.board.profile.model import Profile
from hostlink.board.recognise import Recogniser
from hostlink.errors import LinkError, LinkReason
from hostlink.link.serial_port import SerialPort
from hostlink.link.wire import Wire
from hostlink.listing.parse import Line

HELPER = Path(__file__).parent / "foreign_board.py"


@pytest.fixture(scope="module")
def foreign(
    lacking: Callable[[str], NoReturn], require_program: Callable[[str], str]
) -> ModuleType:
    """The helper module, where its interpreter is installed."""
    if os.name != "posix":
        lacking("a pseudo-terminal needs a POSIX system")
    require_program("bwbasic")
    spec = importlib.util.spec_from_file_location("foreign_board", HELPER)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["foreign_board"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def profile(foreign: ModuleType) -> Profile:
    return load_profile(foreign.PROFILE)


@pytest.fixture
def place(foreign: ModuleType) -> Iterator[Any]:
    with foreign.foreign_board() as board:
        yield board


@pytest.fixture
def board(place: Any, profile: Profile, patient_clock: Callable[[], Any]) -> Iterator[Dialogue]:
    """An interpreter of its own, not yet attached."""
    banner = profile.talk.banner.encode()
    wire = Wire(SerialPort(place.port, profile.talk.baud), patient_clock(), banner=banner)
    yield Dialogue(wire, profile)
    wire.close()


def test_attaching_finds_its_prompt(board: Dialogue) -> None:
    """The prompt of the profile is the one that the interpreter shows."""
    board.attach()
    assert board.ask("PRINT 6*7").split() == ["42"]


def test_it_lists_in_its_own_form(board: Dialogue) -> None:
    """A line is listed as `     10: PRINT "HI"` and read back as it was typed."""
    board.attach()
    board.ask('10 PRINT "HI"')
    assert '     10: PRINT "HI"' in board.ask("LIST")
    assert board.capture().lines[10].typed == '10 PRINT "HI"'


def test_a_running_program_is_left_alone_and_stopped_with_consent(board: Dialogue) -> None:
    """Its interrupt key is the terminal's: the interpreter is really interrupted by it."""
    board.attach()
    board.ask("10 GOTO 10")
    board.wire.write(b"RUN\r")
    with pytest.raises(LinkError) as caught:
        board.attach()
    assert caught.value.reason in (LinkReason.RUNNING, LinkReason.SILENT)
    board.attach(may_interrupt=True)
    assert list(board.capture().lines) == [10]


def test_a_new_load_replaces_the_old_program(
    board: Dialogue, program: Callable[[str], dict[int, Line]]
) -> None:
    """What was there is cleared; only the difference goes out where it is known."""
    board.attach()
    old = program("10 PRINT 1\n20 PRINT 2\n30 END\n")
    new = program("10 PRINT 1\n25 PRINT 3\n30 END\n")
    Loader(board, old).load()
    Loader(board, new).load(board.capture().lines)
    assert {n: line.typed for n, line in board.capture().lines.items()} == {
        n: line.typed for n, line in new.items()
    }
    assert board.ask("RUN").split() == ["1", "3"]


def test_a_damaged_echo_is_erased_and_typed_again(board: Dialogue) -> None:
    """A character that got in between is taken back with the terminal's own erase key."""
    board.attach()
    board.wire.write(b"x")
    answer = board.exchange("PRINT 5")
    assert answer.repairs == 1
    assert board.body(answer.answer).split() == ["5"]


def test_other_programs_are_out_of_its_reach(board: Dialogue, place: Any) -> None:
    """It hands unknown lines to the shell: none is found there, and its folder stays empty."""
    board.attach()
    assert "not found" in board.ask("ls")
    assert list(place.folder.iterdir()) == []


def test_nobody_else_counts_as_using_the_port(place: Any) -> None:
    """The bridge holds only its own end of the terminal, so the port is free to be opened."""
    for handle in Path("/proc/self/fd").iterdir() if Path("/proc/self/fd").is_dir() else ():
        assert not handle.exists() or str(handle.resolve()) != place.port


def test_it_is_recognised_though_no_profile_is_named(
    place: Any, patient_clock: Callable[[], Any], program: Callable[[str], dict[int, Line]]
) -> None:
    """Its prompt, its line ends and the form of its listing are heard; by that alone a program goes
    there and is read back."""
    tiny = find_profile("tiny")
    wire = Wire(SerialPort(place.port, 9600), patient_clock())
    Dialogue(wire, tiny).listen_starting()
    kinds = [find_profile(name) for name in shipped_profiles()]
    first = Recogniser(wire, kinds, tiny).run()
    assert (first.known, first.profile.talk.prompt) == (False, b"bwBASIC: ")
    dialogue = Dialogue(wire, first.profile)
    dialogue.attach()
    dialogue.ask('10 PRINT "HI"')
    again = Recogniser(wire, kinds, tiny).run().profile
    assert again.rules.form.list_form == "{number}: {text}"
    dialogue = Dialogue(wire, again)
    dialogue.attach()
    lines = program("10 PRINT 1\n20 REM small letters stay\n30 END\n")
    Loader(dialogue, lines).load(dialogue.capture().lines)
    held = dialogue.capture().lines
    assert {n: line.typed for n, line in held.items()} == {
        n: line.typed for n, line in lines.items()
    }
    wire.close()


def test_the_helper_serves_from_the_command_line(
    foreign: ModuleType, profile: Profile, patient_clock: Callable[[], Any]
) -> None:
    """Run as a script it prints the port's name first, and the port answers."""
    process = subprocess.Popen(
        [sys.executable, str(HELPER)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout is not None
        port = process.stdout.readline().strip()
        assert re.fullmatch(r"/dev/\S+", port)
        wire = Wire(SerialPort(port, profile.talk.baud), patient_clock())
        dialogue = Dialogue(wire, profile)
        dialogue.attach()
        assert dialogue.ask("PRINT 1").split() == ["1"]
        wire.close()
    finally:
        process.send_signal(2)  # as the interrupt key would
        process.communicate(timeout=300)
    assert process.returncode == 0
    assert foreign.PROGRAM == "bwbasic"
