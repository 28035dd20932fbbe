"""Records that the archive returns: frozen values, each a snapshot of the moment of reading."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, TypeVar

from hostlink.archive.search_words import marked, marks
from hostlink.words import plural

_T = TypeVar("_T")
LEARNER = "learner"
"""The tag of a learner's program, which has the learner's name: exports leave it out."""
OriginKind = Literal["file", "board", "rescue", "mend", "edit", "import", "library"]


def counted(counts: Mapping[str, int]) -> str:
    """Return counts of records by kind in words, without kinds that have none."""
    return ", ".join(
        plural(count, kind.removesuffix("s").replace("_", " "))
        for kind, count in counts.items()
        if count
    )


class Listed(list[_T]):
    """Records in order. damaged: a sentence for each record that is missing or incomplete."""

    def __init__(self, items: Iterable[_T] = (), damaged: Iterable[str] = ()) -> None:
        super().__init__(items)
        self.damaged = tuple(damaged)


@dataclass(frozen=True, slots=True)
class Content:
    """One listing as the archive keeps it.

    raw: the exact bytes, from a file or a board. text: the listing as text, lines ended by LF.
    canonical: the text without anything that the board may rewrite, computed by the caller from its
    profile. profile: the name of the profile that gave canonical and size_bytes. charset: the codec
    between raw and text. size_bytes: the cost of the listing on the board, None if unknown.
    """

    raw: bytes
    text: str
    canonical: str
    profile: str
    charset: str
    size_bytes: int | None = None

    @property
    def sha256(self) -> str:
        """Return the SHA-256 of the exact bytes, in hexadecimal."""
        return hashlib.sha256(self.raw).hexdigest()

    @property
    def canonical_sha256(self) -> str:
        """Return the SHA-256 of the canonical text in UTF-8, in hexadecimal."""
        return hashlib.sha256(self.canonical.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a listing came from.

    where: file name, port or other place, for people. note: one line of text that is kept with the
    revision. captures: number of captures that agreed, 0 if none. after_restart: the board had
    restarted since it was attached, so the listing may not be the user's. unproven: what
    contradicts the listing, or "".
    """

    kind: OriginKind
    where: str = ""
    board_uuid: str | None = None
    note: str = ""
    captures: int = 0
    after_restart: bool = False
    unproven: str = ""


@dataclass(frozen=True, slots=True)
class Revision:
    """One immutable listing of a program.

    parent: spec of the revision it was made from, or "". archive: the UUID of the archive that gave
    the number, "" for this one.
    """

    uuid: str
    program: str
    number: int
    parent: str
    at: datetime
    origin: Origin
    sha256: str
    canonical_sha256: str
    profile: str
    size_bytes: int | None
    line_count: int
    note: str
    archive: str = ""

    @property
    def spec(self) -> str:
        """Return the spec NAME@NUMBER, followed by the archive if another one gave the number."""
        return f"{self.program}@{self.number}{elsewhere(self.archive)}"


@dataclass(frozen=True, slots=True)
class Rescue:
    """The program that a board held before something overwrote it.

    program: its name, or "". archive: the UUID of the archive that gave the number, "" for this
    one.
    """

    uuid: str
    number: int
    program: str
    at: datetime
    origin: Origin
    sha256: str
    canonical_sha256: str
    profile: str
    size_bytes: int | None
    line_count: int
    archive: str = ""

    @property
    def spec(self) -> str:
        """Return the spec rescue@NUMBER, followed by the archive if another one gave the number."""
        return f"rescue@{self.number}{elsewhere(self.archive)}"


def elsewhere(archive: str) -> str:
    """Return the suffix for a number that another archive gave."""
    return f"/{archive[:8]}" if archive else ""


@dataclass(frozen=True, slots=True)
class Kept:
    """The result of keep: the revision, and whether this call added it."""

    revision: Revision
    is_new: bool


@dataclass(frozen=True, slots=True)
class Program:
    """A named program; its last four fields are those of its latest revision."""

    uuid: str
    name: str
    title: str
    tags: tuple[str, ...]
    note: str
    retired_at: datetime | None
    revisions: int
    latest: int
    size_bytes: int | None
    line_count: int
    kept_at: datetime

    @property
    def retired(self) -> bool:
        """Return whether the program is retired; its revisions stay."""
        return self.retired_at is not None


@dataclass(frozen=True, slots=True)
class Found:
    """One search result: the newest matching revision of a program, or a rescue.

    program: None for a rescue. line: the line of the listing that matches best, else that of the
    note or the tags, after "note: " or "tags: "; "" if only the name or title matches. words: what
    was looked for, as the search read the question.
    """

    program: Program | None
    item: Revision | Rescue
    line: str
    words: tuple[str, ...] = ()

    @property
    def marks(self) -> list[tuple[int, int]]:
        """Return where in the line the words stand: start and end of each place, ascending."""
        return marks(self.line, self.words)

    @property
    def marked(self) -> str:
        """Return the line with the words that match between » and «."""
        return marked(self.line, self.words)


class Matches(Listed[Found]):
    """Search results. near: sentences on how they differ from what was asked, if they do."""

    def __init__(
        self, items: Iterable[Found] = (), damaged: Iterable[str] = (), near: Iterable[str] = ()
    ) -> None:
        super().__init__(items, damaged)
        self.near = tuple(near)


@dataclass(frozen=True, slots=True)
class Board:
    """A board that was seen. restarts_on_open: None if unknown."""

    uuid: str
    label: str
    vid: int | None
    pid: int | None
    serial: str
    location: str
    profile: str
    restarts_on_open: bool | None
    first_seen: datetime
    last_seen: datetime


@dataclass(frozen=True, slots=True)
class HostCopy:
    """Our copy of the program on a board.

    proven_at: time of the last read-back that was equal, or None. may_lack_edits: the board has its
    own keyboard and may have changed since. revision: spec of the revision it began as, or "".
    """

    content: Content
    changed_at: datetime
    proven_at: datetime | None
    may_lack_edits: bool
    revision: str


@dataclass(frozen=True, slots=True)
class JobEvent:
    """One job and how it ended.

    outcome is "" and ended_at None while it runs, or if it was cut off. program: a name, or "".
    revision, rescue: specs, or "".
    """

    uuid: str
    job: str
    board_uuid: str | None
    board: str
    program: str
    revision: str
    rescue: str
    started_at: datetime
    ended_at: datetime | None
    outcome: str
    detail: Mapping[str, Any] = field(default_factory=dict)


ANEW = "; it can be rebuilt"
"""The end of a finding about derived data, which `Archive.rebuild` repairs."""


@dataclass(frozen=True, slots=True)
class ArchiveProof:
    """The result of prove.

    findings: sentences, none if nothing is wrong. counts: number of checked things by kind.
    skipped: checks that were impossible, with the reason.
    """

    findings: tuple[str, ...]
    counts: Mapping[str, int]
    skipped: tuple[str, ...] = ()

    @property
    def clean(self) -> bool:
        """Return whether nothing is wrong."""
        return not self.findings

    @property
    def verdict(self) -> str:
        """Return "clean", or the number of findings."""
        return "clean" if self.clean else plural(len(self.findings), "finding")

    @property
    def checked(self) -> str:
        """Return what was checked, as in "2 programs, 5 revisions"; "" for an empty archive."""
        return counted(self.counts)

    @property
    def can_rebuild(self) -> bool:
        """Return whether rebuilding mends some of the findings."""
        return any(ANEW in finding for finding in self.findings)

    @property
    def lasting(self) -> bool:
        """Return whether rebuilding cannot mend some of the findings."""
        return any(ANEW not in finding for finding in self.findings)
