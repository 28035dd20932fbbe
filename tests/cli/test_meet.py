"""The command meet: the steps that it prints, its status, its JSON, and its question."""

from __future__ import annotations

import os
import re
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import pytest
from practice_flash import blank_flash
from pytest_mock import MockerFixture

from hostlink.cli.ways import COMMANDS, at_port

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="there these are not files")
RESTARTING = "practice://class?time=virtual&restarts_on_open=yes"


def bare_board(place: Path, hostlink: Callable) -> None:
    """Blank the flash of the practice board: it has its bootloader only."""
    hostlink("programs")
    assert hostlink("meet").status == 0
    blank_flash(place)


def test_a_known_board_is_met_to_the_top(hostlink: Callable) -> None:
    """Status 0; every step with what was seen, and who it is at the end."""
    hostlink("boards", "--label", "Red")
    hostlink("load", "tide")
    told = hostlink("meet")
    assert told.status == 0
    assert told.out.splitlines()[0].startswith("1  Is a USB bridge there?")
    assert told.out.splitlines()[-1].startswith("This is Red. It talks at 57600 baud like")
    assert "TIDE@1" in told.out.splitlines()[-1]
    got = hostlink("meet", "--json").json
    assert (got["label"], got["memory"], got["ends_at"]) == ("Red", "TIDE@1", None)
    assert [step["step"] for step in got["steps"]] == [
        "bridge", "port", "permission", "free", "answer", "bootloader", "basic", "contents",
    ]  # fmt: skip


def test_a_board_with_a_bootloader_only(hostlink: Callable, place: Path) -> None:
    """Without a word it is not restarted: status 1. With --yes its chip is told."""
    bare_board(place, hostlink)
    told = hostlink("meet")
    assert told.status == 1
    assert "`hostlink meet --yes --port 'practice://class?time=virtual'`" in told.out
    told = hostlink("meet", "--yes")
    assert told.status == 1
    assert told.out.splitlines()[-1].startswith("The chip is alive and has no BASIC yet: write")
    got = hostlink("meet", "--yes", "--json").json
    assert got["bootloader"] == {
        "baud": 115200,
        "signature": "1e 95 0f",
        "chip": "ATmega328P",
        "blank": True,
        "image": None,
    }
    assert got["ends_at"] == "basic"


def test_a_port_whose_opening_restarts_is_not_opened_without_a_word(
    hostlink: Callable, board_holds: Callable
) -> None:
    """What is in memory stays there; with --yes it is met, and the restart is told."""
    hostlink("load", "tide", "--port", RESTARTING)  # learns that opening restarts it
    before = board_holds()
    told = hostlink("meet", "--port", RESTARTING)
    assert told.status == 1
    assert "was left closed" in told.out
    assert board_holds() == before
    told = hostlink("meet", "--port", RESTARTING, "--yes")
    assert told.status == 0
    assert (
        f"kept as TIDE@1; put it back with `hostlink load TIDE@1 --port '{RESTARTING}'`" in told.err
    )
    assert not board_holds()


def test_the_error_for_a_silent_board_names_meet(hostlink: Callable, place: Path) -> None:
    """A job that meets silence names the command that finds out where it fails."""
    bare_board(place, hostlink)
    told = hostlink("save")
    assert told.status == 3
    assert "`hostlink meet`" in told.err


def test_what_is_advised_can_be_pasted(hostlink: Callable, place: Path) -> None:
    """Each command that is named works as it stands, with the port that was given."""
    bare_board(place, hostlink)
    port = "practice://class?time=virtual"
    for words in (("meet",), ("meet", "--yes"), ("save",), ("console", "--yes")):
        told = hostlink(*words, "--port", port)
        said = re.findall(r"`hostlink ([^`]+)`", told.out + told.err)
        assert said, words
        for command in said:
            assert command.endswith(f"--port '{port}'"), command
    again = hostlink("meet", "--port", port).out
    (command,) = re.findall(r"`hostlink (meet [^`]+)`", again)
    assert "its flash is blank" in hostlink(*shlex.split(command)).out
    labelled = at_port(COMMANDS.label_board, port)
    assert labelled == f"with `hostlink boards --label LABEL --port '{port}'`"
    listed = "with `hostlink backup --list`"
    assert at_port(listed, port) == listed


def test_a_restart_that_was_agreed_to_is_not_foretold_again(
    hostlink: Callable, board_holds: Callable, mocker: MockerFixture
) -> None:
    """The question was the word; what was lost, and where it is kept, is told afterwards."""
    hostlink("load", "tide", "--port", RESTARTING)
    terminal = SimpleNamespace(stdin=SimpleNamespace(isatty=lambda: True))
    mocker.patch("hostlink.cli.commands.meet.sys", terminal)
    mocker.patch("hostlink.cli.commands.meet.ask_yes_no", return_value=True)
    told = hostlink("meet", "--port", RESTARTING)
    assert told.status == 0
    assert "will probably restart" not in told.err
    assert "kept as TIDE@1" in told.err
    assert not board_holds()


def test_consent_to_open_a_port_is_none_to_restart(
    hostlink: Callable, place: Path, mocker: MockerFixture
) -> None:
    """A board that was not heard restarting may hold its program still: it is asked for again."""
    hostlink("load", "tide", "--port", RESTARTING)
    blank_flash(place)
    terminal = SimpleNamespace(stdin=SimpleNamespace(isatty=lambda: True))
    mocker.patch("hostlink.cli.commands.meet.sys", terminal)
    asked = mocker.patch("hostlink.cli.commands.meet.ask_yes_no", side_effect=[True, False])
    told = hostlink("meet", "--port", RESTARTING)
    assert [("Open it?" in each.args[0]) for each in asked.call_args_list] == [True, False]
    assert "The restart loses any program" in asked.call_args.args[0]
    assert told.status == 1
    assert "was not restarted" in told.out.replace("\n", " ")


def test_commands_are_named_as_hostlink_was_called(
    hostlink: Callable, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """There is no command `hostlink` for somebody who starts it by start.py."""
    bare_board(place, hostlink)
    monkeypatch.setenv("HOSTLINK_CALLED", "python3 start.py")
    for words in (("meet",), ("save",), ("boards", "--label", "", "--port", "Rde")):
        told = hostlink(*words)
        assert "`python3 start.py " in told.out + told.err
        assert "`hostlink" not in told.out + told.err
    wrong = hostlink("lod").err
    assert wrong.startswith("Usage: python3 start.py ")
    assert "Try 'python3 start.py --help' for help." in wrong
    for words in (("firmware", "review"), ("sheet",), ("load",)):
        told = hostlink(*words, "--help").out
        assert f"    python3 start.py {' '.join(words)}" in told
        assert "hostlink " not in told.partition("Options:")[0]
        assert "hostlink " not in told.partition("Examples:")[2]


@pytest.mark.parametrize(
    ("port", "says"),
    [
        ("foo://bar", "foo:// is not known"),
        ("sokcet://127.0.0.1:1", "Did you mean socket://?"),
        ("class.hex", "is a file, not a port"),
        (".", "is a folder, not a port"),
        pytest.param("pipe", "is a named pipe, not a port", marks=POSIX),
        pytest.param("/dev/null", "is a device of the system itself, not a port", marks=POSIX),
        pytest.param("/dev/zero", "is a device of the system itself, not a port", marks=POSIX),
    ],
)
def test_what_is_no_port_is_told_for_what_it_is(
    port: str, says: str, hostlink: Callable, place: Path
) -> None:
    """Wrong use, and nothing of it is called a step that holds."""
    (place / "class.hex").touch()
    if hasattr(os, "mkfifo"):
        os.mkfifo(place / "pipe")
    told = hostlink("meet", "--port", str(place / port) if "://" not in port else port)
    assert (told.status, told.out) == (2, "")
    assert says in " ".join(told.err.split())


def test_what_a_board_asks_at_its_start_is_answered(hostlink: Callable) -> None:
    """It was heard starting, so no program of the user asks."""
    told = hostlink("meet", "--yes", "--port", "practice://two?kind=asking&time=virtual")
    assert told.status == 0
    assert "holds no program" in told.out


def test_no_bridge_is_status_3(
    hostlink: Callable, mocker: MockerFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing plugged in: the first step says what to do."""
    monkeypatch.delenv("HOSTLINK_PORT")
    mocker.patch("hostlink.board.port.ports._comports", return_value=[])
    mocker.patch("hostlink.jobs.meeting.meeting.hidden_bridges", return_value=[])
    told = hostlink("meet")
    assert told.status == 3
    assert "Plug the small board" in told.out.splitlines()[-1]
