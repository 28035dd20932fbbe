"""Bad input: each gets one clear sentence, what was kept, what to do; no traceback, no hang."""

from __future__ import annotations

import errno
import os
import sqlite3
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import serial
from pytest_mock import MockerFixture
from sqlite_utils import Database

from hostlink.archive import Archive
from hostlink.archive.database import access
from hostlink.practice.faults import Faults
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings

VIRTUAL = "practice://class?time=virtual"
HELD = {10: b'PRINT "MINE"', 20: b"GOTO 10"}


def sentences(err: str) -> list[str]:
    """The rows of an error: what happened, what was kept, what to do."""
    rows = err.splitlines()
    first = next(at for at, row in enumerate(rows) if row.startswith("hostlink: "))
    return [row.strip() for row in rows[first:]]


# --- files -----------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["load", "review", "mend", "show"])
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "junk.bas is empty."),
        (b"  \n\t\n", "junk.bas holds nothing but blanks."),
        (bytes(range(256)) * 8, "junk.bas is not text: "),
        (b"\x7fELF\x02\x01\x01" + b"\0" * 90, "junk.bas is not text: "),
        (b"10 PRINT \xff\xfe\n", "junk.bas is not UTF-8 text: byte 10 is 0xFF."),
        (b"10 REM\n" * 1_500_000, "junk.bas is larger than 1,048,576 bytes"),
    ],
    ids=["empty", "blank", "binary", "program", "not UTF-8", "10 MB"],
)
def test_a_file_that_is_no_listing(
    command: str, content: bytes, said: str, hostlink: Callable, place: Path
) -> None:
    """Every command that reads a listing names the file and what is wrong with it."""
    (place / "junk.bas").write_bytes(content)
    told = hostlink(command, "junk.bas")
    assert told.status == 1
    assert told.out == ""
    what, *rest = sentences(told.err)
    assert what.startswith(f"hostlink: {said}")
    assert "Nothing was changed." in rest
    assert not (place / "practice").exists()


def test_an_empty_standard_input(hostlink: Callable) -> None:
    """Nothing piped in is told as that."""
    told = hostlink("load", "-", stdin=b"")
    assert told.status == 1
    assert "standard input is empty." in told.err


def test_a_file_that_may_not_be_read(
    hostlink: Callable, listing: Callable, mocker: MockerFixture
) -> None:
    """The system's reason is told (patched in: a test may run as root, who may read all)."""
    name = listing("10 END")
    mocker.patch.object(
        Path, "open", side_effect=PermissionError(errno.EACCES, "Permission denied")
    )
    told = hostlink("review", name)
    assert told.status == 1
    assert "The file light.bas cannot be read: Permission denied." in told.err


def test_a_folder_is_no_listing(hostlink: Callable, place: Path) -> None:
    """A folder is told as one."""
    (place / "listings").mkdir()
    told = hostlink("load", "listings")
    assert told.status == 1
    assert "listings is a folder, not a listing." in told.err


def test_a_device_is_never_read_as_a_listing(hostlink: Callable) -> None:
    """Opening a serial device as a file might restart the board behind it."""
    told = hostlink("load", os.devnull)
    assert told.status == 1
    assert "is a device, not a listing." in told.err
    assert "It was not opened." in told.err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("save", "--baud", "0"), "0 is not in the range from 50 to 4,000,000."),
        (("run", "--seconds", "0"), "0.0 is not in the range from 0.1 to 86,400."),
        (("run", "--seconds", "nan"), "nan is not in the range from 0.1 to 86,400."),
    ],
)
def test_a_number_out_of_range_is_told_with_the_range(
    words: tuple[str, ...], said: str, hostlink: Callable
) -> None:
    """Both ends of the range are in the sentence."""
    told = hostlink(*words)
    assert told.status == 2
    assert said in " ".join(told.err.split())


@pytest.mark.parametrize(
    "port", ["rfc2217://127.0.0.1", "socket://127.0.0.1:abc", "socket://:4000", "socket://"]
)
@pytest.mark.parametrize("command", ["save", "meet"])
def test_a_network_address_needs_a_port_number(command: str, port: str, hostlink: Callable) -> None:
    """The sentence is hostlink's own, and the same before anything is opened."""
    told = hostlink(command, "--port", port)
    assert told.status == 2
    assert "an address needs :PORT" in " ".join(told.err.split())


@pytest.mark.parametrize("port", ["", " "])
@pytest.mark.parametrize(
    "command", [("save",), ("meet",), ("boards",), ("boards", "--label", "Red")]
)
def test_a_port_without_a_name_is_told(
    command: tuple[str, ...], port: str, hostlink: Callable
) -> None:
    """As a variable of a shell that was never set; no other port is taken for it."""
    told = hostlink(*command, "--port", port)
    assert told.status == 2
    assert "--port is given but names no port." in told.err


@pytest.mark.parametrize("what", ["A" * 5000, "a\0b", "\udcff\udcfe", "@", "@1", "A@", "..", "~"])
@pytest.mark.parametrize("command", ["load", "show", "review"])
def test_a_word_that_names_nothing(command: str, what: str, hostlink: Callable) -> None:
    """Any word at all is answered, in a message of a size that can be read."""
    told = hostlink(command, what)
    assert told.status == 1
    assert len(told.err) < 1000


def test_a_listing_that_does_not_fit(hostlink: Callable, listing: Callable) -> None:
    """By how many bytes it is over is told, and nothing is sent."""
    big = listing(*(f'{n} PRINT "{"X" * 50}"' for n in range(10, 210, 10)))
    told = hostlink("load", big)
    assert told.status == 1
    # 20 lines of 2 + 58 + 1 bytes against 999.
    assert "221 bytes over: 1,220 of 999." in told.err
    assert "Nothing was sent to the board." in told.err


def test_a_listing_that_does_not_fit_and_is_sent_all_the_same(
    hostlink: Callable, listing: Callable, archive: Archive
) -> None:
    """The read-back names the lines and the board's own words, and the old program is kept."""
    assert hostlink("load", "-", stdin=b"10 REM MINE\n").status == 0
    big = listing(*(f'{n} PRINT "{"X" * 50}"' for n in range(10, 210, 10)))
    told = hostlink("load", big, "--despite-review")
    assert told.status == 1  # the board itself says how much room it has
    what, kept, advice = sentences(told.err)
    assert "it takes 1,220 bytes, and the board has 999: 221 bytes over" in what
    assert "What it held before is kept as rescue@1." in kept
    told = hostlink("load", big, "--despite-review", "--discard-board")
    assert told.status == 4
    what, kept, advice = sentences(told.err)
    assert "It does not take lines 170, 180, 190, 200" in what
    assert 'it answers "! ' in what
    assert kept == "The listing is kept as LIGHT@1."
    assert advice
    assert "cable" not in told.err
    assert archive.events()[0].outcome == "failed"


# --- ports -----------------------------------------------------------------------------------


@pytest.mark.parametrize("command", [("load", "tide"), ("save",), ("run",), ("stored",)])
def test_a_port_that_does_not_exist(command: tuple[str, ...], hostlink: Callable) -> None:
    """The port is named, and the command that lists ports."""
    told = hostlink(*command, "--port", "/dev/no-such-port", "--profile", "practice")
    assert told.status == 3
    assert "there is no port /dev/no-such-port." in told.err
    assert "`hostlink boards`" in told.err


def test_no_port_at_all(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch, mocker: MockerFixture
) -> None:
    """With no board plugged in the practice board is offered."""
    monkeypatch.delenv("HOSTLINK_PORT")
    mocker.patch("hostlink.board.port.ports.usb_ports", return_value=[])
    told = hostlink("save")
    assert told.status == 2
    assert "No board is plugged in." in told.err
    assert "practice://" in told.err


@pytest.mark.parametrize(
    "address", ["practice://two words", "practice://x?colour=red", "bogus://x"]
)
def test_an_address_that_makes_no_sense(address: str, hostlink: Callable) -> None:
    """What is wrong with an address is named, as wrong use."""
    told = hostlink("save", "--port", address, "--profile", "practice")
    assert told.status == 2
    assert len(sentences(told.err)) <= 3


def test_a_practice_board_in_use(hostlink: Callable, place: Path) -> None:
    """A board that another process holds is busy; nothing is sent."""
    from hostlink.practice.address import open_board, parse_address

    _, keep = open_board(parse_address(VIRTUAL), place / "practice", 57600)
    told = hostlink("load", "tide")
    assert told.status == 3
    assert 'The practice board "class" is in use by another hostlink.' in told.err
    assert "Nothing was sent." in told.err
    assert "name another, practice://OTHER, with --port." in told.err
    keep(Machine())
    assert hostlink("load", "tide").status == 0


@pytest.fixture
def pty() -> Iterator[str]:
    """The name of a pseudo-terminal with nobody behind it."""
    ours, theirs = os.openpty()
    yield os.ttyname(theirs)
    os.close(ours)
    os.close(theirs)


@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are a POSIX thing")
def test_a_port_in_use(pty: str, hostlink: Callable) -> None:
    """A port that another program holds with a lock is busy."""
    with serial.Serial(pty, exclusive=True):
        told = hostlink("save", "--port", pty, "--profile", "practice")
    assert told.status == 3
    assert f"is in use: another program has the port {pty} open." in told.err


@pytest.mark.skipif(os.name != "posix", reason="groups are a POSIX thing")
def test_a_port_that_is_not_permitted_names_the_group(
    hostlink: Callable, mocker: MockerFixture
) -> None:
    """The device's own group, and the command that joins it, are in the message."""
    device = Path(os.ttyname(os.openpty()[1]))
    device.chmod(0o660)
    mocker.patch("pathlib.Path.group", return_value="dialout")
    mocker.patch("os.getegid", return_value=device.stat().st_gid + 1)
    mocker.patch("os.getgroups", return_value=[])
    denied = serial.SerialException(errno.EACCES, "could not open port: Permission denied")
    mocker.patch("hostlink.link.serial_port.serial.serial_for_url", side_effect=denied)
    told = hostlink("save", "--port", str(device), "--profile", "practice")
    assert told.status == 3
    assert f"you are not permitted to open {device}." in told.err
    assert f"belongs to the group {device.group()}" in told.err
    assert f"usermod -aG {device.group()}" in told.err


def test_a_board_that_vanishes_while_loading(hostlink: Callable, archive: Archive) -> None:
    """What was kept is named: the listing's revision and the rescue of what was there."""
    assert hostlink("load", "-", stdin=b"10 REM MINE\n").status == 0
    told = hostlink("load", "tide", "--port", f"{VIRTUAL}&unplug_after_bytes=300")
    assert told.status == 3
    what, kept, advice = sentences(told.err)
    assert "unplugged" in what
    assert "At most a part of the shipped TIDE is on the board." in kept
    assert "The listing is kept as TIDE@1." in kept
    assert "What it held before is kept as rescue@1." in kept
    assert advice
    assert hostlink("show", "rescue@1").out == "10 REM MINE\n"
    assert archive.prove().clean


def test_a_board_that_vanishes_before_anything_was_sent(hostlink: Callable) -> None:
    """Then the board's program was not touched, and that is what is said."""
    told = hostlink("load", "tide", "--port", f"{VIRTUAL}&unplug_after_bytes=3")
    assert told.status == 3
    assert "The program on the board was not touched. The listing is kept as TIDE@1." in told.err


def test_a_board_that_vanishes_while_saving(hostlink: Callable, archive: Archive) -> None:
    """Nothing half is kept."""
    assert hostlink("load", "-", stdin=b"10 REM MINE\n").status == 0
    told = hostlink("save", "MINE", "--port", f"{VIRTUAL}&unplug_after_bytes=8")
    assert told.status == 3
    assert "Nothing was kept" in told.err
    assert archive.programs() == []


def test_a_letter_for_a_digit_is_told_wherever_the_listing_is_read(
    hostlink: Callable, listing: Callable
) -> None:
    """review and load refuse it by the same words, mend doubts it, keep keeps it and says so."""
    listing("10 PRINT 1", "2O PRINT 2", "30 GOTO 1O", name="typed.bas")
    for words, status in [
        (("review", "typed.bas"), 1),
        (("load", "typed.bas"), 1),
        (("mend", "typed.bas"), 0),
        (("keep", "typed.bas"), 0),
    ]:
        told = hostlink(*words)
        assert told.status == status
        assert "2O looks like 20 with the letter O in it." in told.out + told.err


def test_a_board_at_another_speed_than_its_profile_says_is_found(hostlink: Callable) -> None:
    """A board at another speed than its profile's is found at its own, and that is said; a speed
    that is named is tried first."""
    slow = "practice://slow?time=virtual&baud=9600"
    told = hostlink("load", "tide", "--port", slow)
    assert told.status == 0
    assert "This board talks at 9600 baud like a board of kind practice" in told.err
    told = hostlink("load", "tide", "--port", slow, "--baud", "9600")
    assert told.status == 0
    assert "talks at" not in told.err


@pytest.mark.parametrize("baud", ["1200", "9600", "19200", "115200"])
def test_every_usual_speed_is_found(baud: str, hostlink: Callable) -> None:
    """Whatever the board's speed is, it is found, said, and used."""
    slow = f"practice://slow?time=virtual&baud={baud}"
    told = hostlink("load", "tide", "--port", slow)
    assert told.status == 0
    assert f"This board talks at {baud} baud" in told.err


def test_a_silent_board_is_reported_with_what_to_check(
    hostlink: Callable, machine_at_port: Callable[..., Machine]
) -> None:
    """Nothing comes back at all: supply, cable, port and speed are what to look at."""
    machine_at_port(faults=Faults(stall_every_bytes=1, stall_s=100_000.0))
    told = hostlink("load", "tide")
    assert told.status == 3
    assert "The board is silent: nothing came back at 57600 baud." in told.err
    assert "The other usual speeds were tried too." in told.err
    assert "supply" in told.err


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="pseudo-terminals are a POSIX thing")
def test_a_silent_port_in_real_time(pty: str, hostlink: Callable) -> None:
    """On a real port with nobody behind it the command ends by itself, soon."""
    told = hostlink("save", "--port", pty, "--profile", "practice")
    assert told.status == 3
    assert "came back" in told.err


def test_a_board_without_echo(hostlink: Callable) -> None:
    """A profile that expects an echo fails clearly; nothing wrong is kept."""
    told = hostlink("load", "tide", "--port", "practice://mute?time=virtual&echo=no")
    assert told.status in (3, 4)
    assert "Traceback" not in told.err
    assert hostlink("programs", "--rescues", "--json").json == []


def test_a_board_without_echo_with_a_profile_that_says_so(hostlink: Callable, place: Path) -> None:
    """With echo = false in the profile the same board loads proven."""
    from importlib.resources import files

    text = (files("hostlink.board") / "profiles" / "practice.toml").read_text(encoding="utf-8")
    profile = text.replace("echo = true", "echo = false").replace('"practice"', '"mute"', 1)
    (place / "mute.toml").write_text(profile, encoding="utf-8")
    board = ("--port", "practice://mute?time=virtual&echo=no", "--profile", "mute.toml")
    assert hostlink("load", "tide", *board).status == 0
    assert hostlink("save", "tide", *board).status == 0


def test_a_running_program_is_not_stopped_unasked(
    hostlink: Callable, machine_at_port: Callable[..., Machine]
) -> None:
    """Without --stop-running it runs on; with it, it is stopped and then kept."""
    machine = machine_at_port(typed=b'10 PRINT "X"\r20 GOTO 10\rRUN\r')
    told = hostlink("save", "ENDLESS")
    assert told.status == 3
    assert "A program is running;" in told.err
    assert "--stop-running" in told.err
    assert "It was left as it is." in told.err
    assert b"\x03" not in machine_input(machine)
    assert hostlink("save", "ENDLESS", "--stop-running").status == 0
    assert hostlink("show", "ENDLESS").out == '10 PRINT "X"\n20 GOTO 10\n'


def machine_input(machine: Machine) -> bytes:
    """What is still on its way to a machine."""
    return bytes(byte for _, byte in machine._on_wire)


def test_a_board_that_waits_for_input_gets_no_answer_from_us(
    hostlink: Callable, machine_at_port: Callable[..., Machine]
) -> None:
    """A line end would be taken as the answer: the program waits on, and that is said."""
    machine_at_port(typed=b"10 INPUT A\r20 PRINT 77\rRUN\r")
    told = hostlink("load", "tide")
    assert told.status == 3
    assert "waiting for input" in told.err
    assert "77" not in told.err
    assert "--stop-running" in told.err
    assert hostlink("load", "tide", "--stop-running").status == 0
    assert hostlink("programs", "--rescues", "--json").json[0]["lines"] == 2


@pytest.mark.one_in(3)
@pytest.mark.parametrize("after", [1, 12, 300])
def test_a_board_that_floods(after: int, hostlink: Callable, archive: Archive) -> None:
    """A board that sends without end is given up with an error, wherever it begins."""
    told = hostlink("load", "tide", "--port", f"{VIRTUAL}&flood_after_bytes={after}")
    assert told.status in (3, 4)
    assert len(sentences(told.err)) == 3
    assert len(told.err) < 3000
    assert archive.prove().clean


def test_a_board_that_restarts_while_loading(
    hostlink: Callable, board_holds: Callable, archive: Archive
) -> None:
    """The memory is lost in the middle: the load notices, starts over, and proves all of it."""
    told = hostlink("load", "tide", "--port", f"{VIRTUAL}&restart_after_bytes=400&restart_ms=50")
    assert told.status == 0
    assert "restarted" in told.err
    assert len(board_holds()) == 32
    assert archive.host_copy(archive.boards()[0].uuid).revision == "TIDE@1"


# --- the archive -----------------------------------------------------------------------------


@pytest.fixture
def full_disk(place: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Lets the archive grow no further from the moment it is called, as on a full disk.

    The archive is made with the smallest pages, so that no listing fits in what is half used.
    """
    blank = sqlite3.connect(place / "archive.sqlite3")
    blank.execute("PRAGMA page_size = 512")
    blank.execute("VACUUM")
    blank.close()

    def limit() -> None:
        real = access.Access.connect

        def connect(way: access.Access) -> Database:
            db = real(way)
            held = db.execute("PRAGMA page_count").fetchone()[0]
            db.execute(f"PRAGMA max_page_count = {held}")
            return db

        monkeypatch.setattr(access.Access, "connect", connect)

    return limit


LONG = b"".join(b"%d REM %s\n" % (n, b"ABCDEFGH%03d" % n * 4) for n in range(10, 180, 10))


def test_a_full_disk_before_loading(
    hostlink: Callable,
    full_disk: Callable,
    board_holds: Callable,
    place: Path,
    archive: Archive,
) -> None:
    """The listing cannot be kept, so nothing is sent; everything kept before is still there."""
    assert hostlink("load", "-", "--as", "MINE", stdin=b"10 REM MINE\n").status == 0
    (place / "long.bas").write_bytes(LONG)
    full_disk()
    told = hostlink("load", "long.bas")
    assert told.status == 1
    what, kept, advice = sentences(told.err)
    assert "was not kept: the disk is full." in what
    assert "Everything that was in the archive is still there." in kept
    assert "The program on the board was not touched." in kept
    assert advice == "Free some space and try again."
    assert board_holds() == {10: "REM MINE"}
    assert archive.prove().clean
    assert [program.name for program in archive.programs()] == ["MINE"]


def test_a_full_disk_while_saving(
    hostlink: Callable, full_disk: Callable, board_holds: Callable, archive: Archive
) -> None:
    """The board still holds what could not be kept, and that is said."""
    assert hostlink("load", "-", stdin=LONG).status == 0
    before = board_holds()
    full_disk()
    told = hostlink("save", "LONG")
    assert told.status == 1
    assert "was not kept: the disk is full." in told.err
    assert board_holds() == before
    assert archive.prove().clean


def test_a_read_only_archive(
    hostlink: Callable, board_holds: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading goes on, loading and saving are refused before the board is touched."""
    assert hostlink("load", "tide").status == 0
    before = board_holds()
    monkeypatch.setattr(access, "writable", lambda path: not path.is_file())
    for command in (("load", "dice"), ("save", "TIDE"), ("note", "TIDE", "x"), ("retire", "TIDE")):
        told = hostlink(*command)
        assert told.status == 1, command
        assert "is read-only" in told.err
    assert board_holds() == before
    for command in (("programs",), ("show", "TIDE"), ("find", "ferry"), ("history", "TIDE")):
        assert hostlink(*command).status == 0


def test_a_read_only_archive_does_not_keep_a_program_from_running(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """run keeps nothing, so it needs no archive that can be written."""
    assert hostlink("load", "tide").status == 0
    monkeypatch.setattr(access, "writable", lambda path: not path.is_file())
    told = hostlink("run")
    assert told.status == 0
    assert "FERRY" in told.out


@pytest.mark.parametrize("command", [("programs",), ("load", "tide"), ("archive", "prove")])
def test_an_archive_that_is_no_archive(
    command: tuple[str, ...], hostlink: Callable, place: Path
) -> None:
    """Somebody else's file is left as it is, byte for byte."""
    junk = b"This is a shopping list, not an archive.\n" * 40
    (place / "list.txt").write_bytes(junk)
    told = hostlink(*command, "--archive", "list.txt")
    assert told.status == 1
    assert "list.txt is not an archive" in told.err
    assert "It was not touched." in told.err
    assert (place / "list.txt").read_bytes() == junk


def test_an_sqlite_file_of_somebody_else(hostlink: Callable, place: Path) -> None:
    """An SQLite file of another program is not taken for an archive."""
    db = sqlite3.connect(place / "other.db")
    db.execute("CREATE TABLE recipes (name TEXT)")
    db.commit()
    db.close()
    before = (place / "other.db").read_bytes()
    told = hostlink("load", "tide", "--archive", "other.db")
    assert told.status == 1
    assert "not an archive of hostlink" in told.err
    assert (place / "other.db").read_bytes() == before


def test_a_damaged_archive_is_reported_as_damaged(hostlink: Callable, place: Path) -> None:
    """Damage is told as damage, also where a shipped program of the same name would do."""
    assert hostlink("load", "tide").status == 0
    path = place / "archive.sqlite3"
    data = bytearray(path.read_bytes())
    data[4096:] = bytes(len(data) - 4096)
    path.write_bytes(data)
    told = hostlink("load", "tide")
    assert told.status == 1
    assert "damaged" in told.err


def test_reading_commands_make_no_archive(hostlink: Callable, place: Path) -> None:
    """A mistyped --archive is told, and no file appears under that name. A list is empty then;
    what asks for one thing fails."""
    for command, status in (
        (("find", "x"), 0),
        (("history", "x"), 1),
        (("note", "x", "y"), 1),
        (("archive", "prove"), 1),
    ):
        told = hostlink(*command, "--archive", "tpyo.sqlite3")
        assert told.status == status
        assert "There is no archive at " in told.err
    assert not (place / "tpyo.sqlite3").exists()


# --- other files -----------------------------------------------------------------------------


def test_a_recording_that_cannot_be_written(hostlink: Callable, board_holds: Callable) -> None:
    """Nothing is sent where the recording cannot be begun."""
    assert hostlink("load", "-", stdin=b"10 REM MINE\n").status == 0
    told = hostlink("load", "tide", "--record", "no-folder/wire.txt")
    assert told.status == 1
    assert "no-folder/wire.txt cannot be written" in told.err
    assert board_holds() == {10: "REM MINE"}


def test_a_recording_never_overwrites_unasked(hostlink: Callable, place: Path) -> None:
    """An earlier recording stays, unless --yes."""
    (place / "wire.txt").write_text("mine", encoding="utf-8")
    told = hostlink("load", "tide", "--record", "wire.txt")
    assert told.status == 1
    assert "wire.txt already exists." in told.err
    assert (place / "wire.txt").read_text(encoding="utf-8") == "mine"
    assert hostlink("load", "tide", "--record", "wire.txt", "--yes").status == 0
    assert "  host  " in (place / "wire.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("command", [("mend", "tide"), ("show", "tide")])
def test_an_output_that_cannot_be_written(
    command: tuple[str, ...], hostlink: Callable, place: Path
) -> None:
    """The folder that is missing is told, nothing is left behind."""
    told = hostlink(*command, "-o", "no-folder/new.bas")
    assert told.status == 1
    assert "no-folder/new.bas cannot be written: No such file or directory." in told.err
    assert [path.name for path in place.iterdir() if path.suffix == ".new"] == []


def test_a_practice_folder_that_cannot_be_written(
    hostlink: Callable, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A practice board that cannot keep its state says so, rather than forget in silence."""
    (place / "taken").write_text("a file, no folder", encoding="utf-8")
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(place / "taken"))
    told = hostlink("load", "tide")
    assert told.status == 3
    assert "folder" in told.err


@pytest.mark.parametrize("profile", ["nowhere", "broken.toml", "none.toml"])
def test_a_profile_that_cannot_be_used(profile: str, hostlink: Callable, place: Path) -> None:
    """An unknown or broken profile is named before any port is opened."""
    (place / "broken.toml").write_text('[board]\nname = "x"\ncolour = 3\n', encoding="utf-8")
    told = hostlink("load", "tide", "--profile", profile)
    assert told.status in (1, 2)
    assert profile.removesuffix(".toml") in told.err
    assert not (place / "practice").exists()


def test_settings_of_the_group_and_file_modes_are_left_alone(
    hostlink: Callable, place: Path
) -> None:
    """A listing that is written over keeps to being an ordinary, readable file."""
    assert hostlink("show", "tide", "-o", "t.bas").status == 0
    assert stat.S_ISREG((place / "t.bas").stat().st_mode)
    assert os.access(place / "t.bas", os.R_OK)


def test_a_board_that_wraps_its_words_in_markup(
    hostlink: Callable, machine_at_port: Callable[..., Machine]
) -> None:
    """What a board answers is quoted, escapes shown, in an error too."""
    machine_at_port(BoardSettings(prompt=b"\x1b[5m[b]? "))
    told = hostlink("save", "X")
    assert told.status == 3
    assert "\x1b" not in told.err
    assert "\\x1b[5m[b]?" in told.err


@pytest.mark.parametrize("words", [(), ("--yes",)])
def test_a_folder_is_never_offered_to_be_replaced(
    words: tuple[str, ...], hostlink: Callable, place: Path
) -> None:
    """A file cannot take its place, so --yes would be no way out."""
    (place / "folder").mkdir()
    (place / "class.toml").write_text('[[learner]]\nname = "Ada"\n', encoding="utf-8")
    told = hostlink("class", "class.toml", "--page", "folder", *words)
    assert (told.status, "folder cannot be written: it is a folder." in told.err) == (1, True)
    assert "--yes" not in told.err
