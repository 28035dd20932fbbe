"""The outermost loop of the practice board's firmware: banner, then one typed line after another.

Where the prompt stands among what the board says of a line is its manner, and decided here.
"""

from __future__ import annotations

from collections.abc import Callable, Generator

from hostlink.practice.basic import Basic
from hostlink.practice.editor import Astray
from hostlink.practice.ops import Answer, Chore, Firmware, Op, ReadLine, Send, Work
from hostlink.practice.settings import BoardSettings

_SHORTEST_STATEMENT_S = 2e-5  # 320 cycles at 16 MHz; a loop of nothing would stop time at 0
_FLOOD = b"0123456789 AND SO ON WITHOUT END \r\n"


def main_loop(
    basic: Basic,
    on_line: Callable[[bytes], None],
    *,
    booting: bool,
    mute: bool,
    prompted: bool = False,
) -> Firmware:
    """Run the board's firmware for ever.

    on_line: told each line that was taken at the prompt. booting: begin with the banner and with
    a stored program that starts by itself. mute: no firmware is there to run. prompted: its prompt
    was shown long ago.
    """
    while mute:
        yield Work(Chore.STATEMENT, 1_000_000)
    yield from _start(basic, booting=booting)
    settings = basic.kind.settings
    prompt = b"" if prompted else settings.prompt
    last: bytes | None = None
    while True:
        if settings.prompt_late_ms:
            yield Work(Chore.PROMPT)
        typed = yield ReadLine(prompt)
        prompt = settings.prompt
        if not isinstance(typed, bytes):
            continue
        if isinstance(typed, Astray):
            typed = yield from _astray(basic, last)
        on_line(typed)
        numbered = typed.lstrip(b" ")[:1].isdigit()
        if settings.line_done == "after-prompt" if numbered else settings.prompts_first:
            yield Send(prompt)
            prompt = b""
        yield from basic.enter(typed)
        last = typed or last


def _start(basic: Basic, *, booting: bool) -> Firmware:
    """Ask what the board wants to know first, greet, and run what is to run by itself."""
    if not booting and basic.answered:
        return
    for question in basic.kind.messages.questions:
        answer: object = None
        while not isinstance(answer, bytes) or answer.strip().strip(b"0123456789"):
            answer = yield ReadLine(question.encode("latin-1"))
    basic.answered = True
    yield Send(basic.banner())
    start = basic.auto_start()
    if start is not None:
        yield from start


def _astray(basic: Basic, last: bytes | None) -> Generator[Op, Answer, bytes]:
    """A line end after too many erasures: return what the board takes for the typed line.

    last: the line before, None where nothing was typed since the restart.
    """
    while last is None:
        yield Work(Chore.STATEMENT, 1_000_000)
    if not last.lstrip(b" ")[:1].isdigit():
        return last
    basic.lose_program()
    return b""


def chore_seconds(settings: BoardSettings) -> dict[Chore, float]:
    """Return how long each chore takes on this board, in seconds."""
    return {
        Chore.STORE: settings.line_ms / 1000,
        Chore.DIRECT: settings.direct_ms / 1000,
        Chore.STATEMENT: max(settings.statement_ms / 1000, _SHORTEST_STATEMENT_S),
        Chore.LIST_LINE: settings.list_line_ms / 1000,
        Chore.EEPROM_BYTE: settings.eeprom_byte_ms / 1000,
        Chore.PROMPT: settings.prompt_late_ms / 1000,
    }


def flood() -> Firmware:
    """Send without end, as a board does whose program runs wild."""
    while True:
        yield Send(_FLOOD)
