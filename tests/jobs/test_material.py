"""Finding the listing that a word means."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.cli.ways import in_commands
from hostlink.errors import ArchiveError, ListingError
from hostlink.jobs.listing_source import find_material, is_file, program_name, shipped_programs


def kept(archive: Archive, name: str, text: str) -> None:
    """Keep a listing under a name."""
    archive.keep(name, Content(text.encode(), text, text, "practice", "utf-8", 9), Origin("file"))


@pytest.mark.parametrize(
    ("stem", "name"),
    [
        ("tide", "TIDE"),
        ("my first program", "MY-FIRST-PROGRAM"),
        ("café (2)", "CAFE-2"),
        ("straße", "STRASSE"),
        ("@home", "HOME"),
        ("-x-", "X"),
        ("???", ""),
        ("x" * 60, "X" * 40),
    ],
)
def test_a_file_s_name_becomes_a_program_s_name(stem: str, name: str) -> None:
    """Capitals, digits, - and _ only, at most 40, and nothing where nothing is left."""
    assert program_name(stem) == name


def test_a_file_comes_before_a_program_before_a_shipped_one(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The order in which a word is looked up, and how to name each of the three for certain."""
    monkeypatch.chdir(tmp_path)
    assert find_material("tide", archive).shipped is not None
    kept(archive, "TIDE", "10 REM MINE\n")
    assert find_material("tide", archive).label == "TIDE@1"
    (tmp_path / "tide").write_text("10 REM A FILE\n", encoding="utf-8")
    assert find_material("tide", archive).text == "10 REM A FILE\n"
    assert find_material("TIDE@1", archive).text == "10 REM MINE\n"
    assert find_material("shipped:tide", archive).shipped is not None


def test_every_shipped_program_can_be_named(archive: Archive) -> None:
    """Each name of the index gives a listing with numbered lines, and a word that names it."""
    for name in shipped_programs():
        material = find_material(name.lower(), archive)
        assert material.listing.numbered()
        assert find_material(material.word, None).text == material.text


@pytest.mark.parametrize("word", ["", "tid", "TIDE@1", "shipped:nothing", "practice://"])
def test_a_word_that_means_nothing_is_told(word: str, archive: Archive) -> None:
    """A ListingError or ArchiveError names the word, and has advice."""
    from hostlink.errors import HostlinkError

    with pytest.raises(HostlinkError) as caught:
        find_material(word, archive)
    assert in_commands(caught.value.advice)
    assert word.removeprefix("shipped:").partition("@")[0].upper() in caught.value.what.upper()


def test_a_pipe_can_be_read_and_a_folder_cannot(tmp_path: Path) -> None:
    """Process substitution gives a pipe; a folder and a device are no listings."""
    assert not is_file(tmp_path)
    assert not is_file(Path(os.devnull))
    assert not is_file(tmp_path / ("x" * 300))
    assert not is_file(Path("a\0b"))
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        assert is_file(tmp_path / "pipe")
    with pytest.raises(ListingError, match="is a folder"):
        find_material(str(tmp_path), None)


def test_a_name_with_blanks_is_quoted_for_the_shell(tmp_path: Path) -> None:
    """The word in a hint can be pasted after `hostlink review`."""
    path = tmp_path / "my listing.bas"
    path.write_text("10 END\n", encoding="utf-8")
    assert find_material(str(path), None).word == f"'{path}'"
    assert find_material("-", None, stdin=b"10 END\n").word == "-"


def test_a_damaged_program_is_called_damaged(tmp_path: Path) -> None:
    """Not unknown, with names near it; nor is a shipped program of that name taken for it."""
    file = tmp_path / "archive.sqlite3"
    content = Content(b"10 END\n", "10 END\n", "10 END\n", "practice", "utf-8", 7)
    with Archive.open(file) as archive:
        archive.keep("HAIL", content, Origin("file", "hail.bas"))
    db = sqlite3.connect(file)
    db.execute("UPDATE programs SET title = 'other'")
    db.commit()
    db.close()
    with Archive.open(file) as archive, pytest.raises(ArchiveError, match="hail is damaged"):
        find_material("hail", archive)


def test_no_shipped_program_stands_in_for_an_archive_that_does_not_answer(tmp_path: Path) -> None:
    """Only a name that the archive does not know may mean something else."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        kept(archive, "HAIL", "10 END\n")
    with pytest.raises(ArchiveError, match="has been closed"):
        find_material("hail", archive)
