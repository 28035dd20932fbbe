"""The starter speaks on any old Python, and hands every argument on."""

from __future__ import annotations

import ast
import os
import shlex
import sys

import pytest


@pytest.mark.parametrize("name", ["start.py", "check.py"])
def test_old_pythons_can_read_it(scripts_folder, name):
    """Both entry scripts parse as Python 3.6, so that they can say which Python is needed."""
    ast.parse((scripts_folder / name).read_text(encoding="ascii"), feature_version=(3, 6))


def test_old_pythons_are_told_what_is_needed(script, monkeypatch, capsys):
    """On Python 3.10 one sentence names the version needed; nothing is set up."""
    start = script("start")
    environment = script("environment")
    monkeypatch.setattr(sys, "version_info", (3, 10, 4, "final", 0))
    monkeypatch.setattr(environment.Environment, "prepare", lambda *_: pytest.fail("set up"))
    assert start.main(["programs"]) == 1
    said = capsys.readouterr().err
    assert "needs Python 3.11 or newer" in said
    assert "this is Python 3.10" in said


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 14, 1), (4, 0, 0)])
def test_newer_pythons_are_welcome(script, version):
    """From 3.11 on there is no complaint."""
    assert script("start").complaint_about(version) == ""


@pytest.mark.parametrize(
    ("arguments", "ending"),
    [
        (["programs"], ["-P", "-m", "hostlink", "programs"]),
        (["load", "my file.bas", "--tour"], ["-m", "hostlink", "load", "my file.bas", "--tour"]),
        (["--help"], ["-m", "hostlink", "--help"]),
        (["--python", "-m", "pytest", "-q"], ["python", "-m", "pytest", "-q"]),
    ],
)
def test_arguments_are_handed_on(script, arguments, ending):
    """Arguments reach hostlink, or the environment's Python, in their order and unchanged."""
    command = script("start").command_for(arguments, "python", True)
    assert command[0] == "python"
    assert command[-len(ending) :] == ending


@pytest.mark.parametrize(("arguments", "terminal"), [([], False), (["--tour"], True)])
def test_without_a_terminal_the_tour_is_taken(script, scripts_folder, arguments, terminal):
    """No argument where nobody can be shown the app, or --tour alone, runs the tour."""
    assert script("start").command_for(arguments, "python", terminal) == [
        "python",
        "-P",
        str(scripts_folder / "tour.py"),
    ]


@pytest.mark.parametrize(("port", "ending"), [("", ["practice"]), ("/dev/ttyUSB0", [])])
def test_without_arguments_in_a_terminal_the_app_opens(script, monkeypatch, port, ending):
    """On the practice board, or on the board that HOSTLINK_PORT names."""
    monkeypatch.setenv("HOSTLINK_PORT", port)
    command = script("start").command_for([], "python", True)
    assert command == ["python", "-P", "-m", "hostlink", *ending]


def test_failed_set_up_is_one_sentence_and_status_1(script, monkeypatch, capsys):
    """A set-up that fails ends with its sentence on stderr, and nothing is run."""
    start, environment = script("start"), script("environment")

    def fail(*_):
        raise environment.SetupError("No room.")

    monkeypatch.setattr(environment.Environment, "prepare", fail)
    monkeypatch.setattr(environment, "become", lambda _: pytest.fail("ran"))
    assert start.main(["programs"]) == 1
    assert capsys.readouterr() == ("", "No room.\n")


def test_status_of_the_command_is_returned(script, monkeypatch):
    """What hostlink returns to the shell is what the starter returns."""
    start, environment = script("start"), script("environment")
    monkeypatch.setattr(environment.Environment, "prepare", lambda *_: None)
    monkeypatch.setattr(environment, "become", lambda command: 4 if command[-1] == "save" else 0)
    assert start.main(["save"]) == 4


@pytest.mark.parametrize(
    ("arguments", "names"),
    [(["programs"], True), (["--python", "-V"], False), (["--pack", "x"], False)],
)
def test_hostlink_is_told_how_it_was_called(script, monkeypatch, arguments, names):
    """So that what it advises can be pasted; a folder with a blank in its name is quoted."""
    start = script("start")
    environment = script("environment")
    monkeypatch.setattr(environment.Environment, "prepare", lambda *_: None)
    monkeypatch.setattr(environment, "become", lambda command: len(command) * 0)
    monkeypatch.setattr(sys, "argv", ["my stick/start.py"])
    monkeypatch.setattr(sys, "executable", "/usr/bin/python3")
    monkeypatch.setenv("HOSTLINK_CALLED", "")
    assert start.main(arguments) == 0
    wanted = "python3 'my stick/start.py'" if names else ""
    assert os.environ["HOSTLINK_CALLED"] == wanted
    assert shlex.split(wanted)[1:] in ([], ["my stick/start.py"])
