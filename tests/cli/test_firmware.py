"""firmware review, write and history on the command line."""

from __future__ import annotations

import base64
import json
import random
import re
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from intelhex import IntelHex
from practice_flash import blank_flash

from hostlink.archive import Archive
from hostlink.board.profile.file import load_profile
from hostlink.firmware.scripts import FlashScripts, Unproven
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
    assert f"0000  {24 * '─'}{8 * '┄'}  24 pages" in told.out
    assert f"7000  {16 * '┄'}┃" in told.out
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


TABLE = b"".join(
    word.encode() + b"\0"
    for word in ["PRINT", "INPUT", "LET", "GOTO", "GOSUB", "FOR", "NEXT", "REM", "ABS", "RND"]
)


@pytest.fixture
def speaking(place: Path) -> Callable[..., str]:
    """Writes an image that holds a table of words, a greeting and a divisor of 9600 baud."""

    def write(name: str = "first.hex", more: bytes = b"") -> str:
        made = IntelHex()
        divisor = b"\x87\xe6\x80\x93\xc4\x00"  # LDI R24,103 STS 0x00C4,R24
        made.puts(0, VECTORS + divisor + b"\0evening board ready\0" + TABLE + more)
        made.write_hex_file(str(place / name))
        return name

    return write


def test_review_tells_what_the_image_knows(hostlink: Callable, speaking: Callable) -> None:
    """Words with the form of their table, texts, what the divisor can mean; and in JSON."""
    told = hostlink("firmware", "review", speaking())
    assert "10 BASIC words in a table (marked by a NUL after each word)." in told.out
    assert "They may include a message or a help text that is stored in the same way" in told.out
    assert "  PRINT INPUT LET GOTO GOSUB FOR NEXT REM ABS RND" in told.out
    assert "divisor 103, at single or double speed: 9600 baud at 16 MHz" in told.out
    assert "  evening board ready" in told.out
    got = hostlink("firmware", "review", speaking(), "--json").json
    assert got["words"][-1] == "RND"
    assert got["speeds"][0]["means"][0] == {"baud": 9600, "clock_hz": 16_000_000}
    assert got["compared_with"] is None


def test_review_tells_what_is_new_against_the_image_written_before(
    hostlink: Callable, speaking: Callable
) -> None:
    """Words that came, by the archive's record; the image's use is known by its words."""
    assert hostlink("firmware", "write", speaking(), "--yes").status == 0
    more = b"TONE\0NOTONE\0"
    told = hostlink("firmware", "review", speaking("second.hex", more))
    assert "Words that first.hex lacks: TONE, NOTONE." in told.out
    got = hostlink("firmware", "review", "second.hex", "--json").json
    assert (got["new_words"], got["gone_words"]) == (["TONE", "NOTONE"], [])


def test_an_image_that_tells_nothing_is_said_to(hostlink: Callable, image: Callable) -> None:
    """What cannot be told is not told; it gives no draft, and no file is left behind."""
    told = hostlink("firmware", "review", image(), "-o", "draft.toml")
    assert told.status == 1
    assert "No table of BASIC words was recognised" in told.err
    assert not Path("draft.toml").exists()
    assert "No table of BASIC words was recognised" in hostlink("firmware", "review", image()).out


def test_a_faulty_image_gives_no_draft(hostlink: Callable, speaking: Callable, place: Path) -> None:
    """Its review is shown, and says why."""
    path = place / speaking()
    text = path.read_text(encoding="ascii")
    path.write_text(text.replace(":00000001FF", ""), encoding="ascii")
    told = hostlink("firmware", "review", path.name, "-o", "draft.toml")
    assert told.status == 1
    assert "error  no-end-record" in told.out
    assert "no draft profile is made of it" in told.err
    assert not (place / "draft.toml").exists()


def test_what_is_no_hex_file_is_one_sentence(hostlink: Callable, place: Path) -> None:
    """Text, and rubbish: not a row for each of its lines."""
    (place / "letter.hex").write_text("Dear all,\nthis is a letter.\n" * 30, encoding="ascii")
    (place / "rubbish.hex").write_bytes(random.Random(5).randbytes(4000))
    for name in ("letter.hex", "rubbish.hex"):
        told = hostlink("firmware", "review", name)
        assert (told.status, told.out) == (1, "")
        assert f"{name} is not an Intel HEX file" in told.err
        assert len(told.err.splitlines()) == 3


def test_a_draft_profile_and_its_card_come_from_the_image(
    hostlink: Callable, speaking: Callable, place: Path
) -> None:
    """A profile that can be read, its values marked as read from the image; a card by it."""
    assert hostlink("firmware", "review", speaking(), "-o", "draft.toml").status == 0
    profile = load_profile(place / "draft.toml")
    assert profile.rules.language.functions == ("ABS", "RND")
    assert profile.rules.language.jumps == ("GOTO", "GOSUB")
    assert profile.talk.line_done == "after-prompt"  # careful, since it is not known
    assert not profile.rules.storage.exact
    assert dict(profile.evidence)["language.statements"] == (
        "read from the image first.hex, not measured"
    )
    told = hostlink("firmware", "review", speaking(), "-o", "draft.toml")
    assert told.status == 1 and "already exists" in told.err
    assert hostlink("card", "--profile", "./draft.toml", "-o", "card.html").status == 0
    assert "draft read from first.hex" in (place / "card.html").read_text().lower()


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
    assert told.err.index("Do not unplug") < told.err.index("must be confirmed")
    assert not (place / "practice").exists()


def test_a_blank_board_is_promised_no_way_back(
    hostlink: Callable, image: Callable, place: Path
) -> None:
    """The caution excepts it, and the history calls what was there blank."""
    hostlink("programs")
    hostlink("meet")
    blank_flash(place)
    told = hostlink("firmware", "write", image(), "--new-board", "--role", "computer", "--yes")
    assert told.status == 0
    assert "a new board holds nothing to go back to" in " ".join(told.err.split())
    assert re.search(r"\bblank +done\b", hostlink("firmware", "history").out)


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


def test_a_first_firmware_by_one_option(
    hostlink: Callable, image: Callable, board_holds: Callable, place: Path
) -> None:
    """A board with a bootloader only: written, greeted, labelled, its first program loaded."""
    hostlink("stored")
    blank_flash(place)
    (place / "archive.sqlite3").unlink()
    told = hostlink("firmware", "write", image(), "--role", "computer", "--yes")
    assert told.status == 1
    assert "with --new-board" in told.err
    words = ("--new-board", "--label", "Red", "--load", "tide")
    told = hostlink("firmware", "write", image(), "--role", "computer", "--yes", *words)
    assert told.status == 0, told.err
    assert told.err.count("Before firmware is written") == 1
    assert "Reading all of flash into the archive, in 256 pages of 128 bytes, about " in told.err
    assert "Writing class.hex in 24 pages of 128 bytes, about 2 s" in told.err
    assert 'The board says "practice board, 999 bytes for a program"' in told.err
    assert "It is called Red from now on." in told.err
    assert "TIDE@1 is in its memory, proven." in told.err
    assert board_holds()
    (row,) = hostlink("boards", "--json").json
    assert (row["label"], row["holds"]) == ("Red", "TIDE@1")


def test_a_label_of_another_board_is_refused_before_anything_is_written(
    hostlink: Callable, image: Callable, place: Path
) -> None:
    """The option is checked like the listing, before the port is opened."""
    hostlink("stored")
    blank_flash(place)
    with Archive.open(place / "archive.sqlite3") as archive:
        other = archive.board_seen(vid=None, pid=None, serial="", location="practice://other")
        archive.board_label(other.uuid, "Red")
    words = ("--role", "computer", "--yes", "--new-board", "--label", "Red")
    told = hostlink("firmware", "write", image(), *words)
    assert told.status == 1
    assert "Another board is labelled Red already.\n  Nothing was written." in told.err
    assert "written and read back" not in told.err


def test_a_first_program_that_does_not_fit_leaves_no_doubt_about_the_firmware(
    hostlink: Callable, image: Callable, place: Path
) -> None:
    """It is refused after the write, and the message says what was done."""
    hostlink("stored")
    blank_flash(place)
    (place / "archive.sqlite3").unlink()
    (place / "big.bas").write_text("".join(f"{n} REM {'X' * 60}\n" for n in range(10, 900, 10)))
    words = ("--role", "computer", "--yes", "--new-board", "--load", str(place / "big.bas"))
    told = hostlink("firmware", "write", image(), *words)
    assert told.status == 1
    assert "The firmware is written and read back. The program was not loaded." in told.err
    assert "Nothing was sent" not in told.err


@pytest.fixture
def unknown_at_terminal(hostlink: Callable, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A chip with a bootloader only, an archive that knows no board, and somebody to ask."""
    hostlink("stored")
    blank_flash(place)
    (place / "archive.sqlite3").unlink()
    monkeypatch.setattr("hostlink.cli.first_firmware.may_ask", lambda _: True)
    monkeypatch.setattr("hostlink.cli.firmware_writing.may_ask", lambda _: True)


@pytest.mark.usefixtures("unknown_at_terminal")
def test_at_a_terminal_a_first_firmware_is_asked_in_words(
    hostlink: Callable, image: Callable
) -> None:
    """Role, consent, whether it is new, label and first program: no option is needed."""
    answers = b"computer\ny\nRed\ny\n"
    told = hostlink("firmware", "write", image(), "--yes", stdin=answers)
    assert told.status == 0, told.err
    for asked in (
        "Which board is this image for?",
        "It is new, nothing on it is needed: write?",
        "What do you call this board",
        "Load the program FIRST, which prints and counts?",
    ):
        assert asked in told.err, asked
    (row,) = hostlink("boards", "--json").json
    assert (row["label"], row["holds"]) == ("Red", "FIRST@1")
    assert "THIS BOARD IS ALIVE" in hostlink("run").out


def test_the_two_boards_of_a_machine_in_one_sitting(
    hostlink: Callable,
    image: Callable,
    flash: Callable,
    place: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Which wire to move is told between them; the bridge may be the same, or at another port."""
    words = ("firmware", "write", image(), "--role", "computer", "--display", image("view.hex", 9))
    told = hostlink(*words, "--yes")
    assert told.status == 1
    assert "Somebody has to move wires" in told.err
    assert not (place / "practice").exists()
    monkeypatch.setattr("hostlink.cli.first_firmware.may_ask", lambda _: True)
    monkeypatch.setattr("hostlink.cli.firmware_writing.may_ask", lambda _: True)
    told = hostlink(*words, "--yes", stdin=b"n\n")
    assert told.status == 1
    assert "The computer is done." in told.err
    view = b"practice://view?time=virtual"
    told = hostlink(*words, "--yes", stdin=b"y\n" + view + b"\ny\n")
    assert told.status == 0, told.err
    for said in (
        "Lift the wire by which the computer drives the display's RX pin",
        "the machine's own description",
        "It is the display: write?",
        "Both boards are written.",
    ):
        assert said in told.err, said
    assert flash("view").startswith(content(place / "view.hex"))
    assert flash().startswith(content(place / "class.hex"))
    told = hostlink(*words, "--yes", stdin=b"y\n\ny\n")  # one bridge, moved
    assert told.status == 0, told.err
    roles = {row["role"] for row in hostlink("firmware", "history", "--json").json}
    assert roles == {"computer", "display"}
    with Archive.open(place / "archive.sqlite3") as archive:
        (board,) = [each for each in archive.boards() if each.serial == "practice:class"]
        assert archive.board_role(board.uuid) == "computer"


def test_a_page_that_stays_wrong_is_told_with_the_image_to_write_again(
    hostlink: Callable, image: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its number, what to check, and a command that can be pasted from where one is."""

    def wrong(*_: Any) -> Iterator[bytes]:
        raise Unproven(6)
        yield b""

    monkeypatch.setattr(FlashScripts, "write_plan", wrong)
    told = hostlink("firmware", "write", image(), "--role", "computer", "--yes")
    assert told.status == 4
    assert "Page 6 of flash cannot be read or written reliably, after page 0 of" in told.err
    assert "Check the cable;" in told.err
    assert f"again with `hostlink firmware write {image()}`: that goes on" in told.err


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
    assert "Its bootloader is unharmed" in told.err
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


@pytest.mark.one_in(3)
@pytest.mark.parametrize("again", [(), ("--new-board",), ("--label", "Blue")])
def test_a_first_write_that_was_cut_off_is_finished_with_all_of_it(
    hostlink: Callable,
    image: Callable,
    place: Path,
    board_holds: Callable,
    again: tuple[str, ...],
) -> None:
    """Label and first program too, whether they are said again or not; what is said anew holds."""
    hostlink("stored")
    blank_flash(place)
    (place / "archive.sqlite3").unlink()
    (place / "alive.bas").write_text('10 PRINT "ALIVE"\n', encoding="ascii")
    port = ("--port", "practice://class?time=virtual&unplug_after_bytes=6500")
    words = ("firmware", "write", image(), "--yes")
    steps = ("--role", "computer", "--new-board", "--label", "Red", "--load", "alive.bas")
    told = hostlink(*words, *steps, *port)
    assert told.status == 3
    assert "after page" in told.err
    told = hostlink(*words, *again)
    assert told.status == 0, told.err
    assert "The write that was cut off is finished" in told.err
    (row,) = hostlink("boards", "--json").json
    label = "Blue" if "Blue" in again else "Red"
    assert (row["label"], row["holds"]) == (label, "ALIVE@1")
    assert board_holds()


@pytest.mark.usefixtures("unknown_at_terminal")
def test_at_a_terminal_a_first_write_that_was_cut_off_asks_for_the_rest(
    hostlink: Callable, image: Callable
) -> None:
    """The repeated command does not ask whether the board is new, and goes on with its label."""
    port = ("--port", "practice://class?time=virtual&unplug_after_bytes=6500")
    words = ("firmware", "write", image(), "--yes")
    told = hostlink(*words, *port, stdin=b"computer\ny\n")
    assert told.status == 3, told.err
    told = hostlink(*words, stdin=b"Red\ny\n")
    assert told.status == 0, told.err
    (row,) = hostlink("boards", "--json").json
    assert (row["label"], row["holds"]) == ("Red", "FIRST@1")


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
