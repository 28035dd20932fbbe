"""The outermost loop of the practice board's firmware: banner, then one typed line after another.

Where the prompt stands among what the board says of a line is its manner, and decided here.
"""

from __future__ import annotations

from collections.abc import Callable

from hostlink.practice.basic import Basic
from hostlink.practice.ops import Chore, Firmware, ReadLine, Send, Work
from hostlink.practice.settings import BoardSettings

_FLOOD = b"0123456789 AND SO ON WITHOUT END \r\n"


def main_loop(
    basic: Basic,
    settings: BoardSettings,
    on_line: Callable[[bytes], None],
    *,
    booting: bool,
    mute: bool,
) -> Firmware:
    """Run the board's firmware for ever.

    on_line: told each line that was taken at the prompt. booting: begin with the banner and with
    a stored program that starts by itself. mute: no firmware is there to run.
    """
    while mute:
        yield Work(Chore.STATEMENT, 1_000_000)
    if booting:
        yield Send(settings.reply_end + basic.banner() + settings.reply_end)
        start = basic.auto_start()
        if start is not None:
            yield from start
    prompt = settings.prompt
    while True:
        if settings.prompt_late_ms:
            yield Work(Chore.PROMPT)
        typed = yield ReadLine(prompt)
        prompt = settings.prompt
        if not isinstance(typed, bytes):
            continue
        on_line(typed)
        numbered = typed.lstrip(b" ")[:1].isdigit()
        if settings.line_done == "after-prompt" if numbered else settings.prompts_first:
            yield Send(prompt)
            prompt = b""
        yield from basic.enter(typed)


def flood() -> Firmware:
    """Send without end, as a board does whose program runs wild."""
    while True:
        yield Send(_FLOOD)
