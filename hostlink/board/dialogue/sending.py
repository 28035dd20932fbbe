"""Send the lines of one program: all at full speed, or some of them one by one with care."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from hostlink.advice import Advice
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import LineRepaired, LineSent, Phase
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.no_prompt_errors import ONLY_RESTART
from hostlink.errors import ReadBackError
from hostlink.link.sender import Sender
from hostlink.link.typed import Outcome
from hostlink.listing.charset import to_bytes
from hostlink.listing.parse import Line
from hostlink.sentences import LISTING_UNCHANGED, TAKES_NOTHING

_SHORTEST_REFUSAL = 8  # characters, longer than what damage leaves of a prompt


@dataclass
class LoadReport:
    """How a load went.

    bytes: of the listing, line ends included. repairs: lines sent again. starts: times the load
    began from an empty memory. captures: readings of the program. seconds: from the first byte of
    the listing to its last confirmation, None unless a fast pass went through. answers: what the
    board answered to lines, by line number.
    """

    lines: int = 0
    bytes: int = 0
    repairs: int = 0
    starts: int = 0
    captures: int = 0
    seconds: float | None = None
    answers: dict[int, str] = field(default_factory=dict)


class FullError(ReadBackError):
    """The program does not fit into the memory of the board."""

    def __init__(self, what: str, advice: Advice = "") -> None:
        super().__init__(
            what,
            kept=LISTING_UNCHANGED,
            advice=advice or (lambda by: f"Make the listing smaller {by.shrink}."),
        )


class DeafError(FullError):
    """The memory of the board is so full that it takes no command any more."""

    def __init__(self, number: int | None) -> None:
        at = f" since line {number}" if number is not None else ""
        super().__init__(
            f"The board's memory is full, and{at} it {TAKES_NOTHING}, not even LIST or NEW.",
            lambda by: (
                f"{ONLY_RESTART} Restart it {by.restart_discarding}, then make the listing "
                f"smaller {by.shrink}."
            ),
        )


class Sending:
    """Sends lines of one program over a dialogue and counts what happens in a report.

    target: the program, by line number.
    """

    def __init__(self, dialogue: Dialogue, target: Mapping[int, Line]) -> None:
        self._dialogue = dialogue
        self._target = target
        end = dialogue.pacing.line_end
        self.report = LoadReport(
            lines=len(target), bytes=sum(len(self._data(n)) + len(end) for n in target)
        )
        self.stopped_at: int | None = None
        """The line at which sending at full speed stopped last."""
        self._sent_bytes = 0

    def fast(self, numbers: list[int]) -> bool:
        """Send lines as fast as the board stores them; return False at the first sign of damage."""
        self._dialogue.emit(Phase("Sending"))
        began = self._sent_bytes

        def on_line(index: int, size: int) -> None:
            self._sent_bytes = began + size
            self._progress(numbers[index], index + 1, len(numbers))

        core = Sender([self._data(n) for n in numbers], self._dialogue.pacing, on_line=on_line)
        self._dialogue.wire.run(core)
        if core.damage is None:
            if core.first_write is not None and core.last_confirm is not None:
                self.report.seconds = core.last_confirm - core.first_write
            return True
        self._dialogue.evidence.note(DamageSign.LINE_DAMAGED)
        number = self.stopped_at = numbers[min(core.damage.line, len(numbers) - 1)]
        why = {"echo": "came back differently", "silent": "was not confirmed"}
        self._repaired(number, why.get(core.damage.kind, "was held up too long"))
        return False

    def carefully(self, send: list[int], delete: list[int]) -> bool:
        """Delete and send lines one by one, with the echo checked before each line end goes out.

        Returns False if a line got no answer. Raises FullError if the memory is full.
        """
        if send or delete:
            self._dialogue.emit(Phase("Sending the difference line by line"))
        for done, number in enumerate([*delete, *send], 1):
            removing = number not in self._target
            core = self._dialogue.exchange(str(number) if removing else self._target[number].typed)
            if core.repairs:
                self._repaired(number, "came back differently")
            said = self._dialogue.refusal_in(core.unprompted if core.nudged else core.answer)
            # Without a prompt after it a short row may be what is left of a damaged prompt.
            if said and (not core.nudged or len(said) >= _SHORTEST_REFUSAL):
                self.report.answers[number] = said
            self._raise_if_full(number, said, core.outcome)
            if core.outcome is not Outcome.ANSWERED:
                return False
            self._progress(number, done, len(send) + len(delete))
        return True

    def _raise_if_full(self, number: int, said: str, outcome: Outcome) -> None:
        """Raise FullError or DeafError if a line did not fit."""
        commands = self._dialogue.profile.commands
        if said and said.startswith(commands.full_words):
            raise FullError(f'The board\'s memory is full: to line {number} it answered "{said}".')
        if outcome is Outcome.DEAF:
            raise DeafError(number)
        if outcome is Outcome.CROWDED:
            raise FullError(f"The board's memory is full: line {number} does not fit.")

    def _progress(self, number: int, done: int, lines: int) -> None:
        sent = self._sent_bytes
        self._dialogue.emit(LineSent(number, done, lines, sent, self.report.bytes))

    def _repaired(self, number: int, why: str) -> None:
        self.report.repairs += 1
        self._dialogue.emit(LineRepaired(number, why))

    def _data(self, number: int) -> bytes:
        charset = self._dialogue.profile.rules.form.charset
        return to_bytes(self._target[number].typed, charset)
