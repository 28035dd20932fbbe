"""Learn from a listing that stopped what a board shows then, and the key that continues it."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from dataclasses import dataclass

from hostlink.board.profile.model import Profile
from hostlink.link.exchange import Exchange
from hostlink.words import safe

_LINE = re.compile(rb" *-?[0-9]")
_SHORTEST = 3  # a shorter one may be the rest of a damaged prompt
_LONGEST = 80
_KEY = b" "  # continues a listing, if the line end does not: common practice, no source
_MOST_PAGES = 400


@dataclass(frozen=True, slots=True)
class Pages:
    """A listing that stopped and was continued.

    answer: all of it, without what was shown at the stops. prompt: that text, "" if no profile can
    name it. key: the key that continues it, b"" if none continued it to its end.
    """

    answer: bytes = b""
    prompt: str = ""
    key: bytes = b""


def turn_pages(
    heard: bytes, press: Callable[[bytes], bytes], end: bytes, line_end: bytes, line: bytes = b""
) -> Pages:
    """Continue a listing that stopped, up to what ends every answer.

    heard: the answer to the list command. press: sends a key and returns what follows. end: b"" if
    nothing ends an answer; then a key shows whether there is more. line_end: ends a typed line.
    line: the end of each line of the program, if known, because some boards show their page prompt
    right after a line.
    """
    if not heard.strip() or (end and heard.endswith(end)):
        return Pages(heard)
    for key in (_KEY, line_end):
        more = press(key)
        if more.strip():
            break
    pages = [heard]
    while more.strip() and len(pages) < _MOST_PAGES:
        pages.append(more)
        more = b"" if end and more.endswith(end) else press(key)
    halts = [halt_in(page, line) for page in pages[:-1]]
    shown = [page.removesuffix(halt) for page, halt in zip(pages, halts, strict=False)]
    answer = b"".join((*shown, pages[-1]))
    if not halts or (end and not answer.endswith(end)):
        return Pages(answer)
    return Pages(answer, page_prompt(set(halts)), key)


def halt_in(page: bytes, line: bytes) -> bytes:
    """Return the text on the unfinished last row of a page, without the program line before it."""
    row = re.split(rb"[\r\n]", page)[-1]
    return row.rpartition(line)[2] if line else row


def page_prompt(halts: set[bytes]) -> str:
    """Return the text that each stop shows, or "" if they differ or it can be no page prompt."""
    halt = next(iter(halts)) if len(halts) == 1 else b""
    text = halt.decode("latin-1")
    fits = len(text.strip()) >= _SHORTEST and len(halt) <= _LONGEST and text.isprintable()
    return text if fits and safe(text) == text and not _LINE.match(halt) else ""


def with_paging(profile: Profile, core: Exchange, *, clean: bool) -> Profile | None:
    """Return a profile with the page prompt and key that a listing showed.

    None if it did not stop, or the profile knows how it stops. clean: there is no evidence against
    the wire; otherwise it must have stopped twice, because a damaged prompt looks like a stop.
    """
    talk = profile.talk
    shown = "" if talk.page_prompt else page_prompt_in(core)
    prompts = (talk.prompt.strip(), talk.ready.strip())
    if not shown or shown.strip().encode("latin-1") in prompts:
        return None
    if not clean and len(core.halts) < 2:
        return None
    talk = dataclasses.replace(talk, page_prompt=shown, page_key=core.nudge_key)
    return dataclasses.replace(profile, talk=talk)


def page_prompt_in(core: Exchange) -> str:
    """Return the page prompt at which a listing stopped until a line end was sent, or "".

    It is "" if the listing did not stop, if the stops showed nothing, different texts or part of a
    line, or if no line followed.
    """
    text = page_prompt(set(core.halts) - {b""})
    behind = core.answer.partition(text.encode("latin-1"))[2] if text else b""
    goes_on = any(_LINE.match(row) for row in re.split(rb"[\r\n]+", behind))
    return text if goes_on else ""
