"""backup and putback on the command line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

SMALL = "practice://small?time=virtual&program_bytes=300"


def test_backup_and_putback_bring_a_board_back(
    hostlink: Callable, board_holds: Callable, place: Path
) -> None:
    """Program and stored program are kept, and come back after the board was wiped."""
    assert hostlink("load", "tide").status == 0
    before = board_holds()
    assert hostlink("store", "TIDE").status == 0
    told = hostlink("backup", "--note", "end of class")
    assert told.status == 0
    assert "backup@1 is kept and proven: memory (609 bytes), TIDE (609 bytes)." in told.err
    assert "`hostlink putback backup@1` puts it back." in told.err
    port = "practice://class?time=virtual"
    told = hostlink("backup", "--port", port)
    assert f"`hostlink putback backup@2 --port '{port}'` puts it back." in told.err
    (place / "practice" / "class.json").unlink()
    told = hostlink("putback", "backup@1")
    assert told.status == 0
    assert "backup@1 is on the board, proven: memory, TIDE (stored)." in told.err
    assert board_holds() == before
    assert [slot["name"] for slot in hostlink("stored", "--json").json] == ["TIDE"]


def test_json_tells_what_is_in_it(hostlink: Callable) -> None:
    """Items with kind, size, captures and hash; free memory by the board's own word."""
    hostlink("load", "tide")
    made = hostlink("backup", "--json").json
    assert (made["backup"], made["free_bytes"], made["unread"]) == ("backup@1", 390, {})
    (item,) = made["items"]
    assert (item["name"], item["kind"], item["size_bytes"]) == ("memory", "memory", 609)
    assert item["captures"] >= 2
    assert len(item["sha256"]) == 64
    listed = hostlink("backup", "--list", "--json").json
    assert [each["backup"] for each in listed] == ["backup@1"]
    assert hostlink("putback", "backup@1", "--json").json == {
        "backup": "backup@1",
        "proven": True,
        "memory": True,
        "stored": [],
        "unchanged": [],
        "unproven": {},
    }


def test_a_stored_program_that_cannot_be_read_is_named_and_it_is_status_1(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The rest is kept; whoever goes by the exit status learns that it is not all. The same with
    many boards, where the one that is whole counts as done."""
    from hostlink.practice.eeprom import Eeprom

    red = "practice://red?time=virtual"
    hostlink("load", "room", "--port", red)
    hostlink("store", "ROOM", "--port", red)
    hostlink("store", "OTHER", "--port", red)
    hostlink("load", "tide", "--port", "practice://blue?time=virtual")
    real = Eeprom.get

    def get(self: Eeprom, name: str) -> dict[int, bytes]:
        return {} if name == "ROOM" else real(self, name)

    monkeypatch.setattr(Eeprom, "get", get)
    told = hostlink("backup", "--port", red)
    assert told.status == 1
    assert "backup@1 is kept and proven: memory (192 bytes), OTHER (192 bytes)." in told.err
    assert "Not in it: ROOM. Nothing came when it was recalled." in told.err
    both = ("--port", red, "--port", "practice://blue?time=virtual")
    told = hostlink("backup", *both, "--json")
    assert told.status == 1
    assert [(row["status"], list(row["unread"])) for row in told.json] == [(1, ["ROOM"]), (0, [])]
    told = hostlink("backup", *both)
    assert told.status == 1
    assert "memory, OTHER; not ROOM" in told.out


def test_the_list_needs_no_board_and_makes_no_archive(hostlink: Callable, place: Path) -> None:
    """Without an archive the list is empty, that is said, and none is made by asking."""
    told = hostlink("backup", "--list", "--port", "/dev/nowhere")
    assert told.status == 0
    assert "There is no archive" in told.err
    assert not (place / "archive.sqlite3").exists()


def test_an_empty_board_gives_no_backup(hostlink: Callable) -> None:
    """Status 1, one sentence, and no backup in the list."""
    told = hostlink("backup")
    assert told.status == 1
    assert "The board holds no program" in told.err
    hostlink("load", "room")
    hostlink("backup")
    assert len(hostlink("backup", "--list", "--json").json) == 1


def test_a_smaller_board_is_told_beforehand(hostlink: Callable) -> None:
    """What does not fit is named with its size, what does with the option that puts it back."""
    hostlink("load", "room")
    hostlink("store", "ROOM")
    hostlink("load", "tide")
    hostlink("backup")
    told = hostlink("putback", "backup@1", "--port", SMALL)
    assert told.status == 1
    assert "memory: it is 309 bytes over the 300 here" in told.err
    assert (
        "Put back the rest, which fits, with `hostlink putback backup@1 --item ROOM --port "
        in told.err
    )
    told = hostlink("putback", "backup@1", "--item", "ROOM", "--port", SMALL)
    assert told.status == 0
    assert "Memory holds what it held before." in told.err


def test_bad_names_get_one_sentence(hostlink: Callable) -> None:
    """A name that is no backup, one that is not there, an item that is not in it."""
    hostlink("load", "room")
    hostlink("backup")
    for words, told in (
        (("putback", "TIDE@1"), "names no backup"),
        (("putback", "backup@7"), "There is no backup 7"),
        (("putback", "backup@1", "--item", "X"), 'has no item "X"'),
    ):
        ended = hostlink(*words)
        assert ended.status == 1
        assert told in ended.err


def test_a_whole_class_is_backed_up_at_once(hostlink: Callable) -> None:
    """Two boards by two --port: each its own backup, noted with its name and the day."""
    ports = [f"practice://{name}?time=virtual" for name in ("red", "blue")]
    hostlink("load", "tide", "--port", ports[0])
    hostlink("load", "room", "--port", ports[1])
    told = hostlink("backup", "--port", ports[0], "--port", ports[1])
    assert told.status == 0
    rows = hostlink("backup", "--list", "--json").json
    assert sorted(row["note"].split("-")[0] for row in rows) == ["BLUE", "RED"]
    texts = {row["items"][0]["size_bytes"] for row in rows}
    assert 609 in texts
    assert len(texts) == 2
    told = hostlink("backup", "--port", ports[0], "--port", "practice://none?time=virtual")
    assert told.status == 1
    assert "holds no program" in told.out
    assert "backup@3" in told.out
