"""What is damaged is no copy: it is healed by the same content from elsewhere, or kept anew."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.backups import BackupItem
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
TEXT = '10 PRINT "EBB"\n20 GOSUB900\n'
FLASH = b"\x0c\x94" * 8


def change(path: Path, table: str, *statements: str) -> None:
    """Change rows behind the archive's back, its rules put back afterwards."""
    conn = sqlite3.connect(path)
    name = f"{table}_never_change"
    (rule,) = conn.execute("SELECT sql FROM sqlite_master WHERE name = ?", (name,)).fetchone()
    for statement in (f"DROP TRIGGER {name}", *statements, rule):
        conn.execute(statement)
    conn.commit()
    conn.close()


LISTING_DAMAGE = (
    "UPDATE listings SET text = replace(text, 'ebb', 'fbb')",
    "UPDATE listings SET text = CAST(x'ff' AS TEXT)",
    "UPDATE listings SET raw = x'00'",
    "UPDATE listings SET raw = NULL",
    "UPDATE listings SET canonical = NULL",
    "UPDATE listings SET canonical = x'78'",
)


@pytest.fixture
def kept(path: Path, content: MakeContent) -> MakeContent:
    """A closed archive with one listing, canonical text and bytes different from its text."""
    with Archive.open(path) as archive:
        archive.keep("TIDE", content(TEXT.lower()), Origin("file", "tide.bas"))
    return content


@pytest.mark.parametrize("damage", LISTING_DAMAGE)
def test_a_damaged_listing_is_not_held(path: Path, kept: MakeContent, damage: str) -> None:
    """Whoever asks what the archive holds is never told of a copy that cannot be read back."""
    with Archive.open(path) as archive:
        assert [one.spec for one in archive.holds(kept(TEXT.lower()))] == ["TIDE@1"]
    change(path, "listings", damage)
    with Archive.open(path) as archive:
        assert archive.holds(kept(TEXT.lower())) == []


@pytest.mark.parametrize("damage", LISTING_DAMAGE)
def test_a_damaged_listing_is_healed_by_the_same_content(
    path: Path, kept: MakeContent, damage: str
) -> None:
    """The same row is whole again, the archive is proven clean, and an event tells of it."""
    change(path, "listings", damage)
    with Archive.open(path) as archive:
        assert archive.heal(kept(TEXT.lower())) == ["TIDE@1"]
        assert archive.heal(kept(TEXT.lower())) == []
        assert archive.content(archive.revision("TIDE@1")).raw == kept(TEXT.lower()).raw
        assert archive.prove().findings == ()
        (event,) = archive.events(job="heal")
        assert event.outcome == "done" and event.detail["of"] == ["TIDE@1"]
    conn = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="never changed"):
        conn.execute("UPDATE listings SET text = ''")
    conn.close()


def test_only_the_same_bytes_heal(path: Path, kept: MakeContent) -> None:
    """Another listing of the same program for the board takes no place of a damaged one."""
    change(path, "listings", LISTING_DAMAGE[0])
    with Archive.open(path) as archive:
        assert archive.heal(kept(TEXT)) == []  # the same in capitals
        assert archive.heal(kept(TEXT.lower(), upper=False)) == []
        assert archive.prove().lasting


@pytest.mark.parametrize("how", ["keep", "keep elsewhere", "rescue", "backup", "merge"])
def test_whatever_keeps_a_listing_heals_it(
    path: Path, tmp_path: Path, kept: MakeContent, how: str
) -> None:
    """Each way in finds the damaged row, heals it, and stores the listing no second time."""
    held = kept(TEXT.lower())
    change(path, "listings", LISTING_DAMAGE[0])
    with Archive.open(path) as archive:
        if how == "keep":
            assert not archive.keep("TIDE", held, Origin("file")).is_new
        elif how == "keep elsewhere":
            archive.keep("EBB", held, Origin("file"))
        elif how == "rescue":
            archive.rescue(held, Origin("rescue"))
        elif how == "backup":
            board = archive.board_seen(serial="red-1")
            archive.keep_backup(board.uuid, [BackupItem("memory", held, 2)], profile="practice")
        else:
            with Archive.open(tmp_path / "other.sqlite3") as other:
                other.keep("TIDE", held, Origin("file"))
                archive.merge_file(other.path)
        assert archive.prove().findings == ()
        assert archive.content(archive.revision("TIDE@1")) == held
        assert archive.prove().counts["listings"] == 1


def test_a_damaged_image_is_healed_by_the_same_image(path: Path, tmp_path: Path) -> None:
    """An image kept earlier is verified before it stands for another, kept or merged."""
    with Archive.open(path) as archive, Archive.open(tmp_path / "other.sqlite3") as other:
        other.keep_image(FLASH)
        for again in (lambda: archive.keep_image(FLASH), lambda: archive.merge_file(other.path)):
            image = archive.keep_image(FLASH)
            change(path, "firmware_images", "UPDATE firmware_images SET data = zeroblob(16)")
            assert not archive.known_image(image.sha256).sound  # type: ignore[union-attr]
            again()
            assert archive.known_image(image.sha256) == image
            assert archive.prove().findings == ()
        assert len(archive.events(job="heal")) == 2


def test_an_image_with_a_false_hash_is_not_taken_in(
    path: Path, tmp_path: Path, held_records: Callable[..., Any]
) -> None:
    """What comes with an image whose bytes are not those of its SHA-256 is refused whole; of
    another archive's file the damaged image alone is left out, and named."""
    with Archive.open(path) as archive, Archive.open(tmp_path / "other.sqlite3") as other:
        other.keep("TIDE", Content(b"10\n", "10\n", "10\n", "p", "latin-1"), Origin("file"))
        other.keep_image(FLASH, name="one.hex")
        false = held_records(other)
        false.held["firmware_images"][0]["data"] = bytes(16)
        with pytest.raises(ArchiveError, match="firmware image in it does not have the SHA-256"):
            archive.merge(false)
        assert archive.programs() == []
        change(other.path, "firmware_images", "UPDATE firmware_images SET data = zeroblob(16)")
        merged = archive.merge_file(other.path)
        assert (merged.added["revisions"], merged.added["firmware_images"]) == (1, 0)
        assert "(the firmware image one.hex) is damaged" in merged.left_out[0]
