"""A ladder of questions about a board: its rungs, what each found, and where the climb ended."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from hostlink.advice import Advice, Ways, advice_text
from hostlink.errors import ExitStatus
from hostlink.jobs.meeting.seen import Seen


class RungState(Enum):
    """Whether a rung holds."""

    HOLDS = "yes"
    BROKEN = "no"
    LEFT_OUT = "-"


@dataclass(frozen=True, slots=True)
class RungFinding:
    """What a rung found. says: what was seen. do: the one thing to do if it is broken.

    status: the exit status that it gives.
    """

    state: RungState
    says: Advice
    do: Advice = ""
    status: ExitStatus = ExitStatus.DONE


@dataclass(frozen=True, slots=True)
class Rung:
    """One rung. id: its fixed name. question: what it asks. judge: answers from what was seen."""

    id: str
    question: str
    judge: Callable[[Seen], RungFinding]


@dataclass(frozen=True, slots=True)
class LadderStep:
    """A rung with what it found."""

    rung: Rung
    finding: RungFinding


@dataclass(frozen=True, slots=True)
class Climb:
    """The rungs up to the broken one or to the top. end: one sentence on the whole."""

    steps: tuple[LadderStep, ...]
    end: Advice

    @property
    def broken(self) -> LadderStep | None:
        """Return the step at which the climb ended, None if it came to the top."""
        last = self.steps[-1]
        return last if last.finding.state is RungState.BROKEN else None

    def rows(self, by: Ways) -> list[str]:
        """Return each rung with what was seen, then the last sentence, as rows of text."""
        rows = list[str]()
        for place, step in enumerate(self.steps, 1):
            rows.append(f"{place}  {step.rung.question:<26}  {step.finding.state.value}")
            rows.append(f"   {advice_text(step.finding.says, by)}")
        return [*rows, "", advice_text(self.end, by)]

    @property
    def status(self) -> ExitStatus:
        """Return the exit status: done, refused (a consent or a BASIC is missing), link failed."""
        return self.steps[-1].finding.status
