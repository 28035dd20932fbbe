"""The table of a class: what each learner was given, what they made of it, and what is kept.

It is made from the archive alone, so no port is opened. A load that has not ended is never shown as
done.
"""

from __future__ import annotations

import contextlib
import dataclasses
from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

from hostlink.archive import Archive, Board, Content, Revision
from hostlink.archive.records import JobEvent
from hostlink.archive.times import local_text, utc_now
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.errors import HostlinkError
from hostlink.jobs.class_register.register import Register
from hostlink.jobs.class_register.row_state import Handout, handout_of
from hostlink.jobs.class_register.seats import Seat, seats_of
from hostlink.jobs.language_of import find_original
from hostlink.jobs.session.last_known import (
    ending_words,
    find_revision,
    last_fill,
    learner_of,
    left_untouched,
    loaded_by,
)
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.recognising import choose_profile
from hostlink.listing import Ledger, Listing, compare, measure
from hostlink.words import fold, plural

HEADS = ("learner", "board", "handed out", "changed", "fits", "last error", "saved")
_MOST_NAMED = 3  # handouts in one sentence
_MOST_RUNS = 50  # of a board; older ones are not searched for an error


@dataclass(frozen=True, slots=True)
class ClassRow:
    """One learner of the table.

    handed_out: the revision last given to them, "" for none. load: how that load ended, "" if it is
    proven. not_found: the name of a handout that cannot be found, else "". changed: lines that
    differ from the handout, None if not known. ledger: of their program, or of the handout before
    it is loaded; None without a listing. error: the last one that ended a run since the handout.
    saved: the revision that was saved last, "" for none. as_handed_out: whether `saved` is a
    handout. before_this: whether it was saved before the last handout. doubt: what contradicts
    `saved`.
    """

    name: str
    program: str
    board: str
    port: str
    place: str
    handed_out: str = ""
    load: str = ""
    handed_out_at: datetime | None = None
    not_found: str = ""
    changed: int | None = None
    ledger: Ledger | None = None
    error: str = ""
    saved: str = ""
    saved_at: datetime | None = None
    as_handed_out: bool = False
    before_this: bool = False
    doubt: str = ""

    def cells(self, today: datetime | None = None) -> tuple[str, ...]:
        """Return the row in words, in the order of HEADS; for today, only the time is shown."""
        handed = f"{self.handed_out} {self.load}".strip() or "not yet"
        if self.not_found:
            handed += f", there is no {self.not_found}"
        changed = "-" if self.changed is None else f"{self.changed:,}"
        return (
            *(self.name, self.place, handed, changed),
            *(self._fits(), self.error or "-", self._saved(today or utc_now())),
        )

    def _fits(self) -> str:
        if self.ledger is None:
            return "-"
        if not self.ledger.limit:
            return plural(self.ledger.total, "byte")  # the board's limit is not known
        if self.ledger.over:
            return f"{self.ledger.over:,} over"
        return f"{self.ledger.total:,} of {self.ledger.limit:,}"

    def _saved(self, today: datetime) -> str:
        if not self.saved or self.saved_at is None:
            return "not yet"
        day, time = local_text(self.saved_at).split()
        when = time if day == local_text(today, "%Y-%m-%d") else day
        is_given = self.as_handed_out and self.saved == self.handed_out
        what = "as handed out" if is_given else self.saved
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
    register: Register, archive: Archive, seats: Collection[Seat] | None = None
) -> list[ClassRow]:
    """Return a row for each learner. seats: their present ones, looked up if None."""
    done: dict[str, list[JobEvent]] = {}
    for event in archive.events(of_learners=True):
        done.setdefault(fold(learner_of(event)), []).append(event)

    @cache
    def handout(what: str) -> Listing | None:
        with contextlib.suppress(HostlinkError):
            return find_original(what, archive).listing
        return None

    return [
        _Record(archive, seat, done.get(fold(seat.learner.program), [])).row(handout)
        for seat in (seats_of(register, archive) if seats is None else seats)
    ]


def handed_out(archive: Archive, program: str, board: Board) -> tuple[Revision, ...]:
    """Return the proven handouts that a learner's board may hold, without duplicates.

    These are the learner's last one, on any board, and the last one on this board, which may have
    had another learner. A program that was loaded in another way is not a handout.
    """
    theirs, whose = archive.events(of_learners=True, job="load"), fold(program)
    here = [each for each in archive.events(board_uuid=board.uuid, job="load") if learner_of(each)]
    given = [
        next((each for each in here if each.outcome == "done"), None),
        next((e for e in theirs if fold(learner_of(e)) == whose and e.outcome == "done"), None),
    ]
    found = (find_revision(archive, event.revision) for event in given if event is not None)
    return tuple(dict.fromkeys(each for each in found if each is not None))


class _Record:
    """What the archive has recorded of one learner. events: theirs, newest first."""

    def __init__(self, archive: Archive, seat: Seat, events: list[JobEvent]) -> None:
        self.archive = archive
        self.seat = seat
        begun = (each for each in events if each.job == "load" and not left_untouched(each))
        saves = (each for each in events if each.job == "save" and each.outcome == "done")
        self.load, self.save = next(begun, None), next(saves, None)
        self.fill = last_fill(archive, seat.board) if seat.board is not None else None
        self.handout = handout_of(seat.learner.program, self.load, self.fill)
        self.is_saved = self.save is not None and (
            self.load is None or self.save.started_at >= self.load.started_at
        )

    def row(self, find: Callable[[str], Listing | None]) -> ClassRow:
        """Return the learner's row. find: returns a handout by its name, None if not found."""
        seat, load, save = self.seat, self.load, self.save
        what = seat.learner.hand_out if self.handout is Handout.NOTHING else ""
        coming = find(what) if what else None
        given = self._content(load.revision) if load is not None else None
        listing = self._measured(given, coming)
        profile = self._profile()
        changed = None
        if listing is not None and given is not None:
            rules = profile.rules if profile is not None else None
            found = compare(Listing.from_text(given.text), listing, rules)
            changed = len(found.added) + len(found.removed) + len(found.changed)
        own = save is not None and fold(save.program) == fold(seat.learner.program)
        archived = find_revision(self.archive, save.revision) if save is not None else None
        return ClassRow(
            seat.learner.name,
            seat.learner.program,
            seat.board.label if seat.board is not None else "",
            seat.port,
            seat.place,
            handed_out=loaded_by(load) if load else "",
            load=self._ending(),
            handed_out_at=load.started_at if load else None,
            not_found=what if coming is None else "",
            changed=changed,
            ledger=measure(listing, profile.rules) if listing is not None and profile else None,
            error=self._error(),
            saved=save.revision if save is not None else "",
            saved_at=save.started_at if save else None,
            as_handed_out=save is not None and not own,
            before_this=save is not None and not self.is_saved,
            doubt=archived.origin.unproven if archived is not None else "",
        )

    def _ending(self) -> str:
        """Describe how the last load ended, "" if it is proven or there was none."""
        last = {Handout.BROKEN: self.load, Handout.OVERWRITTEN: self.fill}.get(self.handout)
        if last is None:
            return ""
        how = "not ended" if last.ended_at is None else ending_words(last).removeprefix("was ")
        return how if last is self.load else f"then {loaded_by(last)} {how}"

    def _measured(self, given: Content | None, coming: Listing | None) -> Listing | None:
        """Return the program to measure, None if there is none.

        If the handout is on the board, it is what the board is known to hold; else what was saved
        since the handout, or what is to be handed out.
        """
        board, content = self.seat.board, None
        if self.handout is Handout.THERE:
            copy = self.archive.host_copy(board.uuid) if board is not None else None
            content = copy.content if copy is not None else given
        elif self.save is not None and self.is_saved:
            content = self._content(self.save.revision)
        else:
            return coming
        return Listing.from_text(content.text) if content is not None else None

    def _content(self, spec: str) -> Content | None:
        revision = find_revision(self.archive, spec)
        with contextlib.suppress(HostlinkError):
            return self.archive.content(revision) if revision is not None else None
        return None

    def _profile(self) -> Profile | None:
        """Return the profile by which the board counts bytes, None if not known."""
        board, port = self.seat.board, self.seat.port
        with contextlib.suppress(HostlinkError):
            if port:
                profile, is_guess = choose_profile(self.archive, port)
                return None if is_guess else LinkChoice(port, profile).effective
            if board is not None and board.profile:
                return find_profile(board.profile)
        return None

    def _error(self) -> str:
        """Return the last error that ended a run on the board since the handout, else ""."""
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


def summary(rows: Collection[ClassRow]) -> str:
    """Summarise a class in one sentence; it counts each handout if there are two or three."""
    whole = [row for row in rows if row.handed_out and not row.load]
    programs = Counter(
        "their own" if fold(name) == fold(row.program) else name
        for row in whole
        if (name := row.handed_out.rpartition("@")[0])
    )
    given = [f"{len(whole):,} with the handout"]
    if 1 < len(programs) <= _MOST_NAMED:
        given = [f"{count:,} with {name}" for name, count in programs.most_common()]
    saved = sum(bool(row.saved and not row.before_this) for row in rows)
    return f"{plural(len(rows), 'learner')}, {', '.join(given)}, {saved:,} saved since."
