"""The choice of a board and of how to talk to it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path

from hostlink.board.profile.model import Profile
from hostlink.link.opening import sizes_told


@dataclass(frozen=True, slots=True)
class LinkChoice:
    """The board to talk to and how.

    port: a device name or address. baud: overrides the profile's speed unless 0. record: a file for
    the recording of the wire. stop_running: consent to interrupt a running program. is_guess: the
    board is new and no profile was named, so it has to be recognised. is_named: the user named the
    profile, so its values are kept if the board talks differently. may_restart: the user was warned
    that opening the port may restart the board.
    """

    port: str
    profile: Profile
    baud: int = 0
    record: Path | None = None
    stop_running: bool = False
    is_guess: bool = False
    is_named: bool = True
    may_restart: bool = False

    @property
    def effective(self) -> Profile:
        """Return the profile with the chosen speed, and the memory size given in the address."""
        profile = self.profile
        if self.baud:
            talk = dataclasses.replace(profile.talk, baud=self.baud)
            profile = dataclasses.replace(profile, talk=talk)
        if told := sizes_told(self.port):
            storage = dataclasses.replace(profile.rules.storage, **told)  # type: ignore[arg-type]
            rules = dataclasses.replace(profile.rules, storage=storage)
            profile = dataclasses.replace(profile, rules=rules)
        return profile
