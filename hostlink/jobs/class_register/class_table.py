"""The table of a class: what each learner was given, what they made of it, and what is kept.

It is read from the archive alone, so it opens no port, and it is true at any moment: a load that
has not ended is never shown as done.
"""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from hostlink.archive import Archive, Content, Revision
from hostlink.archive.records import LEARNER, JobEvent
from hostlink.archive.times import local_text, utc_now
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.errors import HostlinkError
from hostlink.jobs.class_register.register import Register
from hostlink.jobs.class_register.seats import Seat, seats_of
from hostlink.jobs.language_of import find_original
from hostlink.jobs.session.last_known import ending_words, last_fill, loaded_by
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.recognising import choose_profile
from hostlink.listing import Ledger, Listing, compare, measure
from hostlink.words import fold, plural

HEADS = ("learner", "board", "handed out", "changed", "fits", "last error", "saved")
_NOT_BEGUN = "not begun"
_MOST_RUNS = 50  # of a board that are searched for an error


@dataclass(frozen=True, slots=True)
class ClassRow:
    """One learner of the table.

    handed_out: the revision last given to them, "" for none. load: how that ended, "" if it is
    proven. changed: lines that differ from it, None if not known. ledger: of their program, or of
    the handout before it is loaded; None without a listing. error: of the last run since then that
    ended with one. saved: the revision that holds their work, "" for none. as_handed_out: that is
    the handout itself. doubt: what contradicts it. before_this: it was saved before the last
    handout.
    """

    name: str
    program: str
    board: str
    port: str
    place: str
    handed_out: str = ""
    load: str = ""
    handed_out_at: datetime | None = None
    changed: int | None = None
    ledger: Ledger | None = None
    error: str = ""
    saved: str = ""
    saved_at: datetime | None = None
    as_handed_out: bool = False
    before_this: bool = False
    doubt: str = ""

    def cells(self, today: datetime | None = None) -> tuple[str, ...]:
        """Return the row in words, in the order of HEADS; what was saved today has a time only."""
        handed = f"{self.handed_out} {self.load}".strip()
        changed = "-" if self.changed is None else f"{self.changed:,}"
        return (
            *(self.name, self.place, handed or "not yet", changed),
            *(self._fits(), self.error or "-", self._saved(today or utc_now())),
        )

    def _fits(self) -> str:
        if self.ledger is None or not self.ledger.limit:
            return "-"
        if self.ledger.over:
            return f"{self.ledger.over:,} over"
        return f"{self.ledger.total:,} of {self.ledger.limit:,}"

    def _saved(self, today: datetime) -> str:
        if not self.saved or self.saved_at is None:
            return "not yet"
        day, time = local_text(self.saved_at).split()
        when = time if day == local_text(today, "%Y-%m-%d") else day
        what = "as handed out" if self.as_handed_out else self.saved
        doubt = "not proven: " if self.doubt else ""
        before = "before: " if self.before_this else ""
        return f"{before}{doubt}{what} {when}"

    def as_dict(self) -> dict[str, object]:
        """Return the row for JSON output, with None for what is not known."""
        ledger = self.ledger
        plain = {
            field.name: getattr(self, field.name)
            for field in dataclasses.fields(self)
            if field.name not in ("ledger", "place")
        }
        return {
            **{key: None if value == "" else value for key, value in plain.items()},
            "handed_out_at": self.handed_out_at.isoformat() if self.handed_out_at else None,
            "saved_at": self.saved_at.isoformat() if self.saved_at else None,
            "size_bytes": ledger.total if ledger else None,
            "limit_bytes": ledger.limit or None if ledger else None,
            "fits": ledger.fits if ledger and ledger.limit else None,
        }


def class_table(
    register: Register,
    archive: Archive,
    seats: Collection[Seat] | None = None,
) -> list[ClassRow]:
    """Return a row for each learner. seats: as they are now, by default looked up."""
    done: dict[str, list[JobEvent]] = {}
    for event in archive.events(of_learners=True):
        done.setdefault(fold(str(event.detail[LEARNER])), []).append(event)
    materials: dict[str, Listing | None] = {}
    rows = []
    for seat in seats_of(register, archive) if seats is None else seats:
        record = _Record(archive, seat, done.get(fold(seat.learner.program), []))
        rows.append(record.row(materials))
    return rows


def handed_out(archive: Archive, program: str) -> Revision | None:
    """Return what was last handed out to a learner and proven on a board, None for nothing."""
    for event in archive.events(of_learners=True, job="load"):
        if fold(str(event.detail[LEARNER])) == fold(program) and event.outcome == "done":
            return _revision(archive, event.revision)
    return None


class _Record:
    """What the archive has recorded of one learner. events: theirs, newest first."""

    def __init__(self, archive: Archive, seat: Seat, events: list[JobEvent]) -> None:
        self.archive = archive
        self.seat = seat
        loads = [event for event in events if event.job == "load"]
        self.load = next(iter(loads), None)
        self.save = next(
            (each for each in events if each.job == "save" and each.outcome == "done"), None
        )
        self.last = self._last_fill()
        self.ending = self._ending()

    def _last_fill(self) -> JobEvent | None:
        """Return the last job that put a program into the learner's board; None if for another
        learner."""
        board, load = self.seat.board, self.load
        last = last_fill(self.archive, board) if board is not None and load is not None else None
        if last is None or load is None or last.started_at < load.started_at:
            return None
        whose = fold(str(last.detail.get(LEARNER, self.seat.learner.program)))
        return last if whose == fold(self.seat.learner.program) else None

    def row(self, materials: dict[str, Listing | None]) -> ClassRow:
        """Return the learner's row. materials: the handouts by their names, read once."""
        seat, load, save = self.seat, self.load, self.save
        given = self._given()
        work = self._work(given)
        profile = self._profile()
        listing = Listing.from_text(work.text) if work is not None else None
        changed = None
        if listing is not None and given is not None:
            rules = profile.rules if profile is not None else None
            found = compare(Listing.from_text(given.text), listing, rules)
            changed = len(found.added) + len(found.removed) + len(found.changed)
        if listing is None and load is None:
            listing = self._hand_out(materials)
        own = save is not None and fold(save.program) == fold(seat.learner.program)
        kept = _revision(self.archive, save.revision) if save is not None else None
        return ClassRow(
            seat.learner.name,
            seat.learner.program,
            seat.board.label if seat.board is not None else "",
            seat.port,
            seat.place,
            handed_out=loaded_by(load) if load else "",
            load=self.ending,
            handed_out_at=load.started_at if load else None,
            changed=changed,
            ledger=measure(listing, profile.rules) if listing is not None and profile else None,
            error=self._error(),
            saved=save.revision if save is not None else "",
            saved_at=save.started_at if save else None,
            as_handed_out=save is not None and not own,
            before_this=bool(save and load and save.started_at < load.started_at),
            doubt=kept.origin.unproven if kept is not None else "",
        )

    def _ending(self) -> str:
        """Return how the last load ended, "" if it is proven or there was none.

        One that was proven may have been overwritten since, by another load that was not.
        """
        load, last = self.load, self.last
        if load is None:
            return ""
        if load.outcome != "done":
            return _ending(load)
        if last is None or last.job != "load" or last.outcome == "done":
            return ""
        return f"then {loaded_by(last)} {_ending(last)}"

    def _given(self) -> Content | None:
        """Return what the last load brought to the board, None if it did not begin."""
        load = self.load
        if load is None or self.ending == _NOT_BEGUN:
            return None
        return self._content(load.revision)

    def _work(self, given: Content | None) -> Content | None:
        """Return the last known program of the learner, None if there is none."""
        load, save, board = self.load, self.save, self.seat.board
        is_whole = load is not None and not self.ending
        if board is not None and is_whole and self.last is not None:
            copy = self.archive.host_copy(board.uuid)
            if copy is not None:
                return copy.content
        if save is not None and (load is None or save.started_at > load.started_at):
            return self._content(save.revision)
        return given if is_whole else None

    def _content(self, spec: str) -> Content | None:
        revision = _revision(self.archive, spec)
        with contextlib.suppress(HostlinkError):
            return self.archive.content(revision) if revision is not None else None
        return None

    def _hand_out(self, materials: dict[str, Listing | None]) -> Listing | None:
        """Return what is to be handed out, None if there is nothing or it cannot be found."""
        what = self.seat.learner.hand_out
        if what and what not in materials:
            materials[what] = None
            with contextlib.suppress(HostlinkError):
                materials[what] = find_original(what, self.archive).listing
        return materials.get(what)

    def _profile(self) -> Profile | None:
        """Return how the board counts bytes, None if that is not known."""
        board, port = self.seat.board, self.seat.port
        with contextlib.suppress(HostlinkError):
            if port:
                profile, is_guess = choose_profile(self.archive, port)
                return None if is_guess else LinkChoice(port, profile).effective
            if board is not None and board.profile:
                return find_profile(board.profile)
        return None

    def _error(self) -> str:
        """Return the error of the last run on the board since the handout that ended with one."""
        board, load = self.seat.board, self.load
        if board is None or load is None:
            return ""
        for run in self.archive.runs(board_uuid=board.uuid, limit=_MOST_RUNS):
            if run.at + timedelta(seconds=run.seconds) < load.started_at:
                break
            if run.end.outcome == "error":
                where = "" if run.end.line is None else f"line {run.end.line}: "
                return f"{where}{run.end.error}"
        return ""


def _ending(load: JobEvent) -> str:
    """Return how an unproven load ended."""
    if load.ended_at is None:
        return "not ended"
    if not load.detail.get("overwrote"):
        return _NOT_BEGUN
    return ending_words(load).removeprefix("was ")


def _revision(archive: Archive, spec: str) -> Revision | None:
    with contextlib.suppress(HostlinkError):
        item = archive.revision(spec) if spec else None
        return item if isinstance(item, Revision) else None
    return None


def summary(rows: Collection[ClassRow]) -> str:
    """Return the sentence on a whole class."""
    given = sum(bool(row.handed_out and not row.load) for row in rows)
    saved = sum(bool(row.saved and not row.before_this) for row in rows)
    return f"{plural(len(rows), 'learner')}, {given:,} with the handout, {saved:,} saved since."
