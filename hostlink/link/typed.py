"""One line typed with care, whose answer is left to whoever listens."""

from __future__ import annotations

from hostlink.link.core import Step
from hostlink.link.exchange import Exchange, Outcome, Reach
from hostlink.link.pacing import Pacing


class Typed:
    """Types one line as an exchange does, and ends as soon as its line end is out.

    The answer is left to whoever listens: a program that runs for an hour, or asks. When done:
    `committed`, and if it was not, `outcome`.
    """

    def __init__(
        self, text: bytes, pacing: Pacing, *, attempts: int = 12, may_enter_wrong: bool = True
    ) -> None:
        reach = Reach(attempts=attempts, may_enter_wrong=may_enter_wrong)
        self._exchange = Exchange(text, pacing, reach)

    @property
    def done(self) -> bool:
        """Return whether the line has been entered or typing was given up."""
        return self._exchange.done or self.committed

    @property
    def committed(self) -> bool:
        """Return whether the line end was sent, behind a text that was echoed correctly."""
        return self._exchange.committed

    @property
    def outcome(self) -> Outcome:
        """Return why the line was not entered; only meaningful where `committed` is false."""
        return self._exchange.outcome

    @property
    def cut_at(self) -> int:
        """How many characters the board takes in a line; 0 where it may take all of the text."""
        return self._exchange.cut_at

    @property
    def may_be_entered(self) -> bool:
        """Whether what the board took of a text that was not committed may have been entered."""
        return self._exchange.committed_wrong or self._exchange.prompted_early

    @property
    def repairs(self) -> int:
        """Return how many times the line had to be taken back and typed again."""
        return self._exchange.repairs

    @property
    def echo_heard(self) -> bool:
        """Whether somebody was listening: at least one character came back right."""
        return self._exchange.echo_heard

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return what to type next and when to call again (seconds)."""
        return self._exchange.step(now, received)
