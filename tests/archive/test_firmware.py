"""Firmware in the archive: images once, writes with their beginning and their end."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from hostlink.archive import Archive
from hostlink.errors import ArchiveError


@pytest.fixture
def board(archive: Archive) -> str:
    """The UUID of a board."""
    return archive.board_seen(serial="red", profile="practice").uuid


def test_an_image_is_kept_once_and_known_by_its_hash(archive: Archive) -> None:
    """The same bytes again are the same image, with its first name."""
    one = archive.keep_image(b"\x01\x02", part="ATmega328P", name="a.hex")
    again = archive.keep_image(b"\x01\x02", name="b.hex")
    assert one == again == archive.known_image(one.sha256)
    assert (one.name, one.flash, one.part) == ("a.hex", b"\x01\x02", "ATmega328P")
    assert archive.known_image("00" * 32) is None
    assert archive.prove().clean


def test_a_write_is_recorded_before_it_begins_and_when_it_ends(
    archive: Archive, board: str
) -> None:
    """Cut off in between it has no end, and is not finished; afterwards it is, for good."""
    old = archive.keep_image(b"\x01")
    new = archive.keep_image(b"\x02", name="new.hex")
    uuid = archive.begin_write(
        board, new, previous=old, role="computer", part="p", boot_section=b"b", eeprom=b"e"
    )
    write = archive.last_write(board)
    assert write is not None
    assert (write.is_finished, write.ended_at, write.outcome) == (False, None, "")
    assert (write.image, write.previous, write.backup) == (new, old, "")
    archive.end_write(uuid, "done", "hello")
    write = archive.last_write(board)
    assert write is not None
    assert (write.is_finished, write.banner) == (True, "hello")
    with pytest.raises(ArchiveError):
        archive.end_write(uuid, "failed")
    assert [each.uuid for each in archive.writes(board_uuid=board)] == [uuid]


def test_an_images_role_is_that_of_its_last_write(archive: Archive, board: str) -> None:
    """Unknown until it is written; then what it was written as."""
    image = archive.keep_image(b"\x02")
    assert archive.image_role(image.sha256) == ""
    archive.begin_write(board, image, previous=None, role="display", part="p")
    assert archive.image_role(image.sha256) == "display"
    archive.begin_write(board, image, previous=None, role="computer", part="p")
    assert archive.image_role(image.sha256) == "computer"


def test_a_boards_role_is_remembered(archive: Archive, board: str) -> None:
    """A board is a computer or a display, or nobody has said."""
    assert archive.board_role(board) == ""
    archive.set_board_role(board, "display")
    assert archive.board_role(board) == "display"
    with pytest.raises(ArchiveError):
        archive.set_board_role(board, "toaster")  # type: ignore[arg-type]


def test_a_lost_image_is_found_by_prove(archive: Archive, path: Path) -> None:
    """Damage to a kept image does not go unseen."""
    archive.keep_image(b"\x01\x02")
    conn = sqlite3.connect(path)
    conn.execute("DROP TRIGGER firmware_images_never_change")
    conn.execute("UPDATE firmware_images SET data = x'0103'")
    conn.commit()
    conn.close()
    assert any("Firmware image" in finding for finding in archive.prove().findings)


@pytest.mark.parametrize(
    "sql", ["DELETE FROM firmware_writes", "UPDATE firmware_writes SET outcome = 'x'"]
)
def test_no_tool_can_change_a_write_that_has_ended(
    archive: Archive, path: Path, board: str, sql: str
) -> None:
    """The file itself refuses, whatever opens it."""
    uuid = archive.begin_write(
        board, archive.keep_image(b"\x02"), previous=None, role="display", part="p"
    )
    archive.end_write(uuid, "done")
    conn = sqlite3.connect(path)
    try:
        with pytest.raises(sqlite3.IntegrityError, match="never"):
            conn.execute(sql)
    finally:
        conn.close()
