"""What prove notices. Each test damages one thing in a file that is otherwise right."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlite_utils import Database

from hostlink.archive import Archive, Content, Origin, proof
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


@pytest.fixture
def filled(path: Path, content: MakeContent) -> Iterator[Path]:
    """A closed archive with a little of everything."""
    with Archive.open(path) as archive:
        board = archive.board_seen(location="practice://red")
        archive.keep("TIDE", content('10 PRINT "EBB"\n20 GOSUB900\n'), Origin("file"), title="Sea")
        archive.keep("TIDE", content("10 print 2\n"), Origin("file"))
        archive.rescue(content("10 A\n"), Origin("rescue", board_uuid=board.uuid))
        archive.note("TIDE", "slow")
        archive.tag("TIDE", "sea")
        with archive.event("load", program="TIDE"):
            pass
    yield path


def _sql(path: Path, *statements: str) -> None:
    """Change the file behind the archive's back, without its rules."""
    conn = sqlite3.connect(path)
    conn.create_function("zap", 1, lambda data: b"\0" + data[1:])
    for statement in statements:
        conn.execute(statement)
    conn.commit()
    conn.close()


def _findings(path: Path) -> tuple[str, ...]:
    with Archive.open(path) as archive:
        return archive.prove().findings


def test_an_untouched_archive_is_proven_clean(filled: Path) -> None:
    """Nothing is found, and the counts tell how much was checked."""
    with Archive.open(filled) as archive:
        proof = archive.prove()
    assert proof.clean and proof.findings == () and proof.skipped == ()
    assert {name: proof.counts[name] for name in ("programs", "revisions", "rescues")} == {
        "programs": 1,
        "revisions": 2,
        "rescues": 1,
    }
    assert (proof.counts["listings"], proof.counts["events"]) == (3, 2)
    assert list(proof.counts) == [
        "programs", "revisions", "rescues", "listings", "notes", "tags", "boards", "backups",
        "runs", "firmware_images", "events",
    ]  # fmt: skip


def test_all_is_proven_in_one_view(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What another program writes meanwhile is not half seen."""
    seen: list[bool] = []

    def look(db: Database) -> Iterator[str]:
        seen.append(db.conn.in_transaction)
        yield "seen"

    monkeypatch.setattr(proof, "_CHECKS", (look, look))
    with Archive.open(filled) as archive:
        assert archive.prove().findings == ("seen", "seen")
        with archive.reading("the state") as db:
            assert not db.conn.in_transaction
    assert seen == [True, True]


@pytest.mark.parametrize(("held", "more"), [(99, 0), (100, 0), (101, 1), (250, 150)])
def test_a_hundred_findings_of_a_kind_are_told_and_the_others_counted(held: int, more: int) -> None:
    """A file that is damaged all over still gives a page, and says how much it left out."""
    told = list(proof._some(f"{n}" for n in range(held)))
    assert told[: min(held, 100)] == [f"{n}" for n in range(min(held, 100))]
    assert told[100:] == ([f"There are {more} more of this kind."] if more else [])


def test_what_is_not_there_counts_nothing(filled: Path) -> None:
    """A table that is gone is a finding, and its count is nought."""
    _sql(filled, "DROP TABLE events")
    with Archive.open(filled) as archive:
        told = archive.prove()
    assert "The table events is missing." in told.findings
    assert (told.counts["events"], told.counts["programs"]) == (0, 1)


def test_what_another_tool_counted_for_itself_is_no_finding(filled: Path) -> None:
    """ANALYZE leaves a table of SQLite's own."""
    _sql(filled, "ANALYZE")
    assert _findings(filled) == ()


def test_a_read_only_proof_says_what_it_left_out(filled: Path) -> None:
    """The index check needs to write; without that it is named as skipped, never as passed."""
    with Archive.open(filled, read_only=True) as archive:
        proof = archive.prove()
    assert proof.clean
    assert "search index" in proof.skipped[0]


CHANGED = "DROP TRIGGER listings_never_change"


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (
            ["UPDATE listings SET text = text || 'x' WHERE id = 1"],
            r"^Listing 1 \(TIDE@1\): its bytes do not match the SHA-256",
        ),
        (
            ["UPDATE listings SET sha256 = zap(sha256) WHERE id = 1"],
            r"^Row 1 of listings \(TIDE@1\) does not match its checksum",
        ),
        (
            ["UPDATE listings SET canonical_sha256 = zap(canonical_sha256) WHERE id = 2"],
            r"^Listing 2 \(TIDE@2\): its bytes do not match the SHA-256",
        ),
        (
            ["UPDATE listings SET raw = substr(raw, 1, 8) WHERE id = 3"],
            r"^Listing 3 \(rescue@1\): its bytes",
        ),
        (["UPDATE listings SET canonical = x'00' WHERE id = 2"], "^Listing 2 .*: its bytes"),
        (
            ["UPDATE listings SET line_count = 7 WHERE id = 1"],
            r"^Row 1 of listings \(TIDE@1\) does not match",
        ),
    ],
)
def test_a_changed_listing_is_found(filled: Path, damage: list[str], said: str) -> None:
    """Every listing's bytes, canonical text and line count are recomputed."""
    _sql(filled, CHANGED, *damage)
    findings = _findings(filled)
    assert any("trigger listings_never_change is missing" in finding for finding in findings)
    assert any(re.search(said, finding) for finding in findings)


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (["UPDATE tags SET program_id = 99"], "refers to a row of programs that is not there"),
        (["DROP VIEW event_list"], "The view event_list is missing"),
        (["DROP INDEX revisions_by_listing"], "The index revisions_by_listing is missing"),
        (["CREATE TABLE mine (x)"], "The table mine does not belong"),
        (
            [
                "DROP TRIGGER revisions_never_delete",
                "DELETE FROM revisions WHERE number = 1 AND id NOT IN (SELECT 0)",
            ],
            "TIDE has 1 revision, but the last is number 2",
        ),
        (
            ["DROP TRIGGER revisions_never_change", "UPDATE revisions SET number = 9 WHERE id = 2"],
            "TIDE has 2 revisions, but the last is number 9",
        ),
        (
            ["INSERT INTO programs (uuid, name, name_key, made_at) VALUES ('u', 'X', 'x', '')"],
            "X has no",
        ),
        (
            [
                "DROP TRIGGER notes_add_words",
                "INSERT INTO notes VALUES (9, 'u', 1, NULL, 'x', '', 0)",
            ],
            "The search index does not have all words of TIDE",
        ),
        (["PRAGMA application_id = 0"], "never opened"),
        (
            [
                "INSERT INTO firmware_images (uuid, sha256, data, kept_at) "
                "VALUES ('u', zeroblob(32), x'0102', '')"
            ],
            "Firmware image 1: its bytes do not match the SHA-256",
        ),
    ],
)
def test_other_damage_is_found(filled: Path, damage: list[str], said: str) -> None:
    """References, rules, numbering, firmware and the program index are checked."""
    with Archive.open(filled) as archive:
        _sql(filled, *damage)
        findings = archive.prove().findings
    expected = "not marked as an archive" if said == "never opened" else said
    assert any(expected in finding for finding in findings)


def test_a_stale_listing_index_is_found_and_made_anew(filled: Path) -> None:
    """A listing that the index does not know is noticed; rebuilding mends it."""
    _sql(
        filled,
        "INSERT INTO listing_words (listing_words, rowid, text, spaced_words) "
        "SELECT 'delete', id, text, spaced_words FROM listings WHERE id = 1",
    )
    with Archive.open(filled) as archive:
        assert archive.find("ebb") == []
        assert any("listing_words does not match" in one for one in archive.prove().findings)
        archive.rebuild()
        assert archive.prove().clean
        assert archive.find("ebb")[0].item.spec == "TIDE@1"
        assert archive.find("sea")[0].item.spec == "TIDE@2"


def test_bytes_changed_on_the_disk_are_found(filled: Path) -> None:
    """A listing overwritten in the file itself, below SQLite, is noticed."""
    data = filled.read_bytes()
    at = data.index(b'10 PRINT "EBB"')
    filled.write_bytes(data[:at] + b'10 PRINT "FLO"' + data[at + 14 :])
    assert any("(TIDE@1)" in finding for finding in _findings(filled))


def test_a_damaged_listing_is_never_handed_out(path: Path) -> None:
    """Reading a listing checks its hash: wrong bytes are an error, not a listing."""
    text = '10 PRINT "EBB"\n'
    with Archive.open(path) as archive:
        content = Content(text.encode(), text, text, "practice", "latin-1")
        revision = archive.keep("TIDE", content, Origin("file")).revision
        assert archive.content(revision) == content
        _sql(path, CHANGED, "UPDATE listings SET text = replace(text, 'EBB', 'FLO')")
        with pytest.raises(ArchiveError, match="The listing of TIDE@1 is damaged"):
            archive.content(revision)


@pytest.mark.one_in(4)
@pytest.mark.parametrize("page", range(2, 40, 3))
def test_a_page_of_rubbish_ends_in_findings_or_one_clear_error(filled: Path, page: int) -> None:
    """Whichever page is destroyed, prove says so and does not break off with a foreign error."""
    data = bytearray(filled.read_bytes())
    start = page * 8192
    assert start < len(data)
    data[start : start + 8192] = bytes((7 * n + page) % 251 for n in range(8192))
    filled.write_bytes(data)
    try:
        findings = _findings(filled)
    except ArchiveError as error:
        assert "damaged" in str(error)
        return
    assert findings


@pytest.mark.parametrize("code", [sqlite3.SQLITE_FULL, sqlite3.SQLITE_BUSY, None])
def test_what_hinders_the_check_of_the_index_is_no_damage(
    archive: Archive, monkeypatch: pytest.MonkeyPatch, code: int | None
) -> None:
    """A full disk, another process that writes, or a fault of our own is told as what it is."""
    cause: Exception = ValueError("not SQLite's")
    if code is not None:
        cause = sqlite3.OperationalError("hindered")
        cause.sqlite_errorcode = code

    @contextmanager
    def hindered(_: Archive, what: str) -> Iterator[None]:
        raise ArchiveError(f"{what} failed.") from cause
        yield

    monkeypatch.setattr(Archive, "writing", hindered)
    with pytest.raises(ArchiveError, match="check of the search index failed"):
        archive.prove()
