"""Typing one line with echo verification, leaving its answer to another core."""

from __future__ import annotations

from hostlink.link.core import Step
from hostlink.link.exchange import Exchange, Outcome, Reach
from hostlink.link.pacing import Pacing


class Typed:
    """Type one line as an Exchange does, and finish as soon as its line end is sent.

    The answer is not collected here: the line may start a program that runs for an hour or asks
    for input. When done, `committed` says whether the line was entered; if not, `outcome` says why.
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
        """Return how many characters the board accepts in a line; 0 if it may accept them all."""
        return self._exchange.cut_at

    @property
    def may_be_entered(self) -> bool:
        """Return whether the board may have entered part of a text that was not committed."""
        return self._exchange.committed_wrong or self._exchange.prompted_early

    @property
    def repairs(self) -> int:
        """Return how many times the line had to be taken back and typed again."""
        return self._exchange.repairs

    @property
    def echo_heard(self) -> bool:
        """Return whether the board was listening: at least one character was echoed correctly."""
        return self._exchange.echo_heard

    def step(self, now: float, received: bytes) -> Step:
        """Take received bytes; return what to type next and when to call again (seconds)."""
        return self._exchange.step(now, received)
