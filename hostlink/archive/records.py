"""What the archive hands out: plain frozen values, each a snapshot of the moment it was read."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, TypeVar

_T = TypeVar("_T")
OriginKind = Literal["file", "board", "rescue", "mend", "edit", "import", "library"]


class Listed(list[_T]):
    """Records in order. damaged: a sentence for each that had to be left out or is not complete."""

    def __init__(self, items: Iterable[_T] = (), damaged: Iterable[str] = ()) -> None:
        super().__init__(items)
        self.damaged = tuple(damaged)


@dataclass(frozen=True, slots=True)
class Content:
    """One listing as the archive keeps it.

    raw: the exact bytes, as read from a file or captured from a board. text: the listing as text,
    lines ended by LF. canonical: what is left when all that the board may rewrite is taken away
    (the caller computes it by its profile). profile: name of the profile that gave canonical and
    size_bytes. charset: the codec between raw and text. size_bytes: what the listing costs on the
    board, None where unknown.
    """

    raw: bytes
    text: str
    canonical: str
    profile: str
    charset: str
    size_bytes: int | None = None

    @property
    def sha256(self) -> str:
        """SHA-256 of the exact bytes, in hexadecimal."""
        return hashlib.sha256(self.raw).hexdigest()

    @property
    def canonical_sha256(self) -> str:
        """SHA-256 of the canonical text in UTF-8, in hexadecimal."""
        return hashlib.sha256(self.canonical.encode("utf-8", "surrogatepass")).hexdigest()


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a listing came from.

    where: file name, port or other place, as shown to people. note: one free line kept with the
    revision for ever. captures: how many captures agreed, 0 where none was made. after_restart:
    the board had restarted since it was attached, so the listing may not be the user's. unproven:
    what speaks against the listing, "" where nothing does.
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
    """One immutable listing of a program. parent: spec of the revision it was made from, or "".

    archive: the UUID of the archive that gave the number, "" for this one.
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
        """How a person names it: NAME@NUMBER, with the archive behind it if it is another's."""
        return f"{self.program}@{self.number}{elsewhere(self.archive)}"


@dataclass(frozen=True, slots=True)
class Rescue:
    """What a board held just before something was about to overwrite it. program may be "".

    archive: the UUID of the archive that gave the number, "" for this one.
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
        """How a person names it: rescue@NUMBER, with the archive behind it if it is another's."""
        return f"rescue@{self.number}{elsewhere(self.archive)}"


def elsewhere(archive: str) -> str:
    """The mark of a number that another archive gave."""
    return f"/{archive[:8]}" if archive else ""


@dataclass(frozen=True, slots=True)
class Kept:
    """The answer to keep: the revision, and whether it was added by this call."""

    revision: Revision
    is_new: bool


@dataclass(frozen=True, slots=True)
class Program:
    """A named thing with revisions; the last four fields are those of its latest revision."""

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
        """Whether it is out of use; its revisions stay."""
        return self.retired_at is not None


@dataclass(frozen=True, slots=True)
class Found:
    """One search result: the newest fitting revision of a program, or a rescue.

    program is None for a rescue. line: the line of the listing that fits best, or "" where only
    name, title, notes or tags fit.
    """

    program: Program | None
    item: Revision | Rescue
    line: str


@dataclass(frozen=True, slots=True)
class Board:
    """A board that has been seen. restarts_on_open is None until it is known."""

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
    """Our copy of a board's program.

    proven_at: when the board was last read back and equal to it, or None. may_lack_edits: the
    board has a keyboard of its own, and may have been typed on since. revision: spec of the
    revision it began as, or "".
    """

    content: Content
    changed_at: datetime
    proven_at: datetime | None
    may_lack_edits: bool
    revision: str


@dataclass(frozen=True, slots=True)
class Event:
    """One job and how it ended; outcome is "" and ended_at None while it runs or if it was cut off.

    program, revision and rescue are a name and specs, or "".
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


ANEW = "; it can be made anew"
"""Ends a finding on what comes from something else, so that `Archive.rebuild` mends it."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What prove found.

    findings: one sentence each, none if all is well. counts: how many of what were checked.
    skipped: checks that could not be made, with the reason.
    """

    findings: tuple[str, ...]
    counts: Mapping[str, int]
    skipped: tuple[str, ...] = ()

    @property
    def clean(self) -> bool:
        """Whether nothing is wrong."""
        return not self.findings

    @property
    def can_rebuild(self) -> bool:
        """Whether some of what is wrong can be made anew."""
        return any(ANEW in finding for finding in self.findings)

    @property
    def lasting(self) -> bool:
        """Whether some of what is wrong cannot be made anew."""
        return any(ANEW not in finding for finding in self.findings)
