"""firmware review, write and history on the command line."""

from __future__ import annotations

import base64
import json
import random
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from intelhex import IntelHex

from hostlink.jobs.cautions import CAUTIONS

VECTORS = b"\x0c\x94\x40\x00" * 26


@pytest.fixture
def image(place: Path) -> Callable[..., str]:
    """Writes an image file and gives its name."""

    def write(name: str = "class.hex", seed: int = 4, size: int = 3000) -> str:
        made = IntelHex()
        made.puts(0, VECTORS + random.Random(seed).randbytes(size - len(VECTORS)))
        made.write_hex_file(str(place / name))
        return name

    return write


@pytest.fixture
def flash(place: Path) -> Callable[..., bytes]:
    """What a practice board's flash holds between two commands."""

    def held(name: str = "class") -> bytes:
        kept = json.loads((place / "practice" / f"{name}.json").read_text(encoding="utf-8"))
        return zlib.decompress(base64.b64decode(kept["flash"]))

    return held


def content(path: Path) -> bytes:
    return bytes(IntelHex(str(path)).tobinarray())


# --- review --------------------------------------------------------------------------------------


def test_review_draws_the_map_and_names_the_hash(
    hostlink: Callable, image: Callable, place: Path
) -> None:
    """Status 0, the map, the segments, the SHA-256; no archive is made by looking."""
    told = hostlink("firmware", "review", image())
    assert told.status == 0
    assert "0000  vppppppppppppppppppppppp........" in told.out
    assert "7000  ................BBBBBBBBBBBBBBBB" in told.out
    assert "Nothing is wrong with it as a file" in told.out
    assert not (place / "archive.sqlite3").exists()
    got = hostlink("firmware", "review", image(), "--json").json
    assert (got["bytes"], got["limit_bytes"], got["findings"]) == (3000, 0x7800, [])
    assert got["sha256"] in told.out
    assert (got["known_as"], got["role"]) == (None, None)


def test_review_names_every_fault_by_line_and_ends_with_1(
    hostlink: Callable, image: Callable, place: Path
) -> None:
    """A damaged file is status 1, its lines named; a missing one too, in one sentence."""
    path = place / image()
    rows = path.read_text(encoding="ascii").split("\n")
    rows[3] = f"{rows[3][:-2]}{(int(rows[3][-2:], 16) + 1) % 256:02X}"
    rows[5] = "10 PRINT"
    path.write_text("\n".join(rows), encoding="ascii")
    told = hostlink("firmware", "review", path.name)
    assert told.status == 1
    assert "error  wrong-checksum  line 4: " in told.out
    assert "error  bad-record  line 6: " in told.out
    told = hostlink("firmware", "review", "missing.hex")
    assert told.status == 1
    assert "cannot be read" in told.err


def test_review_of_hostile_names_and_chips(hostlink: Callable, image: Callable) -> None:
    """An unknown chip or bootloader size is wrong use, with the known ones."""
    told = hostlink("firmware", "review", image(), "--chip", "ATtiny13")
    assert told.status == 2
    assert "ATmega328P" in told.err
    told = hostlink("firmware", "review", image(), "--bootloader-bytes", "100")
    assert told.status == 2
    assert "512, 1024, 2048 or 4096" in told.err


# --- write ---------------------------------------------------------------------------------------


def test_cautions_come_first_and_nothing_goes_without_a_word(
    hostlink: Callable, image: Callable, place: Path
) -> None:
    """Without --yes and without a terminal: the cautions are shown, no port is opened."""
    told = hostlink("firmware", "write", image(), "--role", "computer")
    assert told.status == 1
    for caution in (
        "Do not unplug",
        "leaves the board mute",
        "Its bootloader remains",
        "lift the wire by which the other board drives this one's RX pin",
        "never from two supplies at once",
        "5 V",
        "ATmega328P",
        "practice://class?time=virtual",
        "ask a qualified person",
    ):
        assert caution in told.err
    assert told.err.index("Do not unplug") < told.err.index("needs your word")
    assert not (place / "practice").exists()


def test_a_write_is_told_page_by_page_and_kept_in_the_history(
    hostlink: Callable, image: Callable, flash: Callable, board_holds: Callable, place: Path
) -> None:
    """Pages in words, the programs back, one row of history, the image known afterwards."""
    hostlink("load", "tide")
    before = board_holds()
    told = hostlink("firmware", "write", image(), "--role", "computer", "--yes")
    assert told.status == 0
    assert "The board answered with a BASIC prompt; the image expects a BASIC prompt." in told.err
    assert "written and read back" in told.err
    assert "%" not in told.err
    assert told.err.index(CAUTIONS.split("\n")[0]) < told.err.index("Restarting the board")
    assert told.err.index("Kept as backup@1: memory.") < told.err.index("Restarting the board")
    assert "Its programs are back on it, proven (backup@1)." in told.err
    assert flash().startswith(content(place / "class.hex"))
    assert board_holds() == before
    (row,) = hostlink("firmware", "history", "--json").json
    assert (row["image"], row["role"], row["outcome"]) == ("class.hex", "computer", "done")
    assert row["banner"] == "practice board, 999 bytes for a program"
    assert "class.hex" in hostlink("firmware", "history").out
    again = hostlink("firmware", "review", image(), "--json").json
    assert (again["known_as"], again["role"]) == ("class.hex", "computer")


def test_going_back_by_one_option(
    hostlink: Callable, image: Callable, flash: Callable, place: Path
) -> None:
    """--previous brings back what was there, and once more what was written."""
    hostlink("load", "tide")
    assert hostlink("firmware", "write", image(), "--role", "computer", "--yes").status == 0
    told = hostlink("firmware", "write", "--previous", "--yes", "--json", "--quiet")
    assert told.status == 0
    assert (told.json["proven"], told.json["programs_put_back"]) == (True, True)
    assert not flash().startswith(content(place / "class.hex"))
    assert hostlink("firmware", "write", "--previous", "--yes").status == 0
    assert flash().startswith(content(place / "class.hex"))


def test_no_way_back_is_told_before_the_cautions(hostlink: Callable) -> None:
    """Nobody reads what can destroy a board for a command that is refused."""
    told = hostlink("firmware", "write", "--previous", "--yes")
    assert told.status == 1
    assert told.err.startswith("hostlink: The archive has no earlier firmware of this board")


def test_an_image_and_previous_exclude_each_other(hostlink: Callable, image: Callable) -> None:
    """Neither or both is wrong use."""
    for words in ((), (image(), "--previous")):
        told = hostlink("firmware", "write", *words, "--yes")
        assert told.status == 2


def test_a_faulty_image_is_never_written(hostlink: Callable, image: Callable, place: Path) -> None:
    """Errors stop it whatever is said; doubts stop it until --despite-review."""
    path = place / image()
    text = path.read_text(encoding="ascii")
    path.write_text(text.replace(":00000001FF", ""), encoding="ascii")
    told = hostlink("firmware", "write", "class.hex", "--yes", "--despite-review")
    assert told.status == 1
    assert "no end record" in told.err
    made = IntelHex()
    made.puts(0x400, b"\x01" * 500)
    made.write_hex_file(str(place / "odd.hex"))
    told = hostlink("firmware", "write", "odd.hex", "--yes", "--role", "display")
    assert told.status == 1
    assert "--despite-review" in told.err
    assert not (place / "practice").exists()


def test_which_board_it_is_has_to_be_said_where_it_is_unclear(
    hostlink: Callable, image: Callable
) -> None:
    """A role is needed; a display's image at a board with a prompt needs the user's word."""
    told = hostlink("firmware", "write", image(), "--yes")
    assert told.status == 1
    assert "--role computer" in told.err
    told = hostlink("firmware", "write", image(), "--yes", "--role", "display")
    assert told.status == 1
    assert "--this-board display" in told.err
    told = hostlink(
        "firmware", "write", image(), "--yes", "--role", "display", "--this-board", "display"
    )
    assert told.status == 0


def test_unplugged_half_way_the_same_command_finishes(
    hostlink: Callable, image: Callable, flash: Callable, place: Path
) -> None:
    """Status 3, the state told; then the same command again, without any further word."""
    hostlink("load", "tide")
    port = "practice://class?time=virtual"
    words = ("firmware", "write", image(), "--yes")
    told = hostlink(*words, "--role", "computer", "--port", f"{port}&unplug_after_bytes=14000")
    assert told.status == 3
    assert "after page" in told.err
    assert "its bootloader is unharmed" in told.err
    assert "Write the same image again" in told.err
    assert not flash().startswith(content(place / "class.hex"))
    told = hostlink(*words)
    assert told.status == 0
    assert "The write that was cut off is finished" in told.err
    assert flash().startswith(content(place / "class.hex"))
    assert [row["outcome"] for row in hostlink("firmware", "history", "--json").json] == [
        "done",
        "failed",
    ]


def test_an_empty_history_is_told(hostlink: Callable) -> None:
    """No write yet: an empty list, status 0; without an archive that is said besides."""
    told = hostlink("firmware", "history")
    assert told.status == 0 and "There is no archive" in told.err
    hostlink("load", "room")
    told = hostlink("firmware", "history", "--json")
    assert (told.status, told.json) == (0, [])


@pytest.mark.parametrize(
    ("restart_ms", "says"),
    [
        (100, "Something answered at 115200 and 57600 baud, but not a bootloader"),
        (2000, "No bootloader answered at 115200 and 57600 baud."),
    ],
)
def test_a_board_without_a_bootloader_is_told_from_a_silent_one(
    hostlink: Callable, image: Callable, restart_ms: int, says: str
) -> None:
    """Its BASIC answers, or nothing does; either way nothing is written."""
    port = f"practice://class?time=virtual&bootloader=no&restart_ms={restart_ms}"
    told = hostlink("firmware", "write", image(), "--role", "computer", "--yes", "--port", port)
    assert told.status == 3
    assert says in told.err
    assert "Nothing was written" in told.err
