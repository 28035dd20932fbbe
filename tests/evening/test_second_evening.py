"""A second evening, typed into a real terminal: from a stick without a network to a booklet.

Three boards of kinds that nobody named, a fourth with a bootloader and nothing else, a class of
four with a handout, one board that is unplugged half way, one too full and one
deaf; a program that asks and one that errs; collected, merged with another laptop's archive,
printed, and found again by what it printed. After each step what was said is held against the
boards and the archive.
"""

from __future__ import annotations

import base64
import contextlib
import csv
import json
import random
import sqlite3
import zlib
from collections.abc import Callable
from typing import Any

import pytest
from intelhex import IntelHex

VECTORS = b"\x0c\x94\x40\x00" * 26  # ATmega328P: 26 vectors of 4 bytes (DS40002061A, table 12-6)
NOWHERE = "http://127.0.0.1:9"  # nothing listens there, so that whatever asks the network fails
BOARDS = {"red": "capital", "blue": "ready", "amber": "token", "green": "practice"}
REGISTER = """title = "Thursday evening"
hand_out = "HAIL"

""" + "".join(
    f'[[learner]]\nname = "{name}"\nboard = "{board.title()}"\n\n'
    for name, board in zip(("Ada Brook", "Ben Oak", "Cleo Marsh", "Dan Reed"), BOARDS, strict=True)
)
SQUARES = (
    '10 REM squares, as many as are wanted\n20 PRINT "HOW MANY"\n30 INPUT N\n40 FOR I=1 TO N\n'
    '50 PRINT I*I\n60 NEXT I\n70 PRINT "THAT IS ALL"\n'
)


def port(name: str, more: str = "") -> str:
    """The address of a board; its kind is said when it is first plugged in."""
    return f"'practice://{name}?time=virtual{more}'"


@pytest.mark.slow
def test_an_evening_from_a_stick_to_a_booklet(
    evening: Any, printed: Callable[[str], tuple[int, list[str]]]
) -> None:
    """Every step ends as promised: nothing lost, nothing unproven, each sentence true."""
    start_from_a_stick(evening)
    meet(evening)
    first_firmware(evening)
    hand_out(evening)
    full_and_deaf(evening)
    run(evening)
    collect(evening)
    merge(evening)
    print_booklet(evening, printed)


def start_from_a_stick(evening: Any) -> None:
    """A pack is made in the clone; from then on hostlink starts from it, and no network answers."""
    stick = evening.folder / "stick"
    told = evening.type(f"python3 scripts/start.py --pack {stick}", seconds=900)
    assert "The pack is in" in told
    evening.start = f"{stick}/start.py"
    for name in ("http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY"):
        evening.type(f"export {name}={NOWHERE}")
    evening.type(f"export HOME={evening.folder} XDG_DATA_HOME={evening.folder}/data")
    told = evening.type(f"python3 {evening.start} boards", seconds=900)
    assert "Setting hostlink up in" in told
    assert "no port with a USB bridge is here" in told


def meet(evening: Any) -> None:
    """Each kind is told by how it talks; each board gets a label."""
    for name, kind in BOARDS.items():
        told = evening.hostlink(f"meet --yes --port {port(name, f'&kind={kind}')}")
        assert f"like a board of kind {kind}" in told
        assert "holds no program" in told
        evening.hostlink(f"boards --label {name.title()} --port {port(name)}")


def first_firmware(evening: Any) -> None:
    """A chip with a bootloader only gets its firmware, a label and a program in one command."""
    evening.hostlink(f"meet --yes --port {port('new')}")
    path = evening.folder / "practice" / "new.json"
    state = json.loads(path.read_text(encoding="utf-8"))
    state["flash"] = base64.b64encode(zlib.compress(b"\xff" * 32_768)).decode("ascii")
    path.write_text(json.dumps(state), encoding="utf-8")
    told = evening.hostlink(f"meet --yes --port {port('new')}", status=1)
    assert "The chip is alive and has no BASIC yet: write your computer image now" in told
    image = evening.folder / "class.hex"
    made = IntelHex()
    made.puts(0, VECTORS + random.Random(8).randbytes(2000))
    made.write_hex_file(str(image))
    steps = (
        f"--role computer --new-board --label White --load shipped:tide --yes --port {port('new')}"
    )
    told = evening.hostlink(f"firmware write {image} {steps}")
    assert "written and read back" in told
    assert "It is called White from now on." in told
    assert "TIDE@1 is in its memory, proven." in told
    assert evening.flash("new").startswith(bytes(made.tobinarray()))
    assert "This is White." in evening.hostlink("meet --port White")


def hand_out(evening: Any) -> None:
    """Everybody gets the handout, in the BASIC of their board; one is unplugged half way."""
    (evening.folder / "class.toml").write_text(REGISTER, encoding="utf-8")
    evening.type(f"cd {evening.folder}")
    told = evening.hostlink("class class.toml --hand-out")
    assert "4 learners, 4 with the handout" in told
    assert evening.kept("HAIL@1").splitlines() == evening.memory("green")
    told = evening.hostlink(
        f"load shipped:tide --port {port('green', '&unplug_after_bytes=600')}", 3
    )
    assert "was unplugged" in told
    assert 0 < len(evening.memory("green")) < 32
    told = evening.hostlink("class class.toml")
    assert "then TIDE@1 cut off" in told
    assert "4 learners, 3 with the handout" in told
    told = evening.hostlink("class class.toml --hand-out")
    assert "4 learners, 4 with the handout" in told
    assert evening.kept("HAIL@1").splitlines() == evening.memory("green")


def full_and_deaf(evening: Any) -> None:
    """A board without room keeps what it holds; one that hears nothing right is told as that."""
    small, grey = port("small", "&program_bytes=400"), port("grey", "&to_board=1")
    evening.hostlink(f"load HAIL@1 --port {small}")
    told = evening.hostlink(f"load shipped:tide --port {small}", status=1)
    assert "209 bytes over: 609 of 400. Nothing was sent to the board." in told
    assert evening.memory("small") == evening.kept("HAIL@1").splitlines()
    told = evening.hostlink(f"load HAIL@1 --port {grey}", status=3)
    assert '"LIST" could not be typed correctly; the wire damages bytes.' in told
    assert evening.memory("grey") == []


def run(evening: Any) -> None:
    """Small letters in remarks, a question answered from a file, an error; numbers to a file."""
    (evening.folder / "squares.bas").write_text(SQUARES, encoding="ascii")
    (evening.folder / "wrong.bas").write_text(SQUARES.replace("I*I", "I/(I-2)"), encoding="ascii")
    (evening.folder / "five.txt").write_text("5\n", encoding="ascii")
    evening.hostlink("load squares.bas --port Green")
    assert evening.memory("green") == SQUARES.splitlines()
    told = evening.hostlink("run --port Green --input five.txt")
    assert "1 4 9 16 25 THAT IS ALL" in told
    evening.hostlink("runs squares --csv squares.csv")
    rows = list(csv.reader((evening.folder / "squares.csv").read_text("utf-8").splitlines()))
    assert [row[-1] for row in rows[1:]] == ["1", "4", "9", "16", "25"]
    evening.hostlink("load wrong.bas --port Blue --adapt")
    told = evening.hostlink("run --port Blue --input five.txt", status=1)
    assert "line 50" in told


def collect(evening: Any) -> None:
    """Each learner's work is kept under their name; what equals the handout is noted."""
    told = evening.hostlink("class class.toml --collect --page page.html --folders home")
    assert told.count("as handed out") == 2
    assert "DAN-REED@1" in told
    assert "BEN-OAK@1" in told
    assert evening.kept("DAN-REED@1") == SQUARES
    assert {path.name for path in (evening.folder / "home").iterdir()} == {
        "ada-brook", "ben-oak", "cleo-marsh", "dan-reed",
    }  # fmt: skip


def merge(evening: Any) -> None:
    """Another laptop's archive comes in: what is new, what is the same; nothing is taken twice."""
    other = evening.folder / "other.sqlite3"
    there = f"HOSTLINK_ARCHIVE={other} python3 {evening.start}"
    (evening.folder / "cubes.bas").write_text(SQUARES.replace("I*I", "I*I*I"), encoding="ascii")
    evening.type(f"{there} keep cubes.bas squares.bas")
    before = revisions(evening.archive)
    assert "CUBES" in evening.hostlink(f"archive import {other} --preview")
    assert revisions(evening.archive) == before
    told = evening.hostlink(f"archive import {other} --yes")
    assert "1 program, 2 revisions" in told
    after = revisions(evening.archive)
    assert before < after
    assert {program for program, _ in after - before} == {"CUBES", "SQUARES"}
    evening.hostlink(f"archive import {other} --yes")
    assert revisions(evening.archive) == after
    evening.hostlink("archive prove")


def print_booklet(evening: Any, printed: Callable[[str], tuple[int, list[str]]]) -> None:
    """The program that printed THAT IS ALL is found by it, and printed with all of its lines."""
    told = evening.hostlink('find --printed "THAT IS ALL"')
    assert "SQUARES@1" in told
    evening.hostlink("booklet SQUARES HAIL -o booklet.html")
    _, rows = printed((evening.folder / "booklet.html").read_text(encoding="utf-8"))
    paper = [row.split() for row in rows]
    for line in SQUARES.splitlines():
        assert line.split() in paper, line


def revisions(archive: Any) -> set[tuple[str, str]]:
    """What stands in an archive, read by SQLite alone: program and UUID of each revision."""
    with contextlib.closing(sqlite3.connect(f"file:{archive}?mode=ro", uri=True)) as opened:
        return set(opened.execute("SELECT program, uuid FROM revision_list"))
