"""An archive outlives the tool as a BagIt folder; a damaged or hostile one is refused whole."""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.backups import BackupItem
from hostlink.archive.database import flushing
from hostlink.archive.exchange import bag_format, bags
from hostlink.archive.exchange.bag_reading import open_bag
from hostlink.archive.exchange.bags import write_bag
from hostlink.errors import ArchiveError

FILES = Path(__file__).parent / "files"


def make_right(bag: Path) -> None:
    """Renew the manifests and the size of a bag, so that only its content is false."""
    payload = sorted(path for path in (bag / "data").rglob("*") if path.is_file())
    sizes = f"{sum(path.stat().st_size for path in payload)}.{len(payload)}"
    info = (bag / "bag-info.txt").read_text(encoding="utf-8").splitlines()
    rows = [row for row in info if not row.startswith("Payload-Oxum")]
    (bag / "bag-info.txt").write_text("\n".join([*rows, f"Payload-Oxum: {sizes}"]) + "\n")

    def listed(paths: list[Path], algorithm: str) -> str:
        return "".join(
            f"{hashlib.new(algorithm, path.read_bytes()).hexdigest()}  "
            f"{path.relative_to(bag).as_posix()}\n"
            for path in paths
        )

    for algorithm in ("sha256", "sha512"):
        manifest = listed(payload, algorithm)
        (bag / f"manifest-{algorithm}.txt").write_text(manifest, encoding="utf-8")
    tags = sorted(path for path in bag.glob("*.txt") if not path.name.startswith("tagmanifest"))
    for algorithm in ("sha256", "sha512"):
        (bag / f"tagmanifest-{algorithm}.txt").write_text(listed(tags, algorithm))


def change_line(bag: Path, name: str, change: Callable[[dict[str, Any]], Any], at: int = 0) -> None:
    """Change a record of a bag and make its manifests right again."""
    path = bag / "data" / name
    lines = path.read_text(encoding="utf-8").splitlines()
    record = json.loads(lines[at])
    change(record)
    lines[at] = json.dumps(record)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    make_right(bag)


def read_all(bag: Path) -> None:
    """Read all of a bag into an archive of its own."""
    with Archive.open(bag.with_name("target.sqlite3")) as target, open_bag(bag) as records:
        target.merge(records)


@pytest.fixture
def source(tmp_path: Path) -> Iterator[Archive]:
    """An archive with names and bytes that a file system or an encoding may not like."""
    with Archive.open(tmp_path / "source.sqlite3") as archive:
        board = archive.board_seen(serial="red-1")
        archive.board_label(board.uuid, "Red")
        for name in ("TIDE", "Con", "a/b..", "Über"):
            text = f'10 PRINT "{name}"\n'
            raw = text.replace("\n", "\r\n").encode("latin-1")
            content = Content(raw, text, text, "practice", "latin-1", 20)
            archive.keep(name, content, Origin("file", "x.bas"))
        held = Content(b"\xff\x0010 REM\r", "\xff\x0010 REM\n", "10 REM\n", "tiny", "latin-1")
        unproven = "the board reports 818 bytes free"
        archive.rescue(held, Origin("rescue", board_uuid=board.uuid, unproven=unproven))
        archive.tag("TIDE", "harbour")
        image = archive.keep_image(b"\x0c\x94" * 40, part="ATmega328P", name="one")
        archive.begin_write(
            board.uuid, image, previous=None, role="computer", part="ATmega328P", eeprom=b"\x01\x02"
        )
        yield archive


@pytest.fixture
def bag(source: Archive, tmp_path: Path) -> Path:
    folder = tmp_path / "bag"
    with source.records() as records:
        write_bag(records, folder)
    return folder


def test_a_person_finds_each_listing_under_its_name(bag: Path) -> None:
    """Plain text, in a folder for each program, none of them called as a system forbids."""
    assert (bag / "data/programs/TIDE/TIDE-1.bas").read_text() == '10 PRINT "TIDE"\n'
    names = [path.name for path in (bag / "data/programs").iterdir()]
    assert "_Con" in names  # reserved on some systems
    assert not any("/" in name or ".." in name for name in names)
    for path in (bag / "data/records").iterdir():
        for line in path.read_text(encoding="utf-8").splitlines():
            assert isinstance(json.loads(line), dict)


def test_a_bag_brings_everything_back(
    source: Archive, bag: Path, tmp_path: Path, held_records: Callable[..., Any]
) -> None:
    """Exact bytes, text, canonical text and every record come back equal."""
    before = held_records(source)
    with Archive.open(tmp_path / "new.sqlite3") as new:
        with open_bag(bag) as records:
            assert new.merge(records).added["revisions"] == 4
        after = held_records(new)
        assert new.prove().findings == ()
    assert list(after.listings.values()) == list(before.listings.values())
    for table, records in before.held.items():
        if table == "archives":
            records = [each for each in after.held[table] if each in records]
        assert after.held[table] == records, table


def test_a_bag_of_0_1_0_is_still_taken_in(tmp_path: Path) -> None:
    """Format 1, one JSON document: it gives what the archive of that version holds."""
    bag = tmp_path / "old"
    with zipfile.ZipFile(FILES / "bag-0.1.0.zip") as packed:
        packed.extractall(bag)
    with Archive.open(tmp_path / "new.sqlite3") as new:
        with open_bag(bag) as records:
            added = new.merge(records).added
        assert (added["programs"], added["revisions"], added["rescues"]) == (4, 6, 1)
        assert (added["backups"], added["firmware_writes"], added["events"]) == (1, 1, 4)
        assert added["runs"] == 0
        assert new.prove().findings == ()
        assert new.program("TIDE").tags == ("clock", "sea")
        assert new.program("TIDE").note == "Runs four minutes slow."
        assert new.writes()[0].image.sound


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
        with source.records() as records:
            write_bag(records, target)
        data = target / "data"
        assert sorted(each.relative_to(data).as_posix() for each in data.rglob("*.bas")) == [
            "backups/1/memory.bas",
            "backups/1/stored_A1.bas",
            "programs/TIDE/TIDE-1.bas",
            "programs/TIDE/TIDE-2.bas",
            "programs/a_b/a_b-1.bas",
            "programs/a_b~2/a_b-1.bas",
        ]
        (firmware,) = (data / "firmware").iterdir()
        assert firmware.read_bytes() == image
        with Archive.open(tmp_path / "new.sqlite3") as new:
            with open_bag(target) as records:
                new.merge(records)
            known = source.keep_image(image)
            assert new.known_image(known.sha256) == known


def test_an_existing_folder_is_never_written_into(source: Archive, bag: Path) -> None:
    """A second export to the same place is refused and the first stays valid."""
    with (
        source.records() as records,
        pytest.raises(ArchiveError, match="already exists"),
    ):
        write_bag(records, bag)
    bag_format.verify_bag(bag)


def test_what_is_said_to_be_checked_is_on_the_disk(
    source: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every file, every folder with new names in it, and the folders above that had to be made
    are flushed before the bag gets its name, and that name after it."""
    flushed: list[str] = []
    target = tmp_path / "new" / "deep" / "bag"

    def note(folder: Path) -> None:
        state = "named" if target.exists() else "not named"
        flushed.append(f"{folder.relative_to(tmp_path).as_posix()}, {state}")

    monkeypatch.setattr(flushing, "flush_folder", note)
    monkeypatch.setattr(bags, "flush_folder", note)
    monkeypatch.setattr(bags, "flush_tree", note)
    with source.records() as records:
        write_bag(records, target)
    part = flushed.pop(2)
    assert part.startswith("new/deep/.bag.") and part.endswith(".part, not named")
    assert flushed == [".", "new", "new/deep, named"] or flushed == [
        "., not named",
        "new, not named",
        "new/deep, named",
    ]


@pytest.mark.parametrize("has_call", [True, False])
def test_a_tree_is_flushed_file_by_file_where_there_is_no_call_for_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, has_call: bool
) -> None:
    """Linux has one call for a whole file system; elsewhere each file and folder is flushed."""
    flushed: list[Path] = []
    (tmp_path / "a" / "b").mkdir(parents=True)
    for name in ("one", "a/two", "a/b/three"):
        (tmp_path / name).write_text("x")
    if not has_call:
        monkeypatch.setattr(flushing, "_flush_file_system", lambda _: False)
    monkeypatch.setattr(flushing, "flush_file", flushed.append)
    monkeypatch.setattr(flushing, "flush_folder", flushed.append)
    flushing.flush_tree(tmp_path)
    if has_call and flushing.sys.platform == "linux":
        assert flushed == []
        return
    assert {path.relative_to(tmp_path).as_posix() for path in flushed} == {
        ".", "one", "a", "a/two", "a/b", "a/b/three",
    }  # fmt: skip


def test_an_export_that_fails_leaves_nothing(
    source: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk is one sentence; no part of a folder stays."""

    def full(_: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bags, "flush_tree", full)
    before = sorted(path.name for path in tmp_path.iterdir())
    with (
        source.records() as records,
        pytest.raises(ArchiveError, match="No space left on device"),
    ):
        write_bag(records, tmp_path / "bag")
    assert sorted(path.name for path in tmp_path.iterdir()) == before


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


def _link_folder(bag: Path) -> None:
    (bag / "tags").symlink_to("/etc")


def _pipe(bag: Path) -> None:
    os.mkfifo(bag / "data" / "pipe.bas")


def _fetch(bag: Path) -> None:
    (bag / "fetch.txt").write_text("http://127.0.0.1/x 3 data/x\n")


def _outside(bag: Path) -> None:
    change_line(bag, "listings.jsonl", lambda entry: entry.update(file="../../outside.bas"))


def _absolute(bag: Path) -> None:
    change_line(bag, "listings.jsonl", lambda entry: entry.update(file="/etc/hostname"))


def _no_listing(bag: Path) -> None:
    change_line(bag, "records/revisions.jsonl", lambda record: record.update(listing=99))


def _huge_number(bag: Path) -> None:
    change_line(bag, "records/revisions.jsonl", lambda record: record.update(number=1 << 80))


def _unknown_field(bag: Path) -> None:
    change_line(bag, "records/programs.jsonl", lambda record: record.update(extra="x"))


def _wrong_hash(bag: Path) -> None:
    change_line(bag, "listings.jsonl", lambda entry: entry.update(sha256="0" * 64))


def _false_image(bag: Path) -> None:
    (path,) = (bag / "data/firmware").iterdir()
    path.write_bytes(b"\x00" + path.read_bytes()[1:])
    make_right(bag)


def _slow_encoding(bag: Path) -> None:
    for name in ("bagit.txt", "tagmanifest-sha256.txt"):
        text = (bag / name).read_text().replace("UTF-8", "punycode")
        (bag / name).write_text(text)


def _twice_declared(bag: Path) -> None:
    path = bag / "bagit.txt"
    path.write_text(path.read_text() + "BagIt-Version: 1.0\n")


def _newer(bag: Path) -> None:
    change_line(bag, "archive.json", lambda about: about.update(format=99))


def _no_format(bag: Path) -> None:
    change_line(bag, "archive.json", lambda about: about.update(format="2"))


def _not_json(bag: Path) -> None:
    (bag / "data/archive.json").write_text("[" * 100_000)
    make_right(bag)


def _not_json_line(bag: Path) -> None:
    (bag / "data/records/notes.jsonl").write_text("[" * 100_000)
    make_right(bag)


def _a_list(bag: Path) -> None:
    (bag / "data/records/notes.jsonl").write_text("[]\n")
    make_right(bag)


@pytest.mark.one_in(4)
@pytest.mark.parametrize(
    "spoil",
    [
        _change_byte, _drop_file, _add_file, _link, _link_folder, _pipe, _fetch, _outside,
        _absolute, _no_listing, _huge_number, _unknown_field, _wrong_hash, _false_image,
        _slow_encoding, _twice_declared, _newer, _no_format, _not_json, _not_json_line, _a_list,
    ],
)  # fmt: skip
def test_a_damaged_or_hostile_bag_is_refused_whole(
    spoil: Callable[[Path], None], bag: Path, tmp_path: Path
) -> None:
    """Each is one ArchiveError with a reason, and nothing reaches the archive."""
    (tmp_path / "outside.bas").write_text("10 REM OUTSIDE\n")
    spoil(bag)
    with Archive.open(tmp_path / "new.sqlite3") as new:
        with pytest.raises(ArchiveError) as caught, open_bag(bag) as records:
            new.merge(records)
        assert "None of it was taken in" in caught.value.kept
        assert str(caught.value).isprintable()
        assert new.programs(retired=None) == []
        assert new.prove().clean


def test_a_charset_that_takes_for_ever_is_not_tried(tmp_path: Path) -> None:
    """A bag may name any codec of Python; punycode takes hours for a page of odd characters. Only
    plain ones are used, and the exact bytes are kept as they came."""
    text = "".join(chr(256 + 7 * n % 50_000) for n in range(100_000)) + "\n"
    held = Content(b"10 REM\n", text, text, "practice", "punycode")
    with Archive.open(tmp_path / "a.sqlite3") as archive:
        kept = archive.keep("TIDE", held, Origin("file")).revision
        with archive.records() as records:
            write_bag(records, tmp_path / "bag")
        with Archive.open(tmp_path / "b.sqlite3") as other:
            with open_bag(tmp_path / "bag") as records:
                other.merge(records)
            assert other.content(other.revision("TIDE")) == archive.content(kept) == held


def test_what_is_no_bag_is_refused(tmp_path: Path) -> None:
    """An empty folder, a bag of something else, and a folder with a pipe in it."""
    (tmp_path / "empty").mkdir()
    with pytest.raises(ArchiveError, match="not a BagIt folder"):
        read_all(tmp_path / "empty")
    other = tmp_path / "other"
    other.mkdir()
    writer = bag_format.BagWriter(other)
    writer.add("letter.txt", b"Dear all")
    writer.close({})
    with pytest.raises(ArchiveError, match="not a hostlink bag"):
        read_all(other)
    os.mkfifo(other / "pipe")
    with pytest.raises(ArchiveError, match="special file"):
        read_all(other)


def test_what_a_damaged_bag_is_refused_for_is_fit_to_be_shown(bag: Path) -> None:
    """Control characters in the bag's own files are quoted as escapes (found by fuzzing)."""
    (bag / "bag-info.txt").write_bytes(b"Payload\x1b[2J\x07 no tag\n")
    with pytest.raises(ArchiveError) as caught:
        read_all(bag)
    assert str(caught.value).isprintable()
    assert "\\x1b[2J\\x07" in caught.value.what


@pytest.mark.parametrize("place", ["records/programs.jsonl", "listings.jsonl"])
def test_half_of_a_character_pair_in_json_is_refused(bag: Path, place: str) -> None:
    """JSON can write what no file and no database can hold (RFC 8259, section 8.2)."""
    key = "title" if place.startswith("records") else "profile"
    change_line(bag, place, lambda record: record.update({key: "\ud800"}))
    with pytest.raises(ArchiveError, match="refused"):
        read_all(bag)


@pytest.mark.one_in(6)
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
        ("revisions", "number", 0),
        ("revisions", "number", 1_000_000_001),
        ("revisions", "captures", True),
        ("revisions", "captures", 1 << 62),
        ("revisions", "after_restart", 2),
        ("revisions", "kept_at", None),
        ("revisions", "kept_at", "yesterday"),
        ("revisions", "kept_at", "2031-09-03"),
        ("revisions", "listing", "1"),
        ("revisions", "program", 1),
        ("rescues", "number", 1 << 40),
        ("boards", "last_seen", "2031-09-03T18:30:00.000+01:00"),
        ("events", "detail", "no JSON"),
        ("tags", "tag", 1.5),
        ("tags", "tag", "two words"),
    ],
)
def test_a_value_of_another_kind_is_refused(
    bag: Path, table: str, key: str, value: object, tmp_path: Path
) -> None:
    """A number for a text, nothing for something: refused in words before anything is kept."""
    change_line(bag, f"records/{table}.jsonl", lambda record: record.update({key: value}))
    with Archive.open(tmp_path / "target.sqlite3") as target:
        with (
            pytest.raises(ArchiveError, match=rf"{key} of a record of {table}|a tag is one word"),
            open_bag(bag) as records,
        ):
            target.merge(records)
        assert target.programs() == []


@pytest.mark.parametrize(
    ("table", "key", "name"),
    [
        ("programs", "name", "\x1b[2J"),
        ("programs", "name", "TIDE@3"),
        ("programs", "name", "rescue"),
        ("programs", "name", " TIDE"),
        ("boards", "label", "Red\x1b[31m"),
        ("boards", "label", "R" * 41),
        ("tags", "tag", "\u202etag"),
    ],
)
def test_a_name_that_could_not_be_given_here_does_not_come_in(
    bag: Path, table: str, key: str, name: str
) -> None:
    """An escape sequence for a label, or a name that the command line could never mean."""
    change_line(bag, f"records/{table}.jsonl", lambda record: record.update({key: name}))
    with pytest.raises(ArchiveError, match="The import was refused") as caught:
        read_all(bag)
    assert str(caught.value).isprintable()


def test_what_follows_the_largest_number_can_still_be_named(bag: Path) -> None:
    """A revision number from elsewhere is bounded, so that the next one here can be typed."""
    change_line(bag, "records/revisions.jsonl", lambda record: record.update(number=10**9))
    read_all(bag)
    with Archive.open(bag.with_name("target.sqlite3")) as archive:
        (largest,) = (one for one in archive.programs() if one.latest == 10**9)
        held = Content(b"10 END\n", "10 END\n", "10 END\n", "practice", "latin-1")
        kept = archive.keep(largest.name, held, Origin("file")).revision
        assert kept.number == 10**9 + 1
        assert archive.revision(kept.spec) == kept


def test_a_bag_of_far_too_many_files_is_refused(bag: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """They are counted over all folders, before anything is read."""
    count = sum(1 for _ in bag.rglob("*"))
    monkeypatch.setattr(bag_format, "MOST_FILES", count)
    bag_format.verify_bag(bag)
    monkeypatch.setattr(bag_format, "MOST_FILES", 5)
    with pytest.raises(ArchiveError, match="far too many files"):
        read_all(bag)


def _long_manifest_line(bag: Path) -> None:
    with (bag / "manifest-sha256.txt").open("a") as file:
        file.write("0" * 50_000_000)


def _many_false_lines(bag: Path) -> None:
    with (bag / "manifest-sha256.txt").open("a") as file:
        file.writelines(f"{'0' * 64}  data/nothing-{n}.bas\n" for n in range(600_000))


def _many_equal_lines(bag: Path) -> None:
    line = (bag / "manifest-sha256.txt").read_text().splitlines()[0]
    (bag / "manifest-sha256.txt").write_text(f"{line}\n" * 600_000)


def _long_info(bag: Path) -> None:
    (bag / "bag-info.txt").write_text("Contact-Name: " + "x" * 50_000_000)


def _long_record(bag: Path) -> None:
    (bag / "data/records/notes.jsonl").write_text('{"text": "' + "x" * 50_000_000)
    make_right(bag)


def _large_document(bag: Path) -> None:
    text = '{"format": 1, "records": {}, "listings": [' + "[]," * 5_000_000 + "[]]}"
    (bag / "data/archive.json").write_text(text)
    make_right(bag)


@pytest.mark.one_in(3)
@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (_long_manifest_line, "has a line that is far too long"),
        (_many_false_lines, "lists data/nothing-0.bas, which is missing"),
        (_many_equal_lines, "twice"),
        (_long_info, "bag-info.txt is far too large"),
        (_long_record, "has a line that is far too long"),
        (_large_document, "too large to be read at once"),
    ],
)
def test_what_a_bag_makes_us_do_is_bounded(
    bag: Path, spoil: Callable[[Path], None], why: str
) -> None:
    """A false line ends the reading, a line is read no further than one may be long, and what is
    taken into memory is small: 600,000 false lines took two minutes once."""
    import tracemalloc

    spoil(bag)
    tracemalloc.start()
    try:
        with pytest.raises(ArchiveError, match=why):
            read_all(bag)
        assert tracemalloc.get_traced_memory()[1] < 60_000_000
    finally:
        tracemalloc.stop()
