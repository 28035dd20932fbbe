"""Recordings of the wire: any bytes, written and read back exactly, and played as a board."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from recordings import read_recording

from hostlink.cli.entry import run_line
from hostlink.errors import HostlinkError
from hostlink.link.clock import VirtualClock
from hostlink.link.exchange import Exchange
from hostlink.link.recording import Burst, Recorder, row
from hostlink.link.sender import Sender
from hostlink.link.typed import Outcome
from hostlink.link.wire import Wire

BURSTS = st.lists(
    st.builds(
        Burst,
        at_ms=st.floats(0, 1e9, allow_nan=False).map(lambda at: round(at, 1)),
        side=st.sampled_from(["host", "board"]),
        data=st.binary(max_size=60),
    ),
    max_size=20,
)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(bursts=BURSTS)
def test_any_bytes_are_read_back_exactly(bursts: list[Burst]) -> None:
    """What was written as rows is read back as the same bursts."""
    text = "".join(row(burst) for burst in bursts)
    assert list(read_recording(text)) == bursts


@settings(deadline=None, derandomize=True)
@given(data=st.binary(max_size=200))
def test_a_row_is_one_printable_line(data: bytes) -> None:
    """Whatever the board sent, a row holds no control character but its own end."""
    text = row(Burst(1.0, "board", data))
    assert text.endswith("\n")
    assert text[:-1].isascii()
    assert text[:-1].isprintable()


def test_a_row_reads_as_documented() -> None:
    """Milliseconds, two blanks, who, two blanks, the text between quotes with JSON's escapes."""
    assert row(Burst(12.34, "host", b'PRINT "A"\r')) == '12.3  host  "PRINT \\"A\\"\\r"\n'
    assert row(Burst(0, "board", b"\xff\x00")) == '0.0  board  "\\u00ff\\u0000"\n'
    assert json.loads('"\\u00ff"') == "\u00ff"  # RFC 8259, section 7


def test_a_recording_counts_from_its_first_burst(tmp_path: Path) -> None:
    """The clock's origin means nothing: the first burst is at 0 ms."""
    recorder = Recorder(tmp_path / "wire.txt")
    recorder.note(5000.0, "host", b"A")
    recorder.note(5000.25, "board", b"B")
    recorder.close()
    bursts = list(read_recording((tmp_path / "wire.txt").read_text()))
    assert bursts == [Burst(0.0, "host", b"A"), Burst(250.0, "board", b"B")]


def test_a_recording_is_complete_while_it_is_written(tmp_path: Path) -> None:
    """Each burst is in the file at once, so that a crash loses none of it."""
    recorder = Recorder(tmp_path / "wire.txt")
    recorder.note(0.0, "host", b"A")
    assert (tmp_path / "wire.txt").read_text() == '0.0  host  "A"\n'
    recorder.close()


def test_a_recording_that_cannot_be_begun_is_told(tmp_path: Path) -> None:
    """A folder that is not there: one sentence, before anything was sent."""
    with pytest.raises(HostlinkError, match="cannot be written") as caught:
        Recorder(tmp_path / "nowhere" / "wire.txt")
    assert caught.value.kept


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no full device here")  # noqa: PTH110
def test_a_full_disk_is_told_and_the_port_is_closed_all_the_same(
    script: Any,
) -> None:
    """Running out of space in mid-recording is a clear error; closing still gives the port back."""
    clock = VirtualClock()
    closed: list[bool] = []
    port = script(None, clock)
    port.close = lambda: closed.append(True)
    wire = Wire(port, clock, recorder=Recorder(Path("/dev/full")))
    with pytest.raises(HostlinkError, match="any further"):
        wire.write(b"A")
    assert bytes(port.written) == b""
    wire.close()
    assert closed == [True]


# --- played as a board ---------------------------------------------------------------------------


@pytest.fixture
def recorded(
    bench: Callable[..., Any], pacing_for: Callable[..., Any], tmp_path: Path
) -> tuple[list[Burst], Any]:
    """A load of some lines and a listing, recorded on the practice board, and their pacing."""
    board = bench(baud=9600)
    board.wire.recorder = Recorder(tmp_path / "wire.txt")
    pacing = pacing_for(board.machine.settings)
    board.run(Sender([b"10 PRINT 1", b"20 END"], pacing))
    board.run(Exchange(b"LIST", pacing))
    board.wire.recorder.close()
    return list(read_recording((tmp_path / "wire.txt").read_text())), pacing


def test_a_recording_played_as_a_board_gives_the_same_result(
    recorded: tuple[list[Burst], Any], replay: Any, run_on: Callable[..., Any]
) -> None:
    """The host sends exactly what it sent then, and gets the same answers."""
    bursts, pacing = recorded
    clock = VirtualClock()
    port = replay(bursts, clock)
    sender = run_on(port, clock, Sender([b"10 PRINT 1", b"20 END"], pacing))
    listed = run_on(port, clock, Exchange(b"LIST", pacing))
    assert sender.confirmed == 2
    assert listed.outcome is Outcome.ANSWERED
    assert listed.answer == b"\r\n10 PRINT 1\r\n20 END\r\n+ "
    assert port.finished


def test_a_host_that_sends_something_else_is_caught(
    recorded: tuple[list[Burst], Any], replay: Any, run_on: Callable[..., Any]
) -> None:
    """The replay checks what the host sends: another listing does not pass."""
    bursts, pacing = recorded
    clock = VirtualClock()
    with pytest.raises(AssertionError, match="the recording has"):
        run_on(replay(bursts, clock), clock, Sender([b"10 PRINT 2"], pacing))


def test_the_record_option_writes_a_readable_recording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`hostlink load FILE --record FILE`: the whole wire of the load, as rows that read back."""
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    (tmp_path / "tide.bas").write_text("10 PRINT 1\n20 END\n", encoding="utf-8")
    wire = tmp_path / "wire.txt"
    options = ["--port", "practice://red?time=virtual", "--record", str(wire)]
    assert run_line(["load", str(tmp_path / "tide.bas"), *options]) == 0
    bursts = list(read_recording(wire.read_text(encoding="ascii")))
    host = b"".join(burst.data for burst in bursts if burst.side == "host")
    board = b"".join(burst.data for burst in bursts if burst.side == "board")
    assert b"10 PRINT 1\r20 END\r" in host
    assert b"10 PRINT 1\r\n+ 20 END\r\n+ " in board
    assert [burst.at_ms for burst in bursts] == sorted(burst.at_ms for burst in bursts)
