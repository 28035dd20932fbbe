"""Keep runs: what a program printed and was answered each time, numbered and never changed.

A run is bounded: the first and the last printed rows are kept, and the first typed ones. The record
says how many bytes are missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import accumulate
from typing import Literal

from hostlink.archive.archive_file import ArchiveFile, new_uuid
from hostlink.archive.database.database_errors import damaged
from hostlink.archive.database.joined import Part, Parts, Records
from hostlink.archive.database.rows import Row, insert
from hostlink.archive.lookup import (
    HERE,
    archive_mark,
    board_id,
    find_spec,
    given_by,
    parent_id,
    program_id,
    revision_parts,
    revision_spec,
)
from hostlink.archive.names import Spec, clean
from hostlink.archive.records import Listed, Revision, elsewhere
from hostlink.archive.search_words import marked
from hostlink.archive.times import parse_utc, utc_text
from hostlink.errors import ArchiveError, ArchiveReason
from hostlink.words import fold, safe

RUN = "run"
MOST_BYTES = 65_536
"""Bytes of printed rows that are kept of a run, and of typed lines."""
_NEXT = "SELECT coalesce(max(number), 0) + 1 FROM runs WHERE archive_id = ?"
Outcome = Literal["done", "error", "interrupted", "failed"]


@dataclass(frozen=True, slots=True)
class RunText:
    """Rows, of which some may not have been kept.

    cut: bytes that are missing, after the first `cut_after` rows.
    """

    rows: tuple[str, ...] = ()
    cut: int = 0
    cut_after: int = 0

    @property
    def missing(self) -> str:
        """Say how much is missing."""
        return f"({self.cut:,} bytes printed here were not kept.)"


@dataclass(frozen=True, slots=True)
class RunEnd:
    """How a run ended. error: the board's words, or hostlink's. line: where, if the board said."""

    outcome: Outcome = "done"
    error: str = ""
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a program.

    revision: spec of the revision that ran, "" if it is in none. board: its label; board_uuid is
    None for a run without a board. profile: the name of the board's profile. command: the line that
    started it. typed: the answers. expected: the user marked its output as right. archive: the
    UUID of the archive that gave the number, "" for this one.
    """

    uuid: str
    number: int
    revision: str
    board_uuid: str | None
    board: str
    profile: str
    at: datetime
    seconds: float
    command: str
    typed: RunText
    printed: RunText
    end: RunEnd
    expected: bool
    archive: str = ""

    @property
    def spec(self) -> str:
        """Return the spec run@NUMBER, followed by the archive if another one gave the number."""
        return f"{RUN}@{self.number}{elsewhere(self.archive)}"

    @property
    def program(self) -> str:
        """Return the name of the program, "" if it is in no revision."""
        return self.revision.rpartition("@")[0]

    @property
    def ended(self) -> str:
        """Return in a few words how it ended."""
        where = "" if self.end.line is None else f" in line {self.end.line}"
        said = f": {self.end.error.removesuffix('.')}" if self.end.error else ""
        return f"{self.end.outcome}{where}{said}" + (" (expected)" if self.expected else "")


@dataclass(frozen=True, slots=True)
class FoundRun:
    """One result of a search in what was printed.

    row: the printed row that matches best. words: what was looked for.
    """

    run: Run
    row: str
    words: tuple[str, ...] = ()

    @property
    def marked(self) -> str:
        """Return the row with the words that match between » and «."""
        return marked(self.row, self.words)


class Runs(ArchiveFile):
    """The archive's methods for runs."""

    def keep_run(
        self,
        printed: RunText,
        end: RunEnd,
        *,
        seconds: float,
        revision: Revision | None = None,
        board_uuid: str | None = None,
        profile: str = "",
        command: str = "",
        typed: Sequence[str] = (),
        expected: bool = False,
    ) -> Run:
        """Keep a run that has just ended; it is on the disk when this returns.

        printed: see `RunText`; `Printed` in jobs.run.keeping bounds it. seconds: how long it ran.
        typed: the answers, of which the first are kept. Raises ArchiveError.
        """
        with self.writing("The run") as db:
            run = insert(
                db, "runs", uuid=new_uuid(), archive_id=HERE,
                number=db.execute(_NEXT, (HERE,)).fetchone()[0],
                revision_id=parent_id(db, revision),
                board_id=None if board_uuid is None else board_id(db, board_uuid),
                profile=clean(profile), command=clean(command), expected=int(expected),
                started_at=utc_text(self._now() - timedelta(seconds=seconds)),
                duration_ms=round(1000 * seconds), **_columns("typed", shortened(typed)),
                **_columns("printed", printed), cut_after=printed.cut_after,
                outcome=end.outcome, error=clean(end.error), error_line=end.line,
            )  # fmt: skip
            return RUNS.at(db, run)

    def runs(
        self,
        what: str | None = None,
        *,
        expected: bool = False,
        board_uuid: str | None = None,
        limit: int | None = None,
    ) -> Listed[Run]:
        """Return runs, newest first. Raises ArchiveError for an unknown program or revision.

        what: NAME for the runs of a program, NAME@3 for those of one revision; None for all.
        expected: only those that printed what they should. board_uuid: only those on that board.
        """
        with self.reading("The runs") as db:
            wanted: dict[str, object] = {}
            if board_uuid is not None:
                wanted["runs.board_id = ?"] = board_id(db, board_uuid)
            if what is not None:
                named = Spec.from_text(what)
                wanted["revision.program_id = ?"] = program_id(db, named.name)
                if named.number is not None:
                    wanted["revision.number = ?"] = named.number
                    wanted[given_by("revision")] = named.archive
            where = " AND ".join([*wanted, "runs.expected" if expected else "1"])
            return RUNS.listed(
                db,
                f"WHERE {where} ORDER BY runs.id DESC LIMIT ?",
                [*wanted.values(), -1 if limit is None else limit],
            )

    def run(self, spec: str) -> Run:
        """Return a run: run@12, or the last one of NAME or NAME@3. Raises ArchiveError."""
        named = Spec.from_text(spec)
        if fold(named.name) != RUN or named.number is None:
            found = self.runs(spec, limit=1)
            if found.damaged and not found:
                raise damaged(f"The last run of {spec}")
            if not found:
                with self.reading(f"The run {spec}") as db:
                    find_spec(db, named)  # raises if there is no such revision
                raise ArchiveError(
                    f"The archive holds no run of {safe(spec)}.",
                    reason=ArchiveReason.NOT_THERE,
                    advice="Run it.",
                )
            return found[0]
        with self.reading(f"The run {spec}") as db:
            held = RUNS.first(
                db,
                f"WHERE runs.number = ? AND {given_by('runs')} ORDER BY runs.archive_id",
                (named.number, named.archive),
            )
            if held is None:
                last = db.execute("SELECT max(number) FROM runs").fetchone()[0]
                raise ArchiveError(
                    f"There is no run {named.number} in the archive.",
                    reason=ArchiveReason.NOT_THERE,
                    advice=f"The last one is run@{last}." if last else "No run has been kept yet.",
                )
            return held


def shortened(rows: Sequence[str]) -> RunText:
    """Return the first rows, at most MOST_BYTES in UTF-8, and how many bytes are left out."""
    sizes = accumulate(len(clean(row).encode()) + 1 for row in rows)
    kept = sum(size <= MOST_BYTES for size in sizes)
    cut = len(_joined(rows[kept:]).encode())
    return RunText(tuple(rows[:kept]), cut, kept if cut else 0)


def _columns(name: str, text: RunText) -> dict[str, object]:
    return {name: _joined(text.rows), f"{name}_cut": text.cut}


def _joined(rows: Sequence[str]) -> str:
    return clean("".join(f"{row}\n" for row in rows))


def _text(row: Row, name: str, cut_after: int | None = None) -> RunText:
    rows = tuple(row[name].split("\n")[:-1])
    cut = row[f"{name}_cut"]
    return RunText(rows, cut, (len(rows) if cut_after is None else cut_after) if cut else 0)


def _run(parts: Parts, lost: list[str]) -> Run:
    row, board = parts["runs"], parts.get("boards", lost)
    return Run(
        uuid=row["uuid"], number=row["number"], revision=revision_spec(parts, "revision", lost),
        board_uuid=None if board is None else board["uuid"],
        board="" if board is None else board["label"],
        profile=row["profile"], at=parse_utc(row["started_at"]), seconds=row["duration_ms"] / 1000,
        command=row["command"], typed=_text(row, "typed"),
        printed=_text(row, "printed", row["cut_after"]),
        end=RunEnd(row["outcome"], row["error"], row["error_line"]),
        expected=bool(row["expected"]), archive=archive_mark(parts["archives"]),
    )  # fmt: skip


RUNS = Records(
    (
        Part("runs", "runs"),
        Part("archives", "archives", "archives.id = runs.archive_id"),
        Part("boards", "boards", "boards.id = runs.board_id"),
        *revision_parts("revision", "runs.revision_id"),
    ),
    _run,
    lambda shown: f"{RUN}@{shown['runs.number']}",
)
