"""Hold the result of recognising a board."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.advice import Advice
from hostlink.board.dialogue.heard_talk import HeardTalk
from hostlink.board.dialogue.no_prompt_errors import last_row
from hostlink.board.profile.model import Profile
from hostlink.sentences import LIKE_KIND, UNKNOWN_KIND


@dataclass(frozen=True, slots=True)
class Recognised:
    """How to talk to a board: its profile, and what was heard.

    known: the profile is that of a known kind, unchanged. free: bytes free as reported by the
    board, None if it was not asked.
    """

    profile: Profile
    heard_talk: HeardTalk
    known: bool
    free: int | None = None

    @property
    def advice(self) -> Advice:
        """Return the advice to measure a board of unknown kind, or ""."""
        return "" if self.known else lambda by: f"To go faster, measure it once {by.survey}."

    @property
    def sentence(self) -> str:
        """Return a sentence on what was found."""
        at = f"at {self.heard_talk.baud} baud"
        if self.known:
            title = self.profile.title or self.profile.name
            return f"This board talks {at} {LIKE_KIND} {self.profile.name}: {title}."
        prompt = self.heard_talk.prompt or self.heard_talk.ready
        shows = f'and shows "{last_row(prompt)}"' if prompt else "and shows no prompt"
        return f"This board talks {at} {shows}. {UNKNOWN_KIND}, so it sends slowly."
