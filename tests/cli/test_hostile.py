"""Nothing of a board, a file or the archive reaches the terminal unescaped, in any command.

Every command that shows such text is run over the same hostile text: terminal control sequences
(ECMA-48: CSI, OSC, the C1 set; DEL, BEL, NUL), markup, characters that turn the direction of
writing (Unicode Standard Annex 9), line and paragraph separators, bytes that are no UTF-8, and
rows of thousands of characters.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hostlink.archive import Archive, BackupItem, Content, Origin
from hostlink.cli.entry import COMMANDS
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings

CONTROL = "\x1b[2J\x1b]0;owned\x07\x9b31m\x00\x7f\x08\r\u202eback\u2066\u2028\u2029\u200b\ufeff"
MARKUP = "[red]A[5][/red][/]"
HOSTILE = f"{CONTROL}{MARKUP}{'W' * 3000}"
LISTING = f'10 PRINT "{HOSTILE}"\n20 REM {CONTROL}\n30 GOTO 10\n'


def unescaped(text: str) -> list[str]:
    """Characters that do something to a terminal, or to the order of what is read."""
    return sorted({character for character in text if not character.isprintable()} - {"\n"})


class Shown:
    """Runs commands and looks at all that they show."""

    def __init__(self, hostlink: Callable) -> None:
        self._hostlink = hostlink
        self.commands: list[str] = []

    def __call__(self, *words: str, stdin: bytes = b"", status: int | None = None) -> str:
        told = self._hostlink(*words, stdin=stdin)
        self.commands.append(words[0])
        assert unescaped(told.out) == [], words
        assert unescaped(told.err) == [], words
        if status is not None:
            assert told.status == status, told.err
        if "--json" in words and told.status == 0:
            json.loads(told.out)
        return told.out + told.err


@pytest.fixture
def shown(hostlink: Callable) -> Shown:
    """A command line whose every word is looked at."""
    return Shown(hostlink)


def content(text: str) -> Content:
    raw = text.encode("utf-8", "surrogatepass")
    return Content(raw, text, text, "practice", "utf-8", len(text))


@pytest.fixture
def kept(archive: Archive, place: Path) -> Iterator[Archive]:
    """An archive full of hostile text: what its own rules let in, and what another tool put in."""
    board = archive.board_seen(location=f"practice://class{CONTROL}")
    origin = Origin("board", HOSTILE, board.uuid, note=HOSTILE)
    archive.keep("TIDE", content(LISTING), origin, title=HOSTILE)
    archive.keep("TIDE", content(f"{LISTING}40 REM MORE\n"), origin)
    archive.keep("[red]A[5]", content(f"10 REM {MARKUP}\n"), Origin("file", HOSTILE))
    archive.note("TIDE", HOSTILE)
    archive.note("TIDE@1", HOSTILE)
    archive.rescue(content(f"10 REM RESCUED {HOSTILE}\n"), origin, program="TIDE")
    archive.set_host_copy(board.uuid, content(LISTING), proven=True)
    image = archive.keep_image(b"\x0c\x94\x40\x00" * 40, part=HOSTILE, name=HOSTILE)
    record = archive.begin_write(
        board.uuid, image, previous=None, role="computer", part=f"ATmega328P{CONTROL}"
    )
    archive.end_write(record, "done", banner=HOSTILE)
    items = [
        BackupItem("memory", content(LISTING), 2),
        BackupItem("stored", content(LISTING), 2, "ONE"),
    ]
    archive.keep_backup(
        board.uuid, items, profile=HOSTILE, where=HOSTILE, banner=HOSTILE, note=HOSTILE
    )
    with archive.event("load", board_uuid=board.uuid, program="TIDE") as job:
        job.detail["listing"] = HOSTILE
    other = sqlite3.connect(place / "archive.sqlite3")
    other.execute("UPDATE boards SET label = ?, label_key = 'x'", (f"Red{HOSTILE}",))
    other.execute(
        "UPDATE programs SET name = ?, name_key = 'odd' WHERE name LIKE '[red]%'", (HOSTILE,)
    )
    other.execute("INSERT INTO tags (program_id, tag, tag_key) VALUES (1, ?, 'k')", (HOSTILE,))
    other.commit()
    other.close()
    yield archive


READING = [
    ("programs",),
    ("programs", "--rescues"),
    ("programs", "--tag", "k"),
    ("find", "print"),
    ("find", "rescued"),
    ("find", "owned"),
    ("find", "--size", "1-"),
    ("show", "TIDE"),
    ("show", "TIDE@1"),
    ("show", "rescue@1"),
    ("history", "TIDE"),
    ("history", "odd"),
    ("compare", "TIDE@1", "TIDE@2"),
    ("compare", "TIDE", "rescue@1"),
    ("review", "TIDE"),
    ("review", "rescue@1"),
    ("boards",),
    ("firmware", "history"),
    ("archive", "prove"),
]


@pytest.mark.parametrize("words", READING, ids=" ".join)
@pytest.mark.parametrize("json_too", [False, True])
@pytest.mark.usefixtures("kept")
def test_what_the_archive_holds_is_shown_and_never_obeyed(
    shown: Shown, words: tuple[str, ...], json_too: bool
) -> None:
    """Names, titles, notes, tags, labels, places, listings, banners, events, in text and JSON."""
    text = shown(*words, *(["--json"] if json_too else []))
    if words[0] in ("show", "programs"):
        assert "[red]A[5]" in text  # markup is text like any other
        assert "\\x1b[2J" in text or "\\u001b[2J" in text


@pytest.mark.usefixtures("kept")
def test_what_changes_or_writes_says_hostile_words_escaped(shown: Shown, place: Path) -> None:
    """Mending, renumbering, notes, tags, retiring, copies, files of every kind."""
    (place / "board.txt").write_text(LISTING, encoding="utf-8")
    for words in (
        ("note", "TIDE", HOSTILE),
        ("tag", "TIDE", HOSTILE),
        ("tag", "TIDE", "--remove", HOSTILE),
        ("retire", "odd"),
        ("programs", "--retired"),
        ("return", "odd"),
        ("mend", "board.txt"),
        ("mend", "TIDE", "-o", "mended.bas"),
        ("renumber", "TIDE"),
        ("shrink", "TIDE"),
        ("sheet", "TIDE", "-o", "sheet.html"),
        ("sheet", "TIDE", "-o", "sheet.txt"),
        ("card", "-o", "card.html"),
        ("give", "TIDE", "given"),
        ("keep", "board.txt"),
        ("archive", "duplicate", "spare.sqlite3"),
        ("archive", "export", "bag"),
        ("archive", "import", "bag"),
        ("archive", "import", "spare.sqlite3"),
    ):
        shown(*words)


NAMES = [
    f"a{CONTROL.replace(chr(0), '')}{MARKUP}",
    "b" * 300,
    "-\x1b[2J",
    "\udcff\udcfe.bas",
]


@pytest.mark.parametrize("name", NAMES, ids=["control", "long", "option", "no UTF-8"])
def test_names_in_errors_are_escaped(shown: Shown, place: Path, name: str) -> None:
    """Files, programs, revisions, boards, ports, profiles, archives that are not there."""
    for words in (
        ("show", name),
        ("show", f"TIDE@{name}"),
        ("load", name),
        ("review", name),
        ("mend", name),
        ("compare", name, name),
        ("history", name),
        ("note", name, name),
        ("tag", name, name),
        ("retire", name),
        ("return", name),
        ("find", "x", "--board", name),
        ("find", "x", "--size", name),
        ("find", "--tag", name),
        ("find", f"--{name}"),
        (name,),
        ("together", name),
        ("keep", name),
        ("give", name, name),
        ("sheet", name, "-o", name),
        ("renumber", name, "-o", name),
        ("shrink", name),
        ("review", "tide", "--profile", name),
        ("review", "tide", "--profile", f"{name}.toml"),
        ("save", name, "--port", name),
        ("save", "X", "--baud", name),
        ("boards", "--label", name, "--port", name),
        ("stored", "--port", f"practice://{name}"),
        ("recall", name),
        ("store", name),
        ("putback", name),
        ("run", "--input", name),
        ("firmware", "review", name),
        ("firmware", "write", name, "--role", name),
        ("programs", "--archive", name),
        ("archive", "duplicate", name),
        ("archive", "import", name),
        ("archive", name),
        ("card", "--profile", name, "-o", name),
        ("save", "X", "--record", name),
    ):
        shown(*words)
    assert place.is_dir()


@pytest.mark.skipif(os.name != "posix", reason="other systems have no such file names")
def test_files_with_hostile_names_are_named_escaped(shown: Shown, place: Path) -> None:
    """A file that is there, whose name and content are both against us."""
    name = f"a{CONTROL.replace(chr(0), '')}[red]A[5].bas"
    (place / name).write_text('10 PRINT "OK"\n', encoding="utf-8")
    (place / f"{name}.toml").write_text("[board]\nname = 3\n", encoding="utf-8")
    (place / f"{name}.hex").write_text(":00000001FE\n", encoding="utf-8")
    os.mkfifo(place / "pipe")
    shown("load", name, "--port", "practice://hostile?time=virtual", status=0)
    for words in (
        ("show", name),
        ("review", name),
        ("mend", name, "-o", f"out-{name}"),
        ("mend", name, "-o", f"out-{name}"),
        ("keep", name),
        ("review", name, "--profile", f"{name}.toml"),
        ("firmware", "review", f"{name}.hex"),
        ("compare", name, name),
        ("programs",),
        ("history", "A"),
    ):
        shown(*words)


PROGRAM = {
    10: b'PRINT "\x1b[2J\x1b]0;x\x07\x9b31m[red]A[5][/red]\xe2\x80\xae"',
    20: b"REM \xff\xfe\x00\x7f\x08" + b"W" * 400,
}


@pytest.mark.parametrize(
    "words",
    [
        ("save", "HELD"),
        ("run",),
        ("backup",),
        ("stored",),
        ("store", "ONE"),
        ("load", "tide"),
        ("load", "tide", "--changes"),
        ("restart", "--yes"),
        ("survey",),
        ("console",),
        ("boards",),
        ("together", "-"),
    ],
    ids=" ".join,
)
def test_what_a_board_sends_is_shown_and_never_obeyed(
    shown: Shown,
    machine_at_port: Callable[..., Machine],
    kept: Archive,
    words: tuple[str, ...],
) -> None:
    """Memory, banner, slots, printed text and errors of a board that sends control sequences."""
    machine = machine_at_port(BoardSettings(program_bytes=3000), program=PROGRAM)
    machine.basic.eeprom["\x1b[2J[red]"] = {10: b"REM \x1b[2J"}
    machine.basic.eeprom["ONE"] = {10: b"REM \x9b2J"}
    stdin = (
        b"LIST\nRUN\nPRINT 1\nleave!\n" if words[0] == "console" else b"save HELD\nrun\nstored\n"
    )
    shown(*words, stdin=stdin)
    assert kept.path.exists()


def test_a_board_that_shows_nothing_but_rubbish_is_told_escaped(
    shown: Shown, machine_at_port: Callable[..., Machine]
) -> None:
    """A prompt of control sequences, and one of thousands of characters, are quoted in an error."""
    for prompt in (CONTROL.encode("utf-8", "replace") + b"? ", b"W" * 5000, b"\xff\x00\x1b[31m> "):
        machine_at_port(BoardSettings(prompt=prompt))
        for command in (("save", "X"), ("load", "tide"), ("run",), ("stored",), ("console",)):
            text = shown(*command, stdin=b"leave!\n")
            assert all(len(row) < 2000 for row in text.splitlines())


def test_every_command_is_looked_at() -> None:
    """A new command has to be added above."""
    source = Path(__file__).read_text(encoding="utf-8")
    without = {"practice"}  # opens the app, whose own tests look at it
    missing = [name for name in COMMANDS if f'"{name}"' not in source and name not in without]
    assert missing == []
