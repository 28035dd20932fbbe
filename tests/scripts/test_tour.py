"""The tour tells the whole main job, in commands that can be typed again."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import pytest


def test_the_main_job_is_told_in_order(script):
    """Load and run, load the change, save, compare, and say where the archive is."""
    tour = script("tour").steps(Path("changed.bas"))
    words = [step.arguments[0] for step in tour]
    assert words == ["programs", "load", "load", "save", "history", "compare", "archive"]
    assert "--run" in tour[1].arguments
    assert tour[2].arguments[1] == "changed.bas"


def test_only_the_practice_board_is_touched(script):
    """Every step that opens a port opens the practice board."""
    for step in script("tour").steps(Path("changed.bas")):
        if step.arguments[0] in ("load", "save"):
            port = step.arguments[step.arguments.index("--port") + 1]
            assert port.startswith("practice://")


def test_the_change_goes_before_the_first_line(script):
    """The changed listing has one line more, with a smaller number than all others."""
    changed = script("tour").changed_listing('10 PRINT "TIDE"\n20 GOTO 10\n')
    assert changed == '9 PRINT "CHANGED IN CLASS"\n10 PRINT "TIDE"\n20 GOTO 10\n'


@pytest.mark.parametrize("listing", ["", "no numbers here\n", "1 END\n"])
def test_a_listing_without_room_before_it_is_refused(script, listing):
    """Where no line can go before the first, the tour does not invent one."""
    with pytest.raises(ValueError, match="no line number"):
        script("tour").changed_listing(listing)


def test_commands_are_shown_as_they_can_be_typed(script, monkeypatch):
    """A shell makes the very same arguments of what is shown."""
    tour = script("tour")
    monkeypatch.setattr(sys, "platform", "linux")
    arguments = ("load", "my file.bas", "--port", "practice://tour?fresh")
    assert shlex.split(tour.shown(arguments)) == ["python3", "scripts/start.py", *arguments]
    monkeypatch.setattr(sys, "platform", "win32")
    assert tour.shown(arguments).startswith(r'py scripts\start.py load "my file.bas"')


def test_the_first_failure_ends_the_tour_with_its_status(script, capsys):
    """Later steps are not run, and the status is that of the failed command."""
    tour = script("tour")
    taken = []

    def run(arguments):
        taken.append(arguments[0])
        return 3 if arguments[0] == "save" else 0

    assert tour.take(tour.steps(Path("changed.bas")), run) == 3
    assert taken == ["programs", "load", "load", "save"]
    assert "ended with status 3" in capsys.readouterr().out
