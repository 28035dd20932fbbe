"""Reading the board's program until it is proven: how often, and what may not be voted away.

How captures are combined is in captures.py; here is what goes on between them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from typing import TYPE_CHECKING

from hostlink.board.captures import (
    MOST_CAPTURES,
    MOST_READINGS,
    Order,
    Tally,
    captures_needed,
    differing,
    heard,
    tally,
)
from hostlink.board.events import Captured, Warned
from hostlink.board.listed import shown
from hostlink.board.misheard import behind_a_digit, misheard
from hostlink.errors import LinkError, LinkReason, ReadBackError
from hostlink.listing.measure import measure
from hostlink.listing.parse import Line, Listing

if TYPE_CHECKING:
    from hostlink.board.dialogue import Dialogue

# Captures, where the free memory contradicts those that agree, or asking for it was disturbed.
_MORE_WHEN_DOUBTED = 2


class Capturing:
    """The captures of one program, over a dialogue at its prompt."""

    def __init__(self, dialogue: Dialogue) -> None:
        self._dialogue = dialogue
        self._health = dialogue.wire.health
        self._restarts = self._health.restarts
        self._disturbances = dialogue.disturbances
        self._captures: list[dict[int, Line]] = []
        self._orders: list[Order] = []
        self._strays: Counter[tuple[int, str]] = Counter()
        self._around: tuple[str, ...] | None = None  # the last capture's lines
        self._enough = 0  # captures after which a doubt of the board's own is passed over

    def run(self) -> Tally:
        """The proven program; see Dialogue.capture, which is this."""
        unsettled: tuple[int, ...] = ()
        least = 0
        for _ in range(MOST_READINGS):
            if self._read():
                # What was typed may be a line now: this capture and the next would both show it.
                least = len(self._captures) + 1
            votes = heard(self._captures)
            need = captures_needed(self._health, doubted=self._enough > 0)
            if len(votes) < need or len(self._captures) < least:
                continue
            orders = [
                order
                for order, rows in zip(self._orders, self._captures, strict=True)
                if rows or len(votes) == len(self._captures)
            ]
            result = tally(votes, need, orders)
            unsettled = result.unsettled
            if len(self._captures) >= MOST_CAPTURES and unsettled:
                break
            if unsettled or self._may_have_changed(result) or self._is_doubted(result, len(votes)):
                continue
            if self._dialogue.disturbances > self._disturbances:
                continue  # the question about free memory may be a line now
            self._look_at_strays()
            self._take_back(result)
            return result
        self._leave_nothing()
        where = f" in line {', '.join(map(str, unsettled[:8]))}" if unsettled else ""
        raise ReadBackError(
            f"{len(self._captures)} captures of the board's program do not agree{where}.",
            kept="The program is still on the board; nothing was kept in the archive.",
            advice="Check the cable and the speed, then save again.",
        )

    def _read(self) -> bool:
        """Take one more capture; whether what was typed since the last one may be a line now.

        Raises LinkError where the board has lost its memory.
        """
        captures = self._captures
        captures.append(self._dialogue.list_once())
        self._orders.append(self._dialogue.listed.order)
        lost = len(captures) > 2 and captures[0] and not (captures[-1] or captures[-2])
        if lost or self._health.restarts > self._restarts:
            raise LinkError(
                "The board restarted while its program was being read, and lost it.",
                reason=LinkReason.RESTARTED,
                kept="Nothing was kept in the archive.",
                advice="Check its supply. An earlier copy may be in the archive.",
            )
        strays = set(self._dialogue.listed.strays)
        self._strays.update(strays)
        self._dialogue.emit(Captured(len(captures), len(captures[-1])))
        # A row that is no line may be a line whose beginning was damaged: a doubt by itself, since
        # two captures without that line would agree. Around the lines a board may have its own.
        around = self._dialogue.listed.around
        self._health.disagreements += differing(captures[-2:]) + len(strays)
        self._health.disagreements += self._around not in (None, around)
        self._around = around
        before, self._disturbances = self._disturbances, self._dialogue.disturbances
        return self._disturbances > before

    def _may_have_changed(self, result: Tally) -> bool:
        """Whether the last capture hints that asking for it changed the board: one more look.

        It is empty, so the question was damaged and may have been stored as a line; or it shows
        such a line, or one that was shown before too, which other captures outvote.
        """
        *others, last = self._captures
        if result.lines and not last:
            return True
        outvoted = {
            number: line for number, line in last.items() if result.lines.get(number) != line
        }
        ours = self._ours(last)
        return (ours is not None and ours[0] in outvoted) or any(
            rows.get(number) == line or (number in rows and number not in result.lines)
            for number, line in outvoted.items()
            for rows in others
        )

    def _ours(self, lines: Mapping[int, Line]) -> tuple[int, str] | None:
        """A line that is a command of ours, and which: misheard, or behind a digit that was left
        standing before it; but what the first capture has already is the program's own."""
        typed = self._dialogue.typed
        return misheard(lines, typed) or behind_a_digit(lines, typed, own=self._captures[0])

    def _is_doubted(self, result: Tally, votes: int) -> bool:
        """The third witness: the free memory that the board reports, against the listing.

        Where it contradicts, more captures are taken before the listing is believed all the same.
        """
        profile = self._dialogue.profile
        limit = profile.rules.storage.program_bytes
        if not profile.commands.free_memory or not limit or 0 < self._enough <= votes:
            return False
        expected = measure(Listing(tuple(result.lines.values())), profile.rules).free
        reported: int | None = None
        for _ in range(3):
            reported = self._dialogue.free_memory()
            if reported == expected:
                return False
        if not self._enough:
            self._enough = votes + _MORE_WHEN_DOUBTED
            self._dialogue.emit(
                Warned(
                    f"The board reports {reported} bytes free; by its listing it should be "
                    f"{expected}. Reading it more often to be sure."
                )
            )
        return True

    def _look_at_strays(self) -> None:
        """Refuse a listing that holds rows which are no lines: part of it would be lost.

        Damage makes such rows too, but not the same one in most of the captures.
        """
        for (number, row), votes in self._strays.items():
            if votes > 1 and votes * 2 > len(self._captures):
                raise ReadBackError(
                    f'At line {number} the board lists "{shown(row[:60])}", which is no line of '
                    "a program; part of a line may have been wrapped.",
                    kept="The program is still on the board; nothing was kept in the archive.",
                    advice="Check list_form in the profile; if the board wraps long lines, make "
                    f"line {number} shorter on the board.",
                )
        if self._dialogue.listed.after and not self._strays:
            number, row = self._dialogue.listed.after[0]
            self._dialogue.emit(
                Warned(
                    f'After the last line, {number}, the board shows "{shown(row[:60])}". If that '
                    "always stands there, name it as list_end in the profile."
                )
            )

    def _leave_nothing(self) -> None:
        """Where no captures agree, still delete a command of ours that most of them show as a line.

        A line of the program's own that damage makes look like one does so in few of them.
        """
        found = Counter(ours[0] for rows in self._captures if (ours := self._ours(rows)))
        for number, times in found.items():
            if times > 1 and 2 * times > sum(number in rows for rows in self._captures):
                with suppress(LinkError):
                    self._dialogue.exchange(str(number))

    def _take_back(self, result: Tally) -> None:
        """Delete a line that is a command of ours misheard, and refuse what was read with it."""
        ours = self._ours(result.lines)
        if ours is None:
            return
        number, command = ours
        self._dialogue.exchange(str(number))
        raise LinkError(
            f'The wire made "{shown(command)}" arrive as line {number} of the program; it was '
            "deleted again.",
            reason=LinkReason.DAMAGED,
            kept=f"The rest is as it was; only a line {number} of the program's own is lost.",
            advice="Check the cable and the speed, then try again.",
        )
