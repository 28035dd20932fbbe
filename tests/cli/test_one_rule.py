"""Rules that hold for all commands that read: nothing is made, labels count, inputs are told."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

READING = [
    ("programs", "--rescues"),
    ("find", "TIDE"),
    ("boards",),
    ("backup", "--list"),
    ("firmware", "history"),
]


@pytest.mark.parametrize("words", READING, ids=lambda words: " ".join(words))
def test_an_archive_that_is_not_there_is_read_as_empty(
    words: tuple[str, ...], hostlink: Callable, place: Path
) -> None:
    """It is said that there is none, and none is made."""
    told = hostlink(*words)
    assert told.status == 0
    assert "There is no archive at " in told.err
    assert list(place.iterdir()) == []


def test_a_label_in_the_environment_chooses_the_archive(
    hostlink: Callable, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A practice board's label stands for its port, also for a command that opens none."""
    monkeypatch.delenv("HOSTLINK_ARCHIVE")
    monkeypatch.setenv("XDG_DATA_HOME", str(place / "data"))
    monkeypatch.setenv("HOSTLINK_PORT", "practice://red?time=virtual")
    assert hostlink("boards", "--label", "Red").status == 0
    assert hostlink("load", "tide").status == 0
    monkeypatch.setenv("HOSTLINK_PORT", "Red")
    told = hostlink("programs")
    assert "TIDE" in told.out
    assert "practice.sqlite3" in told.err


def test_line_ends_of_windows_are_no_repair(hostlink: Callable, place: Path) -> None:
    """A whole file of them is as that system has it; among others they are mended."""
    (place / "clean.bas").write_bytes(b"10 PRINT 1\r\n20 END\r\n")
    assert "clean.bas: 0 repairs, 0 doubts." in hostlink("mend", "clean.bas").err
    (place / "mixed.bas").write_bytes(b"10 PRINT 1\r\n20 END\n")
    assert "mixed.bas: 1 repair, 0 doubts." in hostlink("mend", "mixed.bas").err


def test_folders_inside_a_folder_are_told(hostlink: Callable, place: Path) -> None:
    """How many, and the command that keeps what is in one."""
    for name in ("b", "a 2"):
        (place / "lists" / name).mkdir(parents=True)
    (place / "lists" / "one.bas").write_text("10 PRINT 1\n")
    told = hostlink("keep", "lists")
    assert told.status == 0
    assert "Not searched: 2 folders inside; `hostlink keep 'lists/a 2'` keeps" in told.err
    assert hostlink("keep", "lists", "--json").json["folders"] == ["lists/a 2", "lists/b"]


def test_keep_reads_standard_input_under_a_name(hostlink: Callable) -> None:
    """As other commands do; without a name there is nothing to keep it by."""
    told = hostlink("keep", "-", stdin=b"10 PRINT 1\n")
    assert told.status == 2
    assert "Standard input has no name: add --as PROGRAM." in told.err
    assert hostlink("keep", "-", "--as", "PIER", stdin=b"10 PRINT 1\n").status == 0
    assert hostlink("show", "PIER").out == "10 PRINT 1\n"


def test_a_rescue_has_no_history_and_that_is_said(hostlink: Callable) -> None:
    """It is known, and what shows it is named."""
    assert hostlink("console", stdin=b"10 PRINT 1\nNEW\n").status == 0
    told = hostlink("history", "rescue@1")
    assert told.status == 1
    assert "rescue@1 is a rescue, and has no revisions." in told.err
    assert "`hostlink show rescue@1` prints it" in told.err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize(
    "words",
    [("load",), ("keep",), ("review",), ("together",), ("run", "--input"), ("firmware", "review")],
)
def test_a_named_pipe_is_not_waited_for(
    words: tuple[str, ...], hostlink: Callable, place: Path
) -> None:
    """Nobody may ever write there."""
    os.mkfifo(place / "pipe.bas")
    told = hostlink(*words, "pipe.bas")
    assert told.status == 1
    assert "pipe.bas cannot be read: it is a named pipe" in told.err
