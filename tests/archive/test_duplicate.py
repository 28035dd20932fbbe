"""Duplicates."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive import duplicate as duplicate_module
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


def test_a_duplicate_is_complete_while_the_archive_is_in_use(
    archive: Archive, content: MakeContent, from_file: Origin, tmp_path: Path
) -> None:
    """Everything acknowledged is in it, also what is still in the write-ahead log only."""
    for number in range(5):
        archive.keep("TIDE", content(f"10 PRINT {number}\n"), from_file)
    target = tmp_path / "copy.sqlite3"
    archive.duplicate(target)
    archive.keep("TIDE", content("10 END\n"), from_file)
    with Archive.open(target, create=False) as copy:
        assert copy.prove().clean
        assert copy.history("TIDE") == archive.history("TIDE")[:5]
        assert copy.uuid == archive.uuid
    assert [file.name for file in tmp_path.iterdir() if "part" in file.name] == []


def test_an_existing_file_is_never_overwritten(archive: Archive, tmp_path: Path) -> None:
    """Not even an empty one, nor the archive itself."""
    target = tmp_path / "precious.txt"
    target.write_text("mine")
    for taken in (target, archive.path):
        with pytest.raises(ArchiveError, match="already exists"):
            archive.duplicate(taken)
    assert target.read_text() == "mine"
    assert archive.prove().clean


def test_a_name_that_is_no_utf_8_is_told(archive: Archive, tmp_path: Path) -> None:
    """SQLite could not name such a file; the archive is as it was."""
    with pytest.raises(ArchiveError, match=r"was not made: its name is not UTF-8\."):
        archive.duplicate(tmp_path / "copy\udcff.sqlite3")


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_appears_meanwhile_is_not_overwritten(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """A name taken while the copy is made stays with who took it, with or without hard links."""
    target = tmp_path / "copy.sqlite3"
    flush = duplicate_module.flush_file

    def meanwhile(part: Path) -> None:
        flush(part)
        target.write_text("mine")

    monkeypatch.setattr(duplicate_module, "flush_file", meanwhile)
    if not links:
        monkeypatch.setattr(os, "link", _no_links)
    with pytest.raises(ArchiveError, match="already exists"):
        archive.duplicate(target)
    assert target.read_text() == "mine"
    assert sorted(file.name for file in tmp_path.iterdir()) == ["class", "copy.sqlite3"]


def _no_links(*_: object) -> None:
    raise OSError(1, "Operation not permitted")


def test_a_disk_without_hard_links_takes_duplicates_too(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Memory sticks often have none."""
    monkeypatch.setattr(os, "link", _no_links)
    archive.duplicate(tmp_path / "copy.sqlite3")
    with Archive.open(tmp_path / "copy.sqlite3", create=False) as copy:
        assert copy.prove().clean


def test_a_missing_folder_is_one_clear_error(archive: Archive, tmp_path: Path) -> None:
    """Nothing is made, and the error says what was not made; so below a file."""
    (tmp_path / "file").write_text("x")
    for folder in (tmp_path / "no" / "such", tmp_path / "file"):
        target = folder / "copy.sqlite3"
        with pytest.raises(ArchiveError, match=r"copy\.sqlite3 was not made: the system"):
            archive.duplicate(target)
        assert not target.exists()
    assert not (tmp_path / "no").exists()


@pytest.mark.parametrize("cut", [None, 5000])
def test_a_copy_that_fails_its_check_gets_no_name(
    archive: Archive,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    content: Callable[..., Content],
    cut: int | None,
) -> None:
    """A copy damaged on its way to the disk is thrown away."""
    proven = Archive._proven

    def damaged(self: Archive, part: Path) -> tuple[str, ...]:
        data = part.read_bytes()
        part.write_bytes(data.replace(b"tide.bas", b"tidf.bas") if cut is None else data[:cut])
        return proven(self, part)

    archive.keep("TIDE", content("10 END\n"), Origin("file", "tide.bas"))
    monkeypatch.setattr(Archive, "_proven", damaged)
    with pytest.raises(ArchiveError, match="its check failed"):
        archive.duplicate(tmp_path / "copy.sqlite3")
    assert [file.name for file in tmp_path.iterdir()] == ["class"]
