"""An archive outlives the tool as a BagIt folder; a damaged or hostile one is refused whole."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path

import bagit
import pytest

from hostlink.archive import Archive, Content, Origin, bags
from hostlink.archive.backups import BackupItem
from hostlink.archive.bags import read_bag, write_bag
from hostlink.errors import ArchiveError


@pytest.fixture
def source(tmp_path: Path) -> Iterator[Archive]:
    """An archive with names and bytes that a file system or an encoding may not like."""
    archive = Archive.open(tmp_path / "source.sqlite3")
    board = archive.board_seen(serial="red-1")
    for name in ("TIDE", "Con", "a/b..", "Über"):
        text = f'10 PRINT "{name}"\n'
        archive.keep(
            name,
            Content(text.replace("\n", "\r\n").encode("latin-1"), text, text, "practice",
                    "latin-1", 20),
            Origin("file", "x.bas"),
        )  # fmt: skip
    held = Content(b"\xff\x0010 REM\r", "\xff\x0010 REM\n", "10 REM\n", "tiny", "latin-1")
    archive.rescue(held, Origin("rescue", board_uuid=board.uuid))
    archive.tag("TIDE", "harbour")
    yield archive
    archive.close()


@pytest.fixture
def bag(source: Archive, tmp_path: Path) -> Path:
    folder = tmp_path / "bag"
    write_bag(source.cargo(), folder)
    return folder


def test_a_bag_is_valid_by_the_reference_library_and_holds_plain_listings(bag: Path) -> None:
    """RFC 8493 section 2: bagit.txt, a payload folder and a SHA-256 manifest; checked by the bagit
    library. A person finds each listing as text under its name."""
    assert bagit.Bag(str(bag)).is_valid()
    assert (bag / "bagit.txt").read_text().startswith("BagIt-Version:")
    assert (bag / "manifest-sha256.txt").exists()
    assert (bag / "data/programs/TIDE/TIDE-1.bas").read_text() == '10 PRINT "TIDE"\n'
    names = [path.name for path in (bag / "data/programs").iterdir()]
    assert "_Con" in names  # reserved on some systems
    assert not any("/" in name or ".." in name for name in names)


def test_a_bag_brings_everything_back(source: Archive, bag: Path, tmp_path: Path) -> None:
    """Exact bytes, text, canonical text and every record come back equal."""
    cargo, back = source.cargo(), read_bag(bag)
    assert back.listings == {
        key: Content(each.raw, each.text, each.canonical, each.profile, each.charset)
        for key, each in cargo.listings.items()
    }
    assert back.records == cargo.records
    with Archive.open(tmp_path / "new.sqlite3") as new:
        assert new.merge(back).added["revisions"] == 4
        assert new.prove().clean


def test_each_listing_has_a_file_of_its_own_named_after_what_holds_it(tmp_path: Path) -> None:
    """Revisions side by side, names that come to the same file apart, what a backup holds by its
    kind and slot; a firmware image as its bytes, which come back."""
    image = bytes(range(256)) * 3
    with Archive.open(tmp_path / "source.sqlite3") as source:
        board = source.board_seen(serial="red-1")

        def held(text: str) -> Content:
            return Content(text.encode(), text, text, "practice", "latin-1", 20)

        for number, name in enumerate(("TIDE", "TIDE", "a/b", "a?b")):
            source.keep(name, held(f"10 REM {number}\n"), Origin("file", "x.bas"))
        items = [
            BackupItem("memory", held("10 REM M\n"), 2),
            BackupItem("stored", held("10 REM S\n"), 2, "A1"),
        ]
        source.keep_backup(board.uuid, items, profile="practice")
        source.keep_image(image, part="ATmega328P")
        target = tmp_path / "new" / "bag"  # in a folder that is not there yet
        write_bag(source.cargo(), target)
        data = target / "data"
        assert sorted(each.relative_to(data).as_posix() for each in data.rglob("*.bas")) == [
            "backups/1/memory.bas",
            "backups/1/stored_A1.bas",
            "programs/TIDE/TIDE-1.bas",
            "programs/TIDE/TIDE-2.bas",
            "programs/a_b/a_b-1.bas",
            "programs/a_b/a_b-1~2.bas",
        ]
        (firmware,) = (data / "firmware").iterdir()
        assert firmware.read_bytes() == image
        with Archive.open(tmp_path / "new.sqlite3") as new:
            new.merge(read_bag(target))
            known = source.keep_image(image)
            assert new.known_image(known.sha256) == known


def test_a_bag_of_far_too_many_files_is_refused(bag: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They are counted over all folders, before anything is read."""
    files = sum(path.is_file() for path in bag.rglob("*"))
    monkeypatch.setattr(bags, "MOST_FILES", files)
    assert read_bag(bag).listings
    monkeypatch.setattr(bags, "MOST_FILES", files - 1)
    with pytest.raises(ArchiveError, match="far too many files"):
        read_bag(bag)


def test_bytes_that_are_no_base64_are_refused(tmp_path: Path) -> None:
    """Small pieces of bytes stand in the records as base64 (RFC 4648), without anything else."""
    held = {"uuid": "x", "sha256": "0", "data": {"base64": "QUJD"}}
    assert bags._bytes_back("firmware_images", held, tmp_path, set())["data"] == b"ABC"
    for wrong in ("QU JD", "QUJD*", "QUJ"):
        held["data"] = {"base64": wrong}
        with pytest.raises(ArchiveError, match="cannot be read"):
            bags._bytes_back("firmware_images", held, tmp_path, set())


def test_an_existing_folder_is_never_written_into(source: Archive, bag: Path) -> None:
    """A second export to the same place is refused and the first stays valid."""
    with pytest.raises(ArchiveError, match="there already"):
        write_bag(source.cargo(), bag)
    assert bagit.Bag(str(bag)).is_valid()


def _change_byte(bag: Path) -> None:
    path = bag / "data/programs/TIDE/TIDE-1.bas"
    path.write_bytes(b"11" + path.read_bytes()[2:])


def _drop_file(bag: Path) -> None:
    (bag / "data/programs/TIDE/TIDE-1.bas").unlink()


def _add_file(bag: Path) -> None:
    (bag / "data/extra.txt").write_text("not in the manifest")


def _link(bag: Path) -> None:
    path = bag / "data/programs/TIDE/TIDE-1.bas"
    path.unlink()
    path.symlink_to("/etc/hostname")


def _fetch(bag: Path) -> None:
    (bag / "fetch.txt").write_text("http://127.0.0.1/x 3 data/x\n")


def _outside(bag: Path) -> None:
    _edit(bag, lambda document: document["listings"][0].update(file="../../outside.bas"))


def _huge_number(bag: Path) -> None:
    _edit(bag, lambda document: document["records"]["revisions"][0].update(number=1 << 80))


def _unknown_field(bag: Path) -> None:
    _edit(bag, lambda document: document["records"]["programs"][0].update(extra="x"))


def _wrong_hash(bag: Path) -> None:
    _edit(bag, lambda document: document["listings"][0].update(sha256="0" * 64))


def _slow_encoding(bag: Path) -> None:
    for name in ("bagit.txt", "tagmanifest-sha256.txt"):
        text = (bag / name).read_text().replace("UTF-8", "punycode")
        (bag / name).write_text(text)


def _twice_declared(bag: Path) -> None:
    path = bag / "bagit.txt"
    path.write_text(path.read_text() + "BagIt-Version: 1.0\n")


def _newer(bag: Path) -> None:
    _edit(bag, lambda document: document.update(format=99))


def _not_json(bag: Path) -> None:
    (bag / "data/archive.json").write_text("[" * 100_000)
    bagit.Bag(str(bag)).save(manifests=True)


def _edit(bag: Path, change: Callable[[dict], None]) -> None:  # type: ignore[type-arg]
    """Change archive.json and renew the manifest, so that only the content is false."""
    path = bag / "data/archive.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    change(document)
    path.write_text(json.dumps(document), encoding="utf-8")
    bagit.Bag(str(bag)).save(manifests=True)


@pytest.mark.parametrize(
    "spoil",
    [
        _change_byte, _drop_file, _add_file, _link, _fetch, _outside, _huge_number,
        _unknown_field, _wrong_hash, _slow_encoding, _twice_declared, _newer, _not_json,
    ],
)  # fmt: skip
def test_a_damaged_or_hostile_bag_is_refused_whole(
    spoil: Callable[[Path], None], bag: Path, tmp_path: Path
) -> None:
    """Each is one ArchiveError with a reason, and nothing reaches the archive."""
    (tmp_path / "outside.bas").write_text("10 REM OUTSIDE\n")
    spoil(bag)
    with Archive.open(tmp_path / "new.sqlite3") as new:
        with pytest.raises(ArchiveError) as caught:
            new.merge(read_bag(bag))
        assert "Nothing of it was taken in" in caught.value.kept
        assert new.programs(retired=None) == []
        assert new.prove().clean


def test_a_charset_that_takes_for_ever_is_not_tried(tmp_path: Path) -> None:
    """A bag may name any codec of Python; punycode takes hours for a page of odd characters. Only
    plain ones are used, and the exact bytes are kept as they came."""
    text = "".join(chr(256 + 7 * n % 50_000) for n in range(100_000)) + "\n"
    held = Content(b"10 REM\n", text, text, "practice", "punycode")
    with Archive.open(tmp_path / "a.sqlite3") as archive:
        kept = archive.keep("TIDE", held, Origin("file")).revision
        write_bag(archive.cargo(), tmp_path / "bag")
        with Archive.open(tmp_path / "b.sqlite3") as other:
            other.merge(read_bag(tmp_path / "bag"))
            assert other.content(other.revision("TIDE")) == archive.content(kept) == held


def test_what_is_no_bag_is_refused(tmp_path: Path) -> None:
    """An empty folder and a folder with a pipe in it are no bags."""
    (tmp_path / "empty").mkdir()
    with pytest.raises(ArchiveError, match="not a BagIt folder"):
        read_bag(tmp_path / "empty")
    (tmp_path / "empty" / "bagit.txt").write_text("BagIt-Version: 1.0\n")
    os.mkfifo(tmp_path / "empty" / "pipe")
    with pytest.raises(ArchiveError, match="special file"):
        read_bag(tmp_path / "empty")


def test_what_a_damaged_bag_is_refused_for_is_fit_to_be_shown(bag: Path) -> None:
    """Control characters in the bag's own files are quoted as escapes (found by fuzzing)."""
    (bag / "bag-info.txt").write_bytes(b"Payload\x1b[2J\x07 no tag\n")
    (bag / "tagmanifest-sha256.txt").unlink()
    with pytest.raises(ArchiveError) as caught:
        read_bag(bag)
    assert str(caught.value).isprintable()
    assert "\\x1b[2J\\x07" in caught.value.what


@pytest.mark.parametrize("place", ["records", "listings"])
def test_half_of_a_character_pair_in_json_is_refused(bag: Path, place: str) -> None:
    """JSON can write what no file and no database can hold (RFC 8259, section 8.2)."""
    path = bag / "data" / "archive.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    if place == "records":
        document["records"]["programs"][0]["title"] = "\ud800"
    else:
        document["listings"][0]["profile"] = "\ud800"
    path.write_text(json.dumps(document), encoding="utf-8")
    held = bagit.Bag(str(bag))
    held.save(manifests=True)
    with pytest.raises(ArchiveError, match="refused"):
        read_bag(bag)


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("programs", "title", None),
        ("programs", "title", 7),
        ("programs", "name", 7),
        ("boards", "label", 7),
        ("boards", "label", None),
        ("boards", "usb_vid", "x"),
        ("revisions", "number", "3"),
        ("revisions", "captures", True),
        ("revisions", "captures", 1 << 62),
        ("revisions", "kept_at", None),
        ("revisions", "kept_at", "yesterday"),
        ("revisions", "kept_at", "2031-09-03"),
        ("boards", "last_seen", "2031-09-03T18:30:00.000+01:00"),
        ("tags", "tag", 1.5),
    ],
)
def test_a_value_of_another_kind_is_refused(
    bag: Path, table: str, key: str, value: object, tmp_path: Path
) -> None:
    """A number for a text, nothing for something: refused in words before anything is kept."""
    path = bag / "data" / "archive.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    document["records"][table][0][key] = value
    path.write_text(json.dumps(document), encoding="utf-8")
    bagit.Bag(str(bag)).save(manifests=True)
    with Archive.open(tmp_path / "target.sqlite3") as target:
        with pytest.raises(ArchiveError, match=f"{key} of a record of {table}"):
            target.merge(read_bag(bag))
        assert target.programs() == []
