"""Where each line of a program came from: the earliest revision with the same line."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from hostlink.archive import Archive, Content, Origin
from hostlink.jobs.line_origins import line_origins


def keep(archive: Archive, *lines: str) -> None:
    """Keep lines as the next revision of HAIL."""
    text = "".join(f"{line}\n" for line in lines)
    raw = text.encode()
    content = Content(
        raw=raw,
        text=text,
        canonical=text,
        profile="practice",
        charset="latin-1",
        size_bytes=len(raw),
    )
    archive.keep("HAIL", content, Origin("edit", ""))


def told(archive: Archive, number: int) -> list[tuple[int, str]]:
    """The number of the first revision and the text of each line of a revision."""
    revision = archive.history("HAIL")[number - 1]
    return [(one.revision.number, one.text) for one in line_origins(archive, revision)]


def test_each_line_names_the_first_revision_that_has_it(tmp_path: Path) -> None:
    """A changed line is new, one that was taken out and came back is as old as it was."""
    with Archive.open(tmp_path / "a.sqlite3") as archive:
        keep(archive, "10 LET A=1", "20 PRINT A", "30 END")
        keep(archive, "10 LET A=2", "30 END")
        keep(archive, "10 LET A=2", "20 PRINT A", "25 PRINT A", "30 END")
        assert told(archive, 3) == [
            (2, "10 LET A=2"),
            (1, "20 PRINT A"),
            (3, "25 PRINT A"),
            (1, "30 END"),
        ]
        assert told(archive, 1) == [(1, "10 LET A=1"), (1, "20 PRINT A"), (1, "30 END")]


def test_a_renumbered_line_is_as_old_as_before(tmp_path: Path) -> None:
    """Where nothing but the numbers and the jumps to them changed; else a moved line is new."""
    with Archive.open(tmp_path / "a.sqlite3") as archive:
        keep(archive, "1 LET A=1", "2 GOTO 1")
        keep(archive, "1 LET A=1", "2 GOTO 1", "3 END")
        keep(archive, "10 LET A=1", "20 GOTO 10", "30 END")
        keep(archive, "10 LET A=1", "20 GOTO 10", "30 STOP")
        keep(archive, "100 LET A=1", "110 GOTO 110", "120 STOP")
        assert told(archive, 3) == [(1, "10 LET A=1"), (1, "20 GOTO 10"), (2, "30 END")]
        assert told(archive, 4) == [(1, "10 LET A=1"), (1, "20 GOTO 10"), (4, "30 STOP")]
        assert [number for number, _ in told(archive, 5)] == [5, 5, 5]


def test_a_damaged_revision_is_left_out_and_told(tmp_path: Path) -> None:
    """The others still answer; the line is named after the next revision that has it."""
    path = tmp_path / "a.sqlite3"
    with Archive.open(path) as archive:
        keep(archive, "10 LET A=1", "20 END")
        keep(archive, "10 LET A=1", "20 STOP")
    with sqlite3.connect(path) as db:
        db.execute("DROP TRIGGER listings_never_change")
        db.execute("UPDATE listings SET raw = X'31' WHERE id = 1")
    db.close()
    with Archive.open(path) as archive:
        found = line_origins(archive, archive.history("HAIL")[1])
        assert [one.revision.number for one in found] == [2, 2]
        assert len(found.damaged) == 1
        assert "HAIL@1" in found.damaged[0]
