"""An evening class from end to end, typed into a real terminal, from a fresh clone on.

One program goes the whole way: pasted damaged from a forum, mended, made to fit, loaded to four
boards, changed at the console, lost and rescued, saved, compared, printed, typed in by hand, proven
by its check codes, backed up, carried over new firmware, exported and merged elsewhere. After each
step what the design promises is looked up in the archive, in the files and in the boards.
"""

from __future__ import annotations

import binascii
import contextlib
import random
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from intelhex import IntelHex

from hostlink.board.profile.file import load_profile
from hostlink.listing import Listing, measure, mend

HERE = Path(__file__).parent
LIMIT = 999
VECTORS = b"\x0c\x94\x40\x00" * 26  # ATmega328P: 26 vectors of 4 bytes (DS40002061A, table 12-6)
PRINTED = [
    "EVENING CLASS LAMPS",
    "LAMPS ON THE TABLE:  4",
    "STATES THEY CAN SHOW:  16",
    *(f"LAMP  {lamp} IS WORTH  {2 ** (lamp - 1)}" for lamp in range(1, 5)),
    "-" * 16,
    "THE HIGHEST NUMBER IS  15",
    "GOOD NIGHT, LAMPS",
]


@pytest.mark.slow
def test_an_evening_class_from_a_forum_listing_to_a_second_archive(
    evening: Any, printed: Callable[[str], tuple[int, list[str]]]
) -> None:
    """Every step ends as promised: nothing lost, nothing unproven, both archives sound."""
    told = evening.type("python3 scripts/start.py programs --shipped", seconds=900)
    assert "Setting hostlink up in .venv, once" in told
    assert "TIDE" in told
    survey(evening)
    paste_and_make_it_fit(evening)
    load_the_table(evening)
    change_and_restart(evening)
    save_and_compare(evening)
    print_and_type_in(evening, printed)
    back_up_and_write_firmware(evening)
    merge_elsewhere(evening)


def survey(evening: Any) -> None:
    """The unknown board's ways are measured, and kept as a profile that says how."""
    told = evening.hostlink(f"survey --port '{evening.board('red')}' --storing --keep evening")
    assert "as before the survey" in told
    talk = load_profile(evening.folder / "profiles" / "evening.toml").talk
    assert (talk.baud, talk.prompt, talk.receive_buffer) == (19200, b"ok\r\n", 24)
    assert talk.line_ms == pytest.approx(22, rel=0.2)


def paste_and_make_it_fit(evening: Any) -> None:
    """In the app: pasted it opens mended, the review says it does not fit, shrunk it fits."""
    terminal = evening.terminal
    rules = load_profile(evening.folder / "profiles" / "evening.toml").rules
    damaged = (HERE / "damaged.txt").read_text(encoding="utf-8")
    whole = Listing.from_text(mend(damaged, rules).text)
    over = measure(whole, rules).total - LIMIT
    assert over > 0
    terminal.type(f"HOSTLINK_PORT='{evening.board('red')}' HOSTLINK_PROFILE=evening ")
    terminal.type("python3 scripts/start.py; echo ended with $?")
    terminal.press("Enter")
    terminal.until(lambda text: "holds no program" in text)
    terminal.press("Escape", "n")
    terminal.paste(HERE / "damaged.txt")
    terminal.until(lambda text: "Tags of a web page were removed" in text)
    terminal.press("Enter")
    terminal.until(lambda text: f"{over} bytes over" in text)
    terminal.press("Escape", "z")
    terminal.until(lambda text: "until it fits" in text)
    terminal.press("Enter")
    terminal.until(lambda text: "bytes free" in text or " free" in text)
    terminal.press("C-s")
    terminal.until(lambda text: "What is the program called?" in text)
    terminal.type("lamps")
    terminal.press("Enter")
    terminal.until(lambda text: "kept as lamps revision 1" in text.lower())
    terminal.press("C-q")
    terminal.until(lambda text: "ended with 0" in text)
    assert measure(Listing.from_text(evening.kept("lamps")), rules).total <= LIMIT


def load_the_table(evening: Any) -> None:
    """Four boards at once; one is unplugged half way, said, brought back; all hold the same."""
    ports = [evening.board(name) for name in ("red", "blue", "amber")]
    ports.append(evening.board("green", "&unplug_after_bytes=300"))
    each = " ".join(f"--port '{port}'" for port in ports)
    told = evening.hostlink(f"load lamps --profile evening {each}", status=3)
    assert told.count("proven") == 3
    assert "green" in told
    assert "was unplugged" in told
    told = evening.hostlink(f"load lamps --profile evening --port '{evening.board('green')}'")
    assert "is on the board, proven" in told
    listing = evening.kept("lamps").splitlines()
    for name in ("red", "blue", "amber", "green"):
        assert evening.memory(name) == listing, name
    out = evening.folder / "printed.txt"
    evening.hostlink(f"run --profile evening --port '{evening.board('amber')}' > {out}")
    assert out.read_text(encoding="utf-8").splitlines() == PRINTED


def change_and_restart(evening: Any) -> None:
    """At the console a line is changed, then the board restarts by accident: it is said at once,
    with where the program is kept as it was changed last (the first rescue is the green board's
    half of a load)."""
    terminal = evening.terminal
    board = f"practice://red?{evening.secret}&restart_after_bytes=60"
    terminal.type(f"clear; python3 scripts/start.py console --profile evening --port '{board}'")
    terminal.type("; echo ended with $?")
    terminal.press("Enter")
    terminal.until(lambda text: "leave!" in text)
    for line, answer in (('250 PRINT "SLEEP WELL"', "ok"), ("PRINT 6*7", " 42")):
        terminal.type(line)
        terminal.press("Enter")
        terminal.until(lambda text, answer=answer: answer in text)
    terminal.type("PRINT 1111111111111111111111111")
    terminal.press("Enter")
    terminal.until(lambda text: "The board restarted" in text and "load rescue@2 --port" in text)
    terminal.type("leave!")
    terminal.press("Enter")
    terminal.until(lambda text: "ended with 0" in text)
    lines = evening.kept("lamps").splitlines()
    changed = ['250 PRINT "SLEEP WELL"' if line.startswith("250 ") else line for line in lines]
    assert changed != lines
    assert evening.kept("rescue@2").splitlines() == changed
    assert evening.memory("red") == []


def save_and_compare(evening: Any) -> None:
    """The rescue goes back into the board and becomes the next revision; one line is another."""
    port = f"--profile evening --port '{evening.board('red')}'"
    assert "is on the board, proven" in evening.hostlink(f"load rescue@2 {port}")
    assert "LAMPS@2" in evening.hostlink(f"save lamps {port}")
    assert evening.kept("lamps@2") == evening.kept("rescue@2")
    told = evening.hostlink("compare lamps@1 lamps@2", status=1)
    assert "SLEEP WELL" in told
    assert "GOOD NIGHT" in told
    assert "STATES" not in told


def print_and_type_in(evening: Any, printed: Callable[[str], tuple[int, list[str]]]) -> None:
    """On paper stand each line and the code that the standards give it; a typed-in copy with a
    wrong character and a swap is told by line, and is the program when both are mended."""
    sheet, typed = evening.folder / "lamps.html", evening.folder / "typed.bas"
    evening.hostlink(f"sheet lamps -o {sheet} --profile evening")
    lines = evening.kept("lamps").splitlines()
    _, rows = printed(sheet.read_text(encoding="utf-8"))
    paper = [row.split() for row in rows]
    codes = {
        pair
        for row in paper
        if "".join(row).isdigit()
        for pair in zip(row[::2], row[1::2], strict=True)
    }
    # ISO/IEC 7064:2003, MOD 97-10; CRC-16/XMODEM is what binascii.crc_hqx works out.
    for line in lines:
        digits = "".join(f"{ord(character) - 31:02d}" for character in line)
        assert line.split() in paper, line
        assert (line.split()[0], f"{98 - int(digits) * 100 % 97:02d}") in codes, line
    whole = binascii.crc_hqx("".join(f"{line}\n" for line in lines).encode("ascii"), 0)
    assert any(f"{whole:04X}" in row for row in rows)
    wrong = [line.replace("STATES THEY", "STATUS THEY").replace("SLEEP", "SLEPE") for line in lines]
    assert sum(one != other for one, other in zip(lines, wrong, strict=True)) == 2
    port = f"--profile evening --port '{evening.board('blue')}'"
    typed.write_text("\n".join(wrong) + "\n", encoding="ascii")
    evening.hostlink(f"load {typed} {port}")
    evening.hostlink(f"save typed {port}")
    told = evening.hostlink(f"compare typed --sheet {sheet} --profile evening", status=1)
    for good, bad in zip(lines, wrong, strict=True):
        assert (bad in told) is (good != bad), bad
    typed.write_text("\n".join(lines) + "\n", encoding="ascii")
    evening.hostlink(f"load {typed} {port}")
    evening.hostlink(f"save typed {port}")
    evening.hostlink(f"compare typed --sheet {sheet} --profile evening")


def back_up_and_write_firmware(evening: Any) -> None:
    """New firmware: all of flash is the image, and memory and stored program are as before."""
    port = f"--profile evening --port '{evening.board('red')}'"
    evening.hostlink(f"store LAMPS --yes {port}")
    assert "backup@1" in evening.hostlink(f"backup {port}")
    before = evening.state("red")["basic"]
    image = evening.folder / "class.hex"
    made = IntelHex()
    made.puts(0, VECTORS + random.Random(7).randbytes(2000))
    made.write_hex_file(str(image))
    told = evening.hostlink(f"firmware write {image} --role computer --yes {port}")
    assert "written and read back" in told
    assert "Its programs are back on it, proven" in told
    held = bytes(made.tobinarray())
    assert evening.flash("red")[: len(held)] == held
    after = evening.state("red")["basic"]
    assert (after["lines"], after["eeprom"]) == (before["lines"], before["eeprom"])
    assert after["eeprom"]["LAMPS"] == after["lines"]
    assert "class.hex" in evening.hostlink("firmware history")


def merge_elsewhere(evening: Any) -> None:
    """A bag carries everything to a second machine's archive and back; both are proven sound."""
    second = evening.folder / "second.sqlite3"
    elsewhere = f"HOSTLINK_ARCHIVE={second} python3 scripts/start.py"
    evening.type(f"{elsewhere} load shipped:tide --port 'practice://other?time=virtual'")
    evening.hostlink(f"archive export {evening.folder / 'there'}")
    evening.type(f"{elsewhere} archive import {evening.folder / 'there'} --yes")
    evening.type(f"{elsewhere} archive export {evening.folder / 'back'}")
    evening.hostlink(f"archive import {evening.folder / 'back'} --yes")
    assert listings(evening.archive) == listings(second)
    before = listings(second)
    evening.type(f"{elsewhere} archive import {evening.folder / 'there'} --yes")
    assert listings(second) == before
    assert {"LAMPS 1", "LAMPS 2", "TYPED 2", "TIDE 1"} <= {spec for spec, *_ in before}
    evening.hostlink("archive prove")
    evening.type(f"{elsewhere} archive prove")


def listings(archive: Path) -> set[tuple[str, str, str]]:
    """What stands in an archive, read by SQLite alone: program and number, UUID, SHA-256."""
    with contextlib.closing(sqlite3.connect(f"file:{archive}?mode=ro", uri=True)) as opened:
        rows = opened.execute("SELECT program, number, uuid, sha256 FROM revision_list")
        return {(f"{program} {number}", uuid, sha) for program, number, uuid, sha in rows}
