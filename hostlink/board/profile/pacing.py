"""Translate a profile into the pacing that the link works with."""

from __future__ import annotations

from hostlink.board.profile.model import Profile
from hostlink.link.pacing import Pacing


def pacing_of(profile: Profile) -> Pacing:
    """Return the pacing of a profile, in seconds instead of milliseconds."""
    talk = profile.talk
    return Pacing(
        baud=talk.baud,
        echo=talk.echo,
        line_end=talk.line_end,
        reply_end=talk.reply_end,
        prompt=talk.prompt,
        ready=talk.ready,
        line_done=talk.line_done,
        after_prompt_s=(talk.after_prompt_ms or talk.line_ms) / 1000,
        receive_buffer=talk.receive_buffer,
        line_s=talk.line_ms / 1000,
        char_s=talk.char_ms / 1000,
        line_window=talk.line_window,
        xon_xoff=talk.flow == "xon-xoff",
        line_cancel=talk.line_cancel,
        erase=talk.erase,
        interrupt=talk.interrupt,
        full_sign=talk.full_sign,
        page_prompt=talk.page_prompt.encode("latin-1"),
        page_key=talk.page_key,
    )
