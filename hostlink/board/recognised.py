"""How a board talks, as it was recognised."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.board.dialogue.heard_talk import HeardTalk
from hostlink.board.dialogue.no_prompt_errors import last_row
from hostlink.board.profile.model import Profile

_UNKNOWN = "hostlink does not know this kind yet, so it goes slowly; a survey measures it once."


@dataclass(frozen=True, slots=True)
class Recognised:
    """The profile to talk to the board by.

    known: it is that of a known kind, unchanged. free: bytes free as reported by the board, None if
    it was not asked.
    """

    profile: Profile
    heard_talk: HeardTalk
    known: bool
    free: int | None = None

    @property
    def sentence(self) -> str:
        """Return a sentence on what was found."""
        at = f"at {self.heard_talk.baud} baud"
        if self.known:
            title = self.profile.title or self.profile.name
            return f"This board talks {at} like kind {self.profile.name}: {title}."
        prompt = self.heard_talk.prompt or self.heard_talk.ready
        shows = f'and shows "{last_row(prompt)}"' if prompt else "and shows no prompt"
        return f"This board talks {at} {shows}. {_UNKNOWN}"
