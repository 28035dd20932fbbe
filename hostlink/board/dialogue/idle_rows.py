"""What a board sends by itself while it waits, as its profile names it, within or behind an answer.

Such a row may cut a line, at another place in each listing. The readings would then agree on all
other lines, so a listing with such a row in it does not count.
"""

from __future__ import annotations

from collections.abc import Callable

from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.dialogue.reading import Reading, rows_of, without_controls
from hostlink.board.profile.model import Profile
from hostlink.errors import ReadBackError
from hostlink.listing.charset import to_text

_MOST_BROKEN = 24  # listings with such a row, one after the other


def unbroken(read: Callable[[], Reading], profile: Profile, kept: str) -> Reading:
    """Take readings until no row that the board sends by itself is in one, and return that one.

    kept: what was not lost. Raises ReadBackError if there is always such a row.
    """
    for _ in range(_MOST_BROKEN):
        reading = read()
        if not is_broken(reading, profile):
            return reading
    raise ReadBackError(
        f"In each of {_MOST_BROKEN} listings there was a row that the board prints by itself.",
        kept=kept,
        advice="Stop what prints the row, or have it printed less often. Then try again.",
    )


def is_broken(reading: Reading, profile: Profile) -> bool:
    """Return whether a row that the board sends by itself stands in a listing."""
    rows = map(without_controls, reading.rows)
    return any(is_own(row, profile.talk.idle_chatter) for row in rows)


def without_idle_end(answer: bytes, profile: Profile) -> bytes:
    """Cut off what the board sent by itself behind the prompt that ended its answer."""
    chatter, prompt = profile.talk.idle_chatter, profile.talk.prompt
    parts = answer.split(prompt) if prompt and chatter else [answer]
    while len(parts) > 2 and not parts[-1] and parts[-3][-1:] in (b"", b"\r", b"\n"):
        rows = rows_of(to_text(parts[-2], profile.rules.form.charset))
        if not all(is_own(row, chatter) for row in rows):
            break
        del parts[-2]
    return prompt.join(parts)
