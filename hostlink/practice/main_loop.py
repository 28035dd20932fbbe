"""Run the outermost loop of the firmware: the banner, then one typed line after another.

This also decides where the prompt comes among the answers to a line, by the kind of board.
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
    """Run the firmware of the board forever.

    on_line: called with each line taken at the prompt. booting: begin with the banner and a stored
    program that starts by itself. mute: there is no firmware to run. prompted: the prompt was
    already shown.
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
    """Ask the start questions, greet, and run a program that starts by itself."""
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
    """Return the line that the board takes after too many erasures.

    last: the line before, None if nothing was typed since the restart.
    """
    while last is None:
        yield Work(Chore.STATEMENT, 1_000_000)
    if not last.lstrip(b" ")[:1].isdigit():
        return last
    basic.lose_program()
    return b""


def chore_seconds(settings: BoardSettings) -> dict[Chore, float]:
    """Return the time of each chore on this board in seconds."""
    return {
        Chore.STORE: settings.line_ms / 1000,
        Chore.DIRECT: settings.direct_ms / 1000,
        Chore.STATEMENT: max(settings.statement_ms / 1000, _SHORTEST_STATEMENT_S),
        Chore.LIST_LINE: settings.list_line_ms / 1000,
        Chore.EEPROM_BYTE: settings.eeprom_byte_ms / 1000,
        Chore.PROMPT: settings.prompt_late_ms / 1000,
        Chore.WAIT: 0.001,
    }


def flood() -> Firmware:
    """Send without end, like a board with a runaway program."""
    while True:
        yield Send(_FLOOD)
