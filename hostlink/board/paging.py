"""What a board shows after a screenful of its listing, learnt from a listing that stopped there."""

from __future__ import annotations

import dataclasses
import re

from hostlink.board.profile import Profile
from hostlink.link.exchange import Exchange
from hostlink.words import safe

_LINE = re.compile(rb" *-?[0-9]")
_SHORTEST = 3  # shorter ones are what is left of a damaged prompt
_LONGEST = 80


def with_paging(profile: Profile, core: Exchange, *, clean: bool) -> Profile | None:
    """Return a profile with what the board showed where it stopped its listing; None where it did
    not stop, or that is known already.

    A line end made it go on, so that is the key from then on. clean: nothing speaks against the
    wire; else it must have stopped twice, since a prompt that was damaged looks like a stop.
    """
    talk = profile.talk
    shown = "" if talk.page_prompt else page_prompt_in(core)
    prompts = (talk.prompt.strip(), talk.ready.strip())
    if len(shown.strip()) < _SHORTEST or shown.strip().encode("latin-1") in prompts:
        return None
    if not clean and len(core.halts) < 2:
        return None
    talk = dataclasses.replace(talk, page_prompt=shown, page_key=profile.talk.line_end)
    return dataclasses.replace(profile, talk=talk)


def page_prompt_in(core: Exchange) -> str:
    """Return what the board showed each time that its listing stopped until a line end came.

    "" where it did not stop so: it showed nothing, or something else each time, or a part of a
    line, or no line came behind it.
    """
    shown = set(core.halts) - {b""}
    if len(shown) != 1:
        return ""
    halt = next(iter(shown))
    text = halt.decode("latin-1")
    if len(halt) > _LONGEST or not text.isprintable() or safe(text) != text or _LINE.match(halt):
        return ""
    behind = core.answer.partition(halt)[2]
    goes_on = any(_LINE.match(row) for row in re.split(rb"[\r\n]+", behind))
    return text if text.strip() and goes_on else ""
