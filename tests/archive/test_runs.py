"""What programs printed: kept run by run, never changed, carried by bags and merges."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive, Content, Origin, RunEnd, RunText
from hostlink.archive.exchange.bag_reading import open_bag
from hostlink.archive.exchange.bags import write_bag
from hostlink.archive.runs import MOST_BYTES
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]
TIDES = RunText(("HIGH WATER 4", "LOW WATER 10"))


@pytest.fixture
def tide(archive: Archive, content: MakeContent, from_file: Origin) -> Archive:
    """An archive in which two revisions of TIDE were run on a board, and one program of none."""
    board = archive.board_seen(serial="red-1")
    archive.board_label(board.uuid, "Red")
    for number in (1, 2):
        kept = archive.keep("TIDE", content(f"10 PRINT {number}\n"), from_file).revision
        end = RunEnd() if number == 1 else RunEnd("error", "no such line", 20)
        archive.keep_run(
            TIDES, end, seconds=2.5, revision=kept, board_uuid=board.uuid, profile="practice",
            command="RUN", typed=["4", "yes"], expected=number == 1,
        )  # fmt: skip
    archive.keep_run(RunText(("HELLO",)), RunEnd("interrupted", "Stopped."), seconds=1)
    return archive


def test_a_run_is_kept_whole(tide: Archive) -> None:
    """When it began, what ran on which board, what was typed and printed, how it ended, how
    long."""
    run = tide.run("run@2")
    assert (run.spec, run.revision, run.program, run.board) == ("run@2", "TIDE@2", "TIDE", "Red")
    assert (run.command, run.typed.rows, run.printed) == ("RUN", ("4", "yes"), TIDES)
    assert (run.end, run.seconds, run.profile) == (RunEnd("error", "no such line", 20), 2.5,
                                                   "practice")  # fmt: skip
    assert run.at.isoformat().startswith("2031-09-03T18:30:")
    assert (run.expected, tide.run("run@1").expected) == (False, True)
    none = tide.run("run@3")
    assert (none.revision, none.program, none.board_uuid, none.board) == ("", "", None, "")


def test_runs_are_found_by_program_and_by_revision(tide: Archive) -> None:
    """The newest first; of a program, of one revision, all, or only those that are expected."""
    assert [run.spec for run in tide.runs()] == ["run@3", "run@2", "run@1"]
    assert [run.spec for run in tide.runs("tide")] == ["run@2", "run@1"]
    assert [run.spec for run in tide.runs("TIDE@1")] == ["run@1"]
    assert [run.spec for run in tide.runs("TIDE", expected=True)] == ["run@1"]
    assert [run.spec for run in tide.runs(limit=1)] == ["run@3"]
    assert (tide.run("TIDE").spec, tide.run("TIDE@1").spec) == ("run@2", "run@1")


def test_a_run_that_is_not_there_is_told(tide: Archive, content: MakeContent) -> None:
    """By its number, or of a program that was never run."""
    tide.keep("DICE", content("10 END\n"), Origin("file"))
    with pytest.raises(ArchiveError, match=r"There is no run 9") as refused:
        tide.run("run@9")
    assert refused.value.advice == "The last one is run@3."
    with pytest.raises(ArchiveError, match=r"holds no run of DICE\."):
        tide.run("DICE")
    with pytest.raises(ArchiveError, match='no program "TODE"'):
        tide.runs("TODE")


def test_typed_lines_are_bounded(archive: Archive) -> None:
    """The first are kept, and how many bytes of the others are missing; to the byte."""
    typed = [f"{number:015}" for number in range(5000)]  # 16 bytes each with its line feed
    run = archive.keep_run(RunText(), RunEnd(), seconds=0, typed=typed)
    kept = MOST_BYTES // 16
    assert run.typed == RunText(tuple(typed[:kept]), 16 * (5000 - kept), kept)
    assert archive.keep_run(RunText(), RunEnd(), seconds=0, typed=["é" * 40_000]).typed.rows == ()


def test_rows_are_read_back_as_they_were(archive: Archive) -> None:
    """Empty rows count, none is no row, and half of a character pair is no fault of the run."""
    for rows in ((), ("",), ("", "A", ""), ("é\\x1b[2J",)):
        assert archive.keep_run(RunText(rows), RunEnd(), seconds=0).printed.rows == rows
    assert archive.keep_run(RunText(("\ud800",)), RunEnd(), seconds=0).printed.rows == ("?",)


def test_a_bag_carries_runs(
    tide: Archive, tmp_path: Path, held_records: Callable[..., Any]
) -> None:
    """Every field comes back; a second import changes nothing, and all is proven."""
    with tide.records() as records:
        assert write_bag(records, tmp_path / "bag")["runs"] == 3
    with Archive.open(tmp_path / "new.sqlite3") as new:
        for added in (3, 0):
            with open_bag(tmp_path / "bag") as records:
                assert new.merge(records).added["runs"] == added
        assert held_records(new).held["runs"] == held_records(tide).held["runs"]
        (run,) = new.runs("TIDE@1")
        assert run.spec == f"run@1/{tide.uuid[:8]}" and run.printed == TIDES
        assert new.run(run.spec) == run and new.run("run@1") == run
        assert new.prove().findings == () and new.prove().counts["runs"] == 3


def test_a_bag_of_0_2_0_has_no_runs_and_is_taken_in(tide: Archive, tmp_path: Path) -> None:
    """Format 2, as it was written before there were runs."""
    bag = tmp_path / "bag"
    with tide.records() as records:
        write_bag(records, bag)
    (bag / "data/records/runs.jsonl").unlink()
    about = bag / "data/archive.json"
    about.write_text(json.dumps({**json.loads(about.read_text()), "format": 2}))
    for each in [*bag.glob("manifest-*"), *bag.glob("tagmanifest-*"), bag / "bag-info.txt"]:
        each.unlink()
    _sum_up(bag)
    with Archive.open(tmp_path / "new.sqlite3") as new, open_bag(bag) as records:
        assert new.merge(records).added["revisions"] == 2
        assert new.runs() == []


def _sum_up(bag: Path) -> None:
    """Write a manifest anew (RFC 8493, section 2.1.3)."""
    rows = [
        f"{hashlib.sha256(each.read_bytes()).hexdigest()}  {each.relative_to(bag).as_posix()}\n"
        for each in sorted((bag / "data").rglob("*"))
        if each.is_file()
    ]
    (bag / "manifest-sha256.txt").write_text("".join(rows))


def test_a_bag_of_this_version_without_its_runs_is_refused(tide: Archive, tmp_path: Path) -> None:
    """What a bag of format 3 lacks was lost, and is not passed over."""
    bag = tmp_path / "bag"
    with tide.records() as records:
        write_bag(records, bag)
    (bag / "data/records/runs.jsonl").unlink()
    for each in [*bag.glob("manifest-*"), *bag.glob("tagmanifest-*"), bag / "bag-info.txt"]:
        each.unlink()
    _sum_up(bag)
    with (
        Archive.open(tmp_path / "new.sqlite3") as new,
        pytest.raises(ArchiveError, match="The bag was refused"),
        open_bag(bag) as records,
    ):
        new.merge(records)


def test_chosen_programs_take_their_runs(
    tide: Archive, content: MakeContent, from_file: Origin, tmp_path: Path
) -> None:
    """With the board of each, through a bag into another archive; a second time adds nothing."""
    tide.keep("OTHER", content("10 REM"), from_file)
    with tide.records(programs=("TIDE",)) as records:
        write_bag(records, tmp_path / "bag")
    own = tide.runs("TIDE")
    with Archive.open(tmp_path / "new.sqlite3") as new:
        for added in (len(own), 0):
            with open_bag(tmp_path / "bag") as records:
                assert new.merge(records).added.get("runs", 0) == added
        came = new.runs()
        assert [run.program for run in came] == ["TIDE", "TIDE"]
        for one, other in zip(own, came, strict=True):
            assert (one.uuid, one.printed, one.typed, one.end, one.board, one.expected) == (
                other.uuid, other.printed, other.typed, other.end, other.board, other.expected,
            )  # fmt: skip
        assert new.prove().findings == ()


def test_two_archives_that_both_ran_are_merged(tide: Archive, tmp_path: Path) -> None:
    """Copies of one archive gave the same number to different runs; both are kept."""
    copy = tmp_path / "copy.sqlite3"
    tide.duplicate(copy)
    tide.keep_run(RunText(("HERE",)), RunEnd(), seconds=0)
    with Archive.open(copy) as other:
        assert other.runs()[0].printed.rows == ("HELLO",)
        other.keep_run(RunText(("THERE",)), RunEnd(), seconds=0)
    merged = tide.merge_file(copy)
    assert merged.added["runs"] == 1 and len(merged.copies) == 1
    assert {run.printed.rows for run in tide.runs(limit=2)} == {("HERE",), ("THERE",)}
    assert tide.run("run@4").printed.rows == ("HERE",)
    assert tide.prove().findings == ()


@pytest.mark.parametrize(
    "damage",
    ["printed = 'x'", "typed = 'x'", "error_line = 9", "duration_ms = 1", "cut_after = 1",
     "started_at = 'x'", "printed = CAST(x'ff' AS TEXT)"],
)  # fmt: skip
def test_one_damaged_run_does_not_hide_the_others(
    tide: Archive, path: Path, tmp_path: Path, damage: str
) -> None:
    """It is named, prove finds it, it is never served, and a duplicate heals it."""
    spare = tmp_path / "spare.sqlite3"
    tide.duplicate(spare)
    tide.close()
    conn = sqlite3.connect(path)
    conn.execute("DROP TRIGGER runs_never_change")
    conn.execute(f"UPDATE runs SET {damage} WHERE number = 2")
    conn.commit()
    conn.close()
    with Archive.open(path) as archive:
        found = archive.runs()
        assert [run.spec for run in found] == ["run@3", "run@1"]
        assert found.damaged == ("run@2 is damaged in the archive.",)
        for spec in ("run@2", "TIDE@2"):
            with pytest.raises(ArchiveError, match="damaged in the archive"):
                archive.run(spec)
        assert any(
            "(run@2) does not match its checksum" in each for each in archive.prove().findings
        )
        assert len(archive.merge_file(spare).healed) == 1
        archive.rebuild()
        assert archive.prove().findings == ()
        assert archive.run("run@2").typed.rows == ("4", "yes")


def test_a_lost_revision_or_board_does_not_take_the_run(tide: Archive, path: Path) -> None:
    """What was printed is there; what cannot be told of it is named."""
    tide.close()
    conn = sqlite3.connect(path)
    conn.executescript("DROP TRIGGER boards_never_change; UPDATE boards SET profile = 'x';")
    conn.close()
    with Archive.open(path) as archive:
        found = archive.runs("TIDE")
        assert [run.printed for run in found] == [TIDES, TIDES]
        assert all("the record of its boards is damaged" in each for each in found.damaged)


def test_an_archive_that_cannot_be_written_refuses(tide: Archive, path: Path) -> None:
    """With one sentence; nothing is half kept."""
    tide.close()
    with (
        Archive.open(path, read_only=True) as archive,
        pytest.raises(ArchiveError, match=r"The run was not kept: .* is read-only"),
    ):
        archive.keep_run(TIDES, RunEnd(), seconds=1)
    with Archive.open(path) as archive:
        assert len(archive.runs()) == 3


def test_a_program_is_found_by_what_it_printed(tide: Archive, content: MakeContent) -> None:
    """All words, whole or begun, in any order; each program once with its newest run, and the row
    in which the words stand beside each other. Neither listings nor titles count."""
    found = tide.find_printed("high water")
    assert [(one.run.spec, one.row) for one in found] == [("run@2", "HIGH WATER 4")]
    assert [one.run.spec for one in tide.find_printed("wat 10")] == ["run@2"]
    assert [one.run.spec for one in tide.find_printed("HELLO")] == ["run@3"]
    assert tide.find_printed("tide") == [] == tide.find_printed("print") == tide.find_printed("! ?")
    dice = tide.keep("DICE", content("10 PRINT\n"), Origin("file")).revision
    tide.keep_run(RunText(("WATER IS HIGH", "HIGH WATERS")), RunEnd(), seconds=0, revision=dice)
    assert [one.run.program for one in tide.find_printed("high water")] == ["DICE", "TIDE"]
    assert tide.find_printed("high water")[0].row == "HIGH WATERS"
    assert [one.run.program for one in tide.find_printed("high water", limit=1)] == ["DICE"]


def test_a_lost_index_of_printed_words_is_made_anew(tide: Archive, path: Path) -> None:
    """Prove says so, rebuild mends it."""
    tide.close()
    conn = sqlite3.connect(path)
    conn.execute("INSERT INTO run_words (run_words) VALUES ('delete-all')")
    conn.commit()
    conn.close()
    with Archive.open(path) as archive:
        assert archive.find_printed("high water") == []
        assert any("run_words does not match" in one for one in archive.prove().findings)
        archive.rebuild()
        assert len(archive.find_printed("high water")) == 1 and archive.prove().clean
