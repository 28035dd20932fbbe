"""The app's sentences on boards and what they hold. Pure functions."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size

from hostlink.app.actions.table import way_to
from hostlink.app.sentences import NOTHING_WRONG
from hostlink.archive.times import local_text
from hostlink.sentences import IS_SILENT, ONLY_RESTART_HELPS
from hostlink.words import capital, plural

if TYPE_CHECKING:
    from hostlink.jobs.session.activity import BoardState
    from hostlink.listing import Finding, Ledger, Review


_LONGEST_QUESTION = 21  # characters of a program's question that are shown
_REVISION = re.compile(r"(?<=\S)(?<!\brescue)(?<!\bbackup)(?<!\brun)@([0-9]+)")
_LEAST_NAME = 10  # columns; less does not tell one board from another


def revision_words(spec: str) -> str:
    """Return a spec in words: TIDE revision 3 for TIDE@3."""
    name, at, number = spec.rpartition("@")
    if not at:
        return spec
    return f"rescue {number}" if name == "rescue" else f"{name} revision {number}"


def with_revision_words(sentence: str) -> str:
    """Return a sentence in which each revision is named as in `revision_words`."""
    return _REVISION.sub(r" revision \1", sentence)


@dataclass(frozen=True, slots=True)
class KnownContents:
    """What a board is known to hold.

    known: it was read. spec: the revision, "" for a program that is not in the archive. lines,
    size, limit: of the program, in bytes; limit 0 if unknown. changed: lines were typed since.
    proven_at: when it was last read back.
    """

    known: bool = False
    spec: str = ""
    lines: int = 0
    size: int = 0
    limit: int = 0
    changed: bool = False
    proven_at: datetime | None = None

    def holds(self, spec: str) -> bool:
        """Return whether the board is known to hold a revision, unchanged."""
        return self.known and self.spec == spec and not self.changed


def board_sentence(
    name: str,
    held: KnownContents,
    state: BoardState | None = None,
    *,
    away: str = "",
    doing: str = "",
    more: str = "",
    width: int = 0,
) -> str:
    """Return one sentence about a board: what it does, or at its prompt what it holds, in bytes.

    away: the port at which hostlink waits for it, "" while it is here. doing: what a job does to
    it, such as "is being loaded with TIDE". more: follows the sentence where there is room. width:
    columns to fit into, 0 for any number; the name and details are shortened before the advice.
    """
    if away:
        from hostlink.link.port import is_far  # not before the first drawing

        gone = "lost its connection" if is_far(away) else "was unplugged"
        tails = [f"{gone}; hostlink is waiting for it to come back", gone]
    elif doing:
        tails = [doing]
    else:
        program = revision_words(held.spec) or "a program"
        tails = (_does(state, program) if state is not None else []) or _holds(held)
    if more:
        tails.insert(0, f"{tails[0]} {more}")
    return _fitted(capital(name), tails, width)


def _fitted(name: str, tails: list[str], width: int) -> str:
    """Join a name and the first of some tails that fits, the longest first.

    If the name fits with none, it is shortened in its middle, to at least _LEAST_NAME columns; if
    that does not fit either, it is left out.
    """
    if not width:
        return f"{name} {tails[0]}"
    rooms = [width - cell_len(tail) - 1 for tail in tails]
    for tail, room in zip(tails, rooms, strict=True):
        if cell_len(name) <= room:
            return f"{name} {tail}"
    for tail, room in zip(tails, rooms, strict=True):
        if room >= _LEAST_NAME:
            return f"{_cut_middle(name, room)} {tail}"
    return f"It {tails[-1]}"


def _cut_middle(text: str, width: int) -> str:
    """Cut a text in its middle to fit `width` columns: the ends of ports' names tell them apart."""
    front = (width - 1) // 2
    back = width - 1 - front
    tail = text[-back:]
    while cell_len(tail) > back:
        tail = tail[1:]
    return f"{set_cell_size(text, front).rstrip()}…{tail}"


def _holds(held: KnownContents) -> list[str]:
    """Say what a board holds, from the most to the least detail."""
    if not held.known:
        return ["is attached; what it holds has not been read yet", "has not been read yet"]
    room = f"{held.size:,} of {held.limit:,} bytes" if held.limit else plural(held.size, "byte")
    when = f", proven at {local_text(held.proven_at, '%H:%M')}" if held.proven_at else ""
    if not held.lines:
        what = "no program"
    elif not held.spec:
        what = "a program that is not in the archive"
    else:
        what = revision_words(held.spec) + ", changed since" * held.changed
    if held.lines and held.changed and not held.proven_at:
        # Its size is not known until it is read again.
        return [f"holds {what}", f"holds {held.spec}, changed"] if held.spec else [f"holds {what}"]
    return [f"holds {what}, {room}{when}", f"holds {what}, {room}", f"holds {what}"]


def _does(state: BoardState, program: str) -> list[str]:
    """Say what a board away from its prompt does, from the most to the least detail."""
    from hostlink.jobs.session.activity import Activity  # not before the first drawing

    stop = f"stop it with {way_to('interrupt')}"
    match state.activity:
        case Activity.RUNNING:
            return [f"is running {program}; {stop}", f"is running; {stop}"]
        case Activity.ASKING:
            question = state.question.strip()
            shown = question if len(question) <= _LONGEST_QUESTION else f"…{question[-20:]}"
            return [f'asks "{shown}"; {stop}', f"asks; {stop}"]
        case Activity.BUSY:
            why = "its keyboard is in use, or a program is running"
            return [f"is busy: {why}; {stop}", f"is busy; {stop}"]
        case Activity.RESTARTING:
            return ["is restarting"]
        case Activity.SILENT:
            return [
                f"{IS_SILENT}; check its supply and its cable",
                "is silent; check supply and cable",
            ]
        case Activity.FULL:
            return [
                f"has a full memory, so it accepts nothing; {ONLY_RESTART_HELPS}",
                f"is full; {ONLY_RESTART_HELPS}",
            ]
    return []


def room_words(ledger: Ledger) -> str:
    """Describe how a listing fits: "412 of 999 bytes, 587 free"."""
    if ledger.free is None:
        return f"{plural(ledger.total, 'byte')}; the board's memory size is not known"
    size = f"{ledger.total:,} of {plural(ledger.limit, 'byte')}"
    if ledger.over:
        return f"{size}: {plural(ledger.over, 'byte')} over"
    return f"{size}, {ledger.free:,} free"


def short_room_words(ledger: Ledger) -> str:
    """Describe in a few characters how a listing fits: "587 free"."""
    if ledger.free is None:
        return plural(ledger.total, "byte")
    return f"{ledger.over:,} over" if ledger.over else f"{ledger.free:,} free"


def held_words(held: KnownContents | None) -> str:
    """Describe in a few characters what a board holds: "412 held". held: None without a board."""
    if held is None:
        return "none"
    if not held.known:
        return "not read"
    if not held.lines:
        return "empty"
    return "changed" if held.changed and not held.proven_at else f"{held.size:,} held"


def finding_at(review: Review, row: int) -> Finding | None:
    """Return the worst finding for a row (from 0), else for the whole listing, else for any row."""
    from hostlink.listing.finding import SEVERITIES  # not before the first drawing

    found = review.findings
    at_row = [one for one in found if one.line_at - 1 == row]
    chosen = at_row or [one for one in found if not one.line_at] or found
    return min(chosen, key=lambda one: SEVERITIES.index(one.severity), default=None)


def finding_words(review: Review, row: int) -> str:
    """Return `finding_at` in words."""
    from hostlink.listing.finding import STRANGE_WORD  # not before the first drawing

    first = finding_at(review, row)
    if first is None:
        return NOTHING_WRONG
    is_said = first.line_at - 1 == row or first.number is None or first.names_its_place
    where = "" if is_said else f"Line {first.number}: "
    more = len(review.findings) - 1
    others = f" ({way_to('findings')}: {more:,} more)" if more else ""
    advice = first.advice
    if first.rule == "does-not-fit":
        advice = f"{way_to('shrink')} makes it smaller."
        if review.ledger.over > review.ledger.limit:  # more than shrinking ever saves
            advice = "Leave lines out, or divide it into several programs."
    elif advice == STRANGE_WORD:
        advice = f"{way_to('adapt')} adapts the listing, if it is in another BASIC."
    return f"{where}{first.message} {advice}{others}"


def ago(then: datetime, now: datetime) -> str:
    """Return how long ago a time was: "3 minutes ago"."""
    seconds = max(0, int((now - then).total_seconds()))
    for size, word in ((86_400, "day"), (3_600, "hour"), (60, "minute")):
        if seconds >= size:
            return f"{plural(seconds // size, word)} ago"
    return "just now"
