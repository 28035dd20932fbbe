"""What a session knows of restarts of its board: when the port was opened, and since.

Rules:
1. A restart loses the program in memory. It counts until a load is proven.
2. What an opening taught about the board is noted once, and only as long as no job has restarted
   the board on purpose.
"""

from __future__ import annotations

from hostlink.link.attaching import Foresight
from hostlink.link.wire import Wire


class Restarts:
    """Restarts of the board at one open port.

    told: how many of them a job itself has reported, with what came of them. silent_start: the
    board sent nothing for as long as its start would have taken. foresight: what the opening was
    expected to do.
    """

    def __init__(self, wire: Wire, foresight: Foresight) -> None:
        self.is_attached = False
        self.silent_start = False
        self.told = 0
        self._wire = wire
        self._foresight = foresight
        self._at_opening = False
        self._may_be_unnoticed = foresight.restarts  # until memory is read or restarted on purpose
        self._settled = 0  # restarts before the last proven load
        self._lesson_taken = False

    @property
    def seen(self) -> int:
        """Return how many restarts were detected on the wire since the port was opened."""
        return self._wire.health.restarts

    @property
    def memory_is_lost(self) -> bool:
        """Return whether the board restarted, at opening or later, and no load was proven since."""
        return self._at_opening or self.seen > self._settled

    @property
    def on_opening(self) -> bool | None:
        """Return whether opening the port restarts this board; None if that is still unknown."""
        if not self.is_attached:
            return None
        if self._at_opening or self.seen:
            return True
        # A board without a banner may restart unnoticed, unless it was listened to: a board that
        # was silent for that long and then answered at once was not starting.
        was_heard = self._wire.banner or self.silent_start
        return False if self._foresight.pulses and was_heard else None

    def attached(self, *, at_opening: bool) -> None:
        """Note that the prompt was found. at_opening: the board was heard starting before."""
        self.is_attached = True
        self._at_opening = at_opening

    def memory_read(self, *, is_empty: bool) -> bool:
        """Note that memory was read; return whether the opening may have emptied it unnoticed.

        That is so if a restart was expected and something unrequested came that was not recognised
        as a start. Only the first reading can tell.
        """
        in_doubt = self._may_be_unnoticed and not (self.silent_start or self.memory_is_lost)
        self._may_be_unnoticed = False
        return in_doubt and is_empty

    def settle(self) -> None:
        """Note that a load was proven: earlier restarts say nothing about the memory any more."""
        self._settled = self.seen
        self._at_opening = self._may_be_unnoticed = False

    def tell_all(self) -> None:
        """Note that the job under way reports all restarts up to now itself."""
        self.told = self.seen

    def caused(self) -> None:
        """Note that a job restarts the board: later restarts say nothing about the opening."""
        self._lesson_taken = True
        self._may_be_unnoticed = False

    def take_lesson(self) -> bool | None:
        """Return `on_opening` once, after the prompt was found and unless `caused`; else None."""
        if not self.is_attached or self._lesson_taken:
            return None
        self._lesson_taken = True
        return self.on_opening

    def return_lesson(self) -> None:
        """Undo `take_lesson`, because its result could not be recorded."""
        self._lesson_taken = False
