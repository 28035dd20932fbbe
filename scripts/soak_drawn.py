"""What a virtual job is drawn from by its seed: a listing, a plain board, its faults, its profile.

soak_boards.py puts the manner of a kind of board, or a wrong value, over what is drawn here.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from typing import Any

from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.practice.faults import Faults
from hostlink.practice.settings import BoardSettings

RATES = (0.001, 0.002, 0.005, 0.01, 0.02)
FAULTS = (
    "none",
    *(f"damage {rate:.1%}" for rate in RATES),
    "stalls",
    "restart",
    "unplugged",
    "flood",
    "mixture",
)
_WORDS = ("TIDE", "LAMP", "BUOY", "NEW", "RUN", "STOP", "LIST")


def a_line(choose: random.Random, lines: int) -> str:
    """The text of a line; most do something if their number is lost on the way."""
    target = 10 * choose.randrange(1, lines + 1)
    return choose.choice(
        [
            f'PRINT "{" ".join(choose.choice(_WORDS) for _ in range(choose.randrange(1, 5)))}"',
            f"LET A=B+{choose.randrange(999)}",
            f"REM {choose.choice(_WORDS)}",
            f"IF A<{choose.randrange(99)} GOTO {target}",
            f"GOTO {target}",
            "GOSUB 10",
            "FOR I=1 TO 9",
            "INPUT A",
            "NEW",
            "RUN",
            "LIST",
        ]
    )


def a_program(choose: random.Random, lines: int) -> str:
    """A listing that no other job has; its first line tells them apart."""
    first = f"10 REM {choose.getrandbits(40)}\n"
    return first + "".join(f"{10 * n} {a_line(choose, lines)}\n" for n in range(2, lines + 1))


def a_board(choose: random.Random) -> BoardSettings:
    """A board with its speed, buffer and times, and nothing odd about it."""
    board = BoardSettings(
        baud=choose.choice([2400, 9600, 57600, 115200]),
        receive_buffer=choose.choice([0, 2, 16, 63]),
        latency_ms=choose.choice([1, 16]),
        line_ms=choose.choice([2, 15]),
        line_done=choose.choice(["echo", "prompt", "prompt", "after-prompt"]),
        echo=choose.random() > 0.1,
        program_bytes=3000,
    )
    if not board.echo and board.line_done == "echo":
        return replace(board, line_done="prompt")
    return board


def some_faults(choose: random.Random, kind: str) -> Faults:
    """The faults of a kind; all but clean and damaged wires carry a little damage as well."""
    seed, rate = choose.getrandbits(32), choose.choice([0.0, 0.001])
    stalls = {
        "stall_every_bytes": choose.choice([37, 111, 333]),
        "stall_s": choose.choice([0.02, 0.2, 1.0, 3.0]),
    }
    if kind == "none":
        return Faults(seed)
    if kind.startswith("damage"):
        rate = float(kind.split()[1].rstrip("%")) / 100
        return Faults(seed, rate, rate)
    if kind == "stalls":
        return Faults(seed, rate, rate, **stalls)
    if kind == "restart":
        return Faults(seed, rate, rate, restart_after_bytes=choose.randrange(1, 900))
    if kind == "unplugged":
        return Faults(seed, rate, rate, unplug_after_bytes=choose.randrange(1, 900))
    if kind == "flood":
        return Faults(seed, rate, rate, flood_after_bytes=choose.randrange(1, 300))
    more: dict[str, Any] = stalls if choose.random() < 0.6 else {}
    last = choose.choice(["restart_after_bytes", "unplug_after_bytes", "flood_after_bytes", ""])
    if last:
        more[last] = choose.randrange(1, 1500)
    return Faults(seed, choose.choice([0, *RATES]), choose.choice([0, *RATES]), **more)


@dataclass(frozen=True, slots=True)
class Knowledge:
    """How much a profile knows: the two editing keys, and the question for the free memory."""

    cancel: bool
    erase: bool
    asks: bool


def some_knowledge(choose: random.Random) -> Knowledge:
    """What a profile knows; some know less than others."""
    keys = choose.choice(["both", "cancel", "erase", "none"])
    asks = choose.choice([True, False])
    return Knowledge(keys in ("both", "cancel"), keys in ("both", "erase"), asks)


def fitting_profile(board: BoardSettings, known: Knowledge) -> Profile:
    """What a profile would rightly say of a practice board, from what the board is."""
    profile = find_profile("practice")
    ready_ms = board.line_ms + board.prompt_late_ms  # until the next line may come
    # A board that prompts late is busy again after the echo of the line end, so only its prompt
    # confirms. One that works or waits inside a line holds no more than its buffer meanwhile.
    late = board.prompt_late_ms > 0 and board.line_done == "echo"
    busy = board.char_ms > 0 or board.wrap_ms > 0 or not board.transmit_buffer
    talk = replace(
        profile.talk,
        baud=board.baud,
        echo=board.echo,
        line_done="prompt" if late else board.line_done,
        after_prompt_ms=ready_ms + 2 if board.line_done == "after-prompt" else 0,
        receive_buffer=board.receive_buffer,
        line_ms=ready_ms,
        char_ms=board.char_ms,
        line_window=max(1, board.receive_buffer) if busy and board.echo else 0,
        line_cancel=board.line_cancel if known.cancel else b"",
        erase=board.erase if known.erase else b"",
        restarts_on_open=board.restarts_on_open,
        page_prompt=board.page_prompt.decode() if board.page_lines else "",
        page_key=b" " if board.page_lines else b"",
    )
    question = profile.commands.free_memory if known.asks else ""
    form = replace(profile.rules.form, case="upper" if board.fold_case else "kept")
    storage = replace(profile.rules.storage, program_bytes=board.program_bytes)
    return replace(
        profile,
        talk=talk,
        commands=replace(profile.commands, free_memory=question),
        rules=replace(profile.rules, form=form, storage=storage),
    )
