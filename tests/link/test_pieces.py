"""What a core concludes does not depend on how the bytes that it takes were cut."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from hostlink.link.attaching import Waking
from hostlink.link.pacing import Pacing
from hostlink.link.probe import Probe
from hostlink.link.running import Running
from hostlink.link.stopping import Stopping
from hostlink.link.typed import Typed

PACING = Pacing(prompt=b"> ", erase=b"\x08", interrupt=b"\x03", line_s=0.01)
SIZES = pytest.mark.parametrize("size", [1, 2, 3, 7, 1000])


class Given:
    """One answer, then none."""

    live = False

    def __init__(self) -> None:
        self._left = [b"5"]

    def take(self) -> bytes:
        """Return the answer; raise EOFError after it."""
        if not self._left:
            raise EOFError
        return self._left.pop()


BREAK = {b"\x03": b"\r\n12\r\n13\r\n> \r\nBREAK IN 20\r\n> "}
DIALOGUE = {b"RUN": b"RUN", b"RUN\r": b"\r\nNAME> HOW MANY? ", b"5": b"5", b"5\r": b"\r\nTEN\r\n> "}


def feed(core: Any, said: Mapping[bytes, bytes], size: int, pending: bytes = b"") -> None:
    """Run a core on a board that answers each line by `said`, its bytes in pieces of `size`."""
    now, line = 0.0, b""
    for _ in range(500):
        piece, pending = pending[:size], pending[size:]
        step = core.step(now, piece)
        if core.done:
            return
        line += step.write
        for typed in (line, step.write):
            if step.write and typed in said:
                pending += said[typed]
                break
        line = b"" if line.endswith(b"\r") else line
        now = now + 0.002 if pending else max(now + 0.002, step.wake or 0.0)
    raise AssertionError("it never ended")


@SIZES
def test_a_program_is_seen_to_stop_behind_whatever_it_still_prints(size: int) -> None:
    """A prompt inside the output counts as little in one piece as alone."""
    core = Stopping(PACING)
    feed(core, BREAK, size)
    assert (core.stopped, core.row) == (True, b">")


@SIZES
@pytest.mark.parametrize(
    ("said", "woke"), [(b"\xff\xf0\r\nBOARD 2\r\n> ", True), (b"\xff\xf0\r\nBOAR", False)]
)
def test_a_banner_is_heard_behind_rubbish(size: int, said: bytes, woke: bool) -> None:
    """As it comes at power-on; a part of it is none."""
    core = Waking(PACING, banner=b"BOARD 2", restart_s=0.5)
    feed(core, {}, size, said)
    assert (core.woke, bytes(core.heard)) == (woke, said)


@SIZES
def test_a_run_hears_and_answers_the_same(size: int) -> None:
    """Its echo, a prompt in the middle of a row, the question, the answer's row and the end."""
    heard = bytearray()
    core = Running(b"RUN", PACING, Given(), longest_s=30.0, most_bytes=4000, heard=heard.extend)
    feed(core, DIALOGUE, size)
    assert (core.end and core.end.value, core.repairs) == ("prompt", 0)
    assert bytes(heard) == b"\r\nNAME> HOW MANY? 5\r\nTEN\r\n> "


@SIZES
def test_a_probe_keeps_every_byte(size: int) -> None:
    """Also what comes behind the answer that was asked for."""
    core = Probe(b"PRINT 1\r", 0.001, quiet_s=0.1, longest_s=2.0)
    feed(core, {b"PRINT 1\r": b"PRINT 1\r\n1\r\n> rubbish"}, size)
    assert (core.heard, core.overdue) == (b"PRINT 1\r\n1\r\n> rubbish", False)


@SIZES
@pytest.mark.parametrize(("echo", "committed"), [(b"LIST", True), (b"LUST", False)])
def test_a_line_end_follows_only_the_right_echo(size: int, echo: bytes, committed: bool) -> None:
    """With one wrong byte in it the line is taken back."""
    core = Typed(b"LIST", PACING, attempts=1)
    feed(core, {b"LIST": echo}, size)
    assert core.committed is committed
