"""What a board is doing, as far as it is known: the state and its transitions, without a port.

Rules:
1. A board is at its prompt only if the prompt came and quiet followed. Whatever it sends after that
   without having been asked means that it is busy: its own keyboard is in use, or a program runs.
2. A program runs from the line that started it until the prompt. If it stops within a row, and
   nothing follows for a while, that row is its question.
3. A direct command counts as busy only after a second; most are answered at once.
4. After a failed job the state is the one that its error tells, else it is unknown.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from hostlink.errors import LinkReason

_ANSWERED_AT_ONCE_S = 1.0
_LONGEST_START_S = 8.0  # no board is silent for longer while it starts


class Activity(Enum):
    """What a board does."""

    UNKNOWN = "unknown"
    PROMPT = "at its prompt"
    ANSWERING = "answering"  # a direct command, for less than a second
    BUSY = "busy"  # with a longer command, or its keyboard is in use
    RUNNING = "running a program"
    ASKING = "waiting for an answer"  # a program that runs
    RESTARTING = "restarting"
    SILENT = "silent"
    FULL = "deaf, because its memory is full"


_OCCUPIED = (Activity.ANSWERING, Activity.BUSY, Activity.RUNNING, Activity.ASKING)
_OF_REASON = {
    LinkReason.RUNNING: Activity.RUNNING,
    LinkReason.SILENT: Activity.SILENT,
    LinkReason.UNREADABLE: Activity.SILENT,
    LinkReason.LOOPED: Activity.SILENT,
    LinkReason.FULL: Activity.FULL,
    LinkReason.FLOODING: Activity.BUSY,
}


@dataclass(frozen=True, slots=True)
class BoardState:
    """What a board does at one moment. question: the row at which its program waits, or ""."""

    activity: Activity = Activity.UNKNOWN
    question: str = ""

    @property
    def at_prompt(self) -> bool:
        """Return whether the board waits for a command."""
        return self.activity is Activity.PROMPT

    @property
    def is_occupied(self) -> bool:
        """Return whether what is typed now would go to a program, or be lost."""
        return self.activity in _OCCUPIED

    @property
    def prints(self) -> bool:
        """Return whether the unfinished row is likely to go on."""
        return self.activity in (Activity.RUNNING, Activity.BUSY)

    @property
    def runs(self) -> bool:
        """Return whether something runs that only an interrupt or its own end stops."""
        return self.is_occupied and self.activity is not Activity.ANSWERING


class BoardActivity:
    """Follows what a board does. now: holds what it does; see BoardState. Times in seconds."""

    def __init__(self) -> None:
        self.now = BoardState()
        self._since = 0.0
        self._is_program = False

    def _be(self, activity: Activity, at: float = 0.0, question: str = "") -> None:
        if activity is not self.now.activity:
            self._since = at
        self.now = BoardState(activity, question)

    @property
    def is_program(self) -> bool:
        """Return whether a program runs that was started by a line from hostlink."""
        return self._is_program and self.now.is_occupied

    def prompted(self) -> None:
        """Note that the board is at its prompt."""
        self._is_program = False
        self._be(Activity.PROMPT)

    def lost(self) -> None:
        """Note that nothing is known any more, such as after the board was unplugged."""
        self._is_program = False
        self._be(Activity.UNKNOWN)

    def entered(self, at: float, *, runs: bool) -> None:
        """Note that a line was entered. runs: at the prompt, it may have started a program."""
        self._is_program = runs or self._is_program
        self._be(Activity.RUNNING if self._is_program else Activity.ANSWERING, at)

    def heard(self, at: float) -> None:
        """Note that the board sent something."""
        activity = self.now.activity
        if activity is Activity.ASKING:
            self._be(Activity.RUNNING if self._is_program else Activity.BUSY, at)
        elif activity in (Activity.PROMPT, Activity.SILENT, Activity.UNKNOWN):
            self._be(Activity.ANSWERING, at)

    def quiet(self, at: float, row: str, asks_at: float) -> None:
        """Note that nothing came until now.

        row: the unfinished row. asks_at: the time from which it counts as a question.
        """
        starting = self.now.activity is Activity.RESTARTING
        lasts = at - self._since
        if row.strip() and at >= asks_at and (self.now.is_occupied or starting):
            self._be(Activity.ASKING, at, row)
        elif (self.now.activity is Activity.ANSWERING and lasts >= _ANSWERED_AT_ONCE_S) or (
            starting and lasts >= _LONGEST_START_S
        ):
            self._be(Activity.BUSY, at)

    def restarted(self, at: float) -> None:
        """Note that the board was heard starting."""
        self._is_program = False
        self._be(Activity.RESTARTING, at)

    def failed(self, reason: LinkReason, row: str = "") -> None:
        """Note why the board did not come to its prompt. row: the question that it shows, or ""."""
        activity = _OF_REASON.get(reason, Activity.UNKNOWN)
        self._is_program = activity is Activity.RUNNING
        if self._is_program and row:
            self._be(Activity.ASKING, question=row)
        else:
            self._be(activity)
