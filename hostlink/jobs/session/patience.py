"""A time limit for a whole job and for its parts, and reports of what it is waiting for.

The limit of a part ends with that of the outermost job on a session, if not before. A board that
answers too slowly, or differently each time, ends the job with an error that says what was being
done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager

from hostlink.board.dialogue.events import LineSent, Phase, Waiting
from hostlink.board.profile.model import Profile
from hostlink.errors import LinkError, LinkReason
from hostlink.jobs.events import Emit, Event, PageProven, PagesRead
from hostlink.link.pacing import BITS_PER_BYTE, Pacing
from hostlink.listing.parse import Line
from hostlink.sentences import CHECK_WIRE_AND_PROFILE

_SHORTEST_LIMIT_S = 300.0
_LISTINGS = 60  # of a full memory, for which the time limit of a job has room
_USUAL_BYTES = 1024  # of program memory, if the profile has no figure
TELL_EVERY_S = 45.0
TELL_OFTEN_S = 4.0  # if the board may be silent and a beginner waits
_LIMIT_TOLD_S = 900.0
_MINUTES_FROM_S = 90.0  # a shorter time left is given in seconds
_GRACE_S = 60.0  # after the limit, to bring the board to its prompt


def time_limit_s(profile: Profile) -> float:
    """Return the time limit of a job on a board, in seconds.

    It is five minutes plus the time of sixty listings of a full memory. A load on a wire that
    damages one byte in a hundred takes about twenty listings.
    """
    return _SHORTEST_LIMIT_S + _LISTINGS * _listing_s(profile)


def capture_s(profile: Profile) -> float:
    """Return how many seconds a capture of a full memory takes on a good wire: two listings."""
    return 2 * _listing_s(profile)


def load_s(lines: Mapping[int, Line], pacing: Pacing) -> float:
    """Estimate how many seconds a load takes on a good wire.

    The longer of the time on the wire and the board's time for the lines counts; the listings of
    the old program and of the read-back are included.
    """
    wire = sum(
        len(line.typed) + len(pacing.reply_end) + len(pacing.prompt) for line in lines.values()
    )
    per_line = pacing.line_s if pacing.receive_buffer > 1 else pacing.line_s + pacing.latency_s
    busy = len(lines) * per_line
    sending = wire * pacing.byte_s
    together = max(sending, busy) if pacing.receive_buffer > 1 else sending + busy
    return together + 3 * sending


def _listing_s(profile: Profile) -> float:
    """Return how many seconds one listing of a full memory takes on the wire."""
    size = profile.rules.storage.program_bytes or _USUAL_BYTES
    return size * BITS_PER_BYTE / profile.talk.baud


class Patience:
    """Limits the time of the jobs of a session.

    emit: receives the events of a job and, when it takes long, what it is waiting for.
    """

    def __init__(self, emit: Emit) -> None:
        self.listener = emit
        self._sent: LineSent | None = None  # the last line that the job under way has sent
        self._doing = "Waiting for the board"
        self._since: float | None = None  # since the last progress
        self._told: float | None = None
        self._tell_every_s = TELL_EVERY_S
        self._ends: float | None = None  # None: no limited job is under way
        self._limit_s = 0.0
        self._about_s = 0.0  # reported time for the rest of the job, not yet started
        self._due: float | None = None  # when it should be done
        self._at_most_s = 0.0  # longest time of a part not yet started

    @property
    def lines_sent(self) -> tuple[int, int]:
        """Return how many lines the job under way has sent, and of how many; (0, 0) before any."""
        sent = self._sent
        return (sent.sent_lines, sent.all_lines) if sent is not None else (0, 0)

    def emit(self, event: Event) -> None:
        """Pass an event on, and note whether it shows progress."""
        if isinstance(event, Phase):
            self._doing = event.text
            self._about_s = event.about_s or self._about_s
            self._at_most_s = event.at_most_s
        if isinstance(event, LineSent):
            self._sent = event
        if isinstance(event, Phase | LineSent | PagesRead | PageProven):
            self._since = None
        self.listener(event)

    @contextmanager
    def limited(
        self, limit_s: float, now: Callable[[], float], *, tell_every_s: float = TELL_EVERY_S
    ) -> Iterator[bool]:
        """Limit the block to limit_s seconds; within an outer limit, to the shorter of both.

        A part that says how long it takes at most (`Phase.at_most_s`) gets that time in any case.
        tell_every_s: after how many seconds without progress a wait is reported, of the outermost
        block. Yields whether this block is the outermost.
        """
        outer, outer_limit_s, ends = self._ends, self._limit_s, now() + limit_s
        if outer is None:
            self._about_s, self._at_most_s, self._due = 0.0, 0.0, None
            self._since, self._sent, self._tell_every_s = None, None, tell_every_s
        if outer is None or ends < outer:
            self._ends, self._limit_s = ends, limit_s
        try:
            yield outer is None
        finally:
            self._ends = outer and max(outer, self._ends or outer)
            self._limit_s = outer_limit_s

    def watch(self, now: float) -> None:
        """Check the time `now`, in seconds. Raises LinkError if a limited job takes too long."""
        if self._ends is None:
            return
        if self._since is None:
            self._since = self._told = now
        if self._about_s:
            self._due, self._about_s = now + self._about_s, 0.0
        if self._at_most_s:
            self._ends, self._at_most_s = max(self._ends, now + self._at_most_s), 0.0
        if now > self._ends:
            self._ends = now + _GRACE_S
            raise LinkError(
                f"The job was given up after {_time_words(self._limit_s)}. It was still at: "
                f"{self._doing}.",
                reason=LinkReason.TOO_LONG,
                advice=CHECK_WIRE_AND_PROFILE,
            )
        if self._told is not None and now - self._told >= self._tell_every_s:
            self._told = now
            self.listener(self._waiting(now, self._since, self._ends))

    def _waiting(self, now: float, since: float, ends: float) -> Waiting:
        """Return the report of a wait, with the remaining time if known, else with the limit."""
        left = ""  # a limit that is hours away says nothing
        if ends - now < _LIMIT_TOLD_S:
            left = f"Giving up in {_time_words(ends - now)} at most."
        if self._due is not None:
            left_s = self._due - now
            left = f"About {left_s:.0f} s are left." if left_s > 0 else "That is longer than usual."
        text = f"Still at it after {now - since:.0f} s: {self._doing}. {left}"
        return Waiting(text.rstrip(), now - since)


def _time_words(seconds: float) -> str:
    """Return a time in seconds or, if it is long, in minutes."""
    return f"{seconds:.0f} s" if seconds < _MINUTES_FROM_S else f"{seconds / 60:.0f} minutes"
