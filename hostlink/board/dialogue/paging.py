"""What a board shows after a screenful of its listing, learnt from a listing that stopped there."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from dataclasses import dataclass

from hostlink.board.profile.model import Profile
from hostlink.link.exchange import Exchange
from hostlink.words import safe

_LINE = re.compile(rb" *-?[0-9]")
_SHORTEST = 3  # shorter ones are what is left of a damaged prompt
_LONGEST = 80
_KEY = b" "  # that makes a listing go on, beside the line end: common practice, no source
_MOST_PAGES = 400


@dataclass(frozen=True, slots=True)
class Pages:
    """A listing that stopped and was made to go on.

    answer: all of it, without what was shown where it stopped. prompt: that text, "" where it was
    none that a profile can name. key: the key that makes it go on, b"" where none did to the end.
    """

    answer: bytes = b""
    prompt: str = ""
    key: bytes = b""


def turn_pages(
    heard: bytes,
    press: Callable[[bytes], bytes],
    end: bytes,
    line_end: bytes,
    line: bytes = b"",
) -> Pages:
    """Make a listing that stopped go on to what ends every answer.

    heard: what came of the command to list. press: sends a key, and returns what comes then. end:
    b"" where nothing ends an answer; then a key shows whether there is more. line_end: ends a typed
    line. line: how each line of the program ends, where that is known, since some boards show what
    they stop with right behind one.
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
    """What stands on the unfinished row of a page, behind the line there."""
    row = re.split(rb"[\r\n]", page)[-1]
    return row.rpartition(line)[2] if line else row


def page_prompt(halts: set[bytes]) -> str:
    """The text that stood on the unfinished row at each stop, "" where that is no page prompt."""
    halt = next(iter(halts)) if len(halts) == 1 else b""
    text = halt.decode("latin-1")
    fits = len(text.strip()) >= _SHORTEST and len(halt) <= _LONGEST and text.isprintable()
    return text if fits and safe(text) == text and not _LINE.match(halt) else ""


def with_paging(profile: Profile, core: Exchange, *, clean: bool) -> Profile | None:
    """Return a profile with what the board showed where it stopped its listing; None where it did
    not stop, or that is known already.

    The key that made it go on is the key from then on. clean: nothing speaks against the
    wire; else it must have stopped twice, since a prompt that was damaged looks like a stop.
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
    """Return what the board showed each time that its listing stopped until a line end came.

    "" where it did not stop so: it showed nothing, or something else each time, or a part of a
    line, or no line came behind it.
    """
    text = page_prompt(set(core.halts) - {b""})
    behind = core.answer.partition(text.encode("latin-1"))[2] if text else b""
    goes_on = any(_LINE.match(row) for row in re.split(rb"[\r\n]+", behind))
    return text if goes_on else ""
