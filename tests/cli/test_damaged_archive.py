"""Commands on an archive of which one byte was flipped: right, or told, never a traceback."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import soak_damage

from hostlink.archive import Archive

READING = (
    ("programs",),
    ("programs", "--retired"),
    ("programs", "--rescues"),
    ("find", "gosub", "900"),
    ("find", "--tag", "sea"),
    ("show", "TIDE"),
    ("show", "TIDE@2"),
    ("show", "EBB"),
    ("show", "rescue@1"),
    ("history", "TIDE"),
    ("backup", "--list"),
    ("firmware", "history"),
)
BY_INDEX = ("find", "programs")


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bytes of an archive with one of everything."""
    return soak_damage.sound_file(tmp_path_factory.mktemp("sound") / "archive.sqlite3")


@pytest.fixture
def path(place: Path) -> Path:
    """The archive that the commands use."""
    return place / "archive.sqlite3"


@pytest.mark.slow
def test_whichever_byte_is_flipped_a_command_is_right_or_tells(
    hostlink: Callable[..., Any], sound: bytes, path: Path
) -> None:
    """Each row it shows is one of the sound archive's; where one is missing, or the command fails,
    `archive prove` fails too; damage is told in a sentence on stderr."""
    path.write_bytes(sound)
    right = {words: hostlink(*words) for words in READING}
    assert all(told.status == 0 for told in right.values())
    assert hostlink("archive", "prove").status == 0
    for at, pattern in soak_damage.flips(sound, every=5000, seed=3):
        soak_damage.clear_archive(path)
        path.write_bytes(soak_damage.flipped(sound, at, pattern))
        proven = hostlink("archive", "prove")
        for words in READING:
            told, due = hostlink(*words), right[words]
            where = f"byte {at} with {pattern:02X}: {' '.join(words)}"
            if told.status == 0 and told.out == due.out:
                continue
            assert proven.status == 1, where
            assert told.status == 1 or words[0] in BY_INDEX, where
            assert "damaged" in told.err or told.status == 0, (where, told.err)
            if words[0] == "show":
                assert told.out == "", where


def test_damage_is_named_beside_what_is_whole(
    hostlink: Callable[..., Any], sound: bytes, path: Path, place: Path
) -> None:
    """Lists, an export and a duplicate go on around it with status 1, and an import heals it."""
    path.write_bytes(sound)
    assert hostlink("archive", "duplicate", "spare.sqlite3").status == 0
    assert "whole and proven" in hostlink("archive", "duplicate", "spare2.sqlite3").err
    at = sound.index(b"moon.bas")
    path.write_bytes(sound[:at] + b"moon.bat" + sound[at + 8 :])
    told = hostlink("programs")
    assert told.status == 1 and "TIDE" in told.out and "MOON" not in told.out
    assert "MOON is damaged in the archive." in told.err and "archive import" in told.err
    told = hostlink("programs", "--json")
    assert told.status == 1 and {each["name"] for each in told.json} == {"TIDE", "PLAIN"}
    told = hostlink("archive", "export", "bag", "--json")
    assert told.status == 1 and told.json["counts"]["programs"] == 3
    assert "revisions (MOON@1) is damaged." in told.json["left_out"][0]
    assert "(MOON) has no undamaged revision." in told.json["left_out"][1]
    told = hostlink("archive", "duplicate", "copy.sqlite3")
    assert told.status == 1 and "copy.sqlite3 is a copy of what could be read" in told.err
    assert "row 8 of revisions (MOON@1)" in told.err.lower() or "(MOON@1)" in told.err
    assert hostlink("show", "MOON").status == 1
    told = hostlink("archive", "import", "spare.sqlite3")
    assert told.status == 0
    assert "Repaired, because it was damaged here" in told.err and "MOON@1" in told.err
    assert hostlink("archive", "prove").status == 0
    assert hostlink("show", "MOON").out == "10 rem full\n"
    shutil.rmtree(place / "bag")


def test_a_damaged_archive_imported_from_gives_what_is_whole(
    hostlink: Callable[..., Any], sound: bytes, path: Path, place: Path
) -> None:
    """What is left out is named, with status 1; in JSON too."""
    at = sound.index(b"moon.bas")
    (place / "damaged.sqlite3").write_bytes(sound[:at] + b"moon.bat" + sound[at + 8 :])
    told = hostlink("archive", "import", "damaged.sqlite3", "--json")
    assert told.status == 1
    assert told.json["added"]["revisions"] == 8
    assert "MOON@1" in told.json["left_out"][0] and "MOON@1" in told.err
    assert "MOON" not in hostlink("programs").out
    with Archive.open(path) as archive:
        assert archive.prove().clean


def test_a_history_with_a_damaged_listing_tells_the_other_changes(
    hostlink: Callable[..., Any], sound: bytes, path: Path
) -> None:
    """The revision is listed, what changed in it is not known, and the listing is named."""
    at = sound.index(b"10 print 3\n")
    path.write_bytes(sound[:at] + b"10 print 7\n" + sound[at + 11 :])
    told = hostlink("history", "TIDE", "--json")
    assert told.status == 1
    changes = [row["changes"] for row in json.loads(told.out)]
    assert changes[3] is None and changes[4] is None and changes[5] == {
        "added": 0, "removed": 0, "changed": 1,
    }  # fmt: skip
    assert "The listing of TIDE@4 is damaged" in told.err
    assert "not known" in hostlink("history", "TIDE").out
