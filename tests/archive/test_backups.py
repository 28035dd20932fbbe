"""Backups in the archive: numbered, whole or not at all, never changed."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, BackupItem, Content
from hostlink.errors import ArchiveError


@pytest.fixture
def board(archive: Archive) -> str:
    """The UUID of a board."""
    return archive.board_seen(serial="red", profile="practice").uuid


def test_a_backup_comes_back_as_it_was_kept(
    archive: Archive, board: str, content: Callable[..., Content]
) -> None:
    """Items in order with exact bytes, and all that was said of the board."""
    items = [
        BackupItem("memory", content("10 END\n"), 2),
        BackupItem("stored", content("10 PRINT 1\n", raw=b"10  PRINT 1\r"), 3, "ONE"),
    ]
    kept = archive.keep_backup(
        board, items, profile="practice", where="red", banner="hello", free_bytes=7, note="n"
    )
    assert archive.backup("backup@1") == kept
    assert list(kept.items) == items
    assert [item.name for item in kept.items] == ["memory", "ONE"]
    assert (kept.banner, kept.free_bytes, kept.after_restart) == ("hello", 7, False)
    assert archive.backups(board_uuid=board) == [kept]
    assert archive.prove().clean


def test_the_same_listing_is_stored_once(
    archive: Archive, board: str, content: Callable[..., Content]
) -> None:
    """Two backups of an unchanged board hold one listing between them."""
    for _ in range(2):
        archive.keep_backup(board, [BackupItem("memory", content("10 END\n"), 2)], profile="p")
    assert [each.spec for each in archive.backups()] == ["backup@2", "backup@1"]
    assert archive.prove().counts["listings"] == 1


def test_a_backup_is_kept_whole_or_not_at_all(
    archive: Archive, board: str, content: Callable[..., Content]
) -> None:
    """Two items of one name cannot be: then nothing of it is in the archive."""
    twice = [BackupItem("memory", content("10 END\n"), 2)] * 2
    with pytest.raises(ArchiveError):
        archive.keep_backup(board, twice, profile="p")
    assert archive.backups() == []
    with pytest.raises(ArchiveError):
        archive.keep_backup("nobody", twice[:1], profile="p")


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE backups SET note = 'x'",
        "DELETE FROM backups",
        "UPDATE backup_items SET slot = 'x'",
        "DELETE FROM backup_items",
        "INSERT OR REPLACE INTO backups SELECT * FROM backups",
    ],
)
def test_no_tool_can_change_a_backup(
    archive: Archive, path: Path, board: str, content: Callable[..., Content], sql: str
) -> None:
    """The file itself refuses, whatever opens it."""
    archive.keep_backup(board, [BackupItem("memory", content("10 END\n"), 2)], profile="p")
    conn = sqlite3.connect(path)
    try:
        with pytest.raises(sqlite3.IntegrityError, match="never"):
            conn.execute(sql)
    finally:
        conn.close()


@pytest.mark.parametrize("spec", ["", "backup", "backup@", "backup@x", "backup@0", "rescue@1"])
def test_a_spec_that_is_none_is_refused_with_advice(archive: Archive, spec: str) -> None:
    """Whatever is typed in place of a backup gets one sentence."""
    with pytest.raises(ArchiveError) as caught:
        archive.backup(spec)
    assert caught.value.advice
