"""One contract for every kind of port: practice, real time and virtual, pseudo-terminal, network.

Each kind has something at its far end that sends back what it hears: the practice board's echo, or
a small server. The same behaviours hold over all of them.
"""

from __future__ import annotations

import contextlib
import gc
import os
import socket
import sys
import threading
import time
import types
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import serial
import serial.rfc2217
import serial.urlhandler.protocol_socket

from hostlink.errors import LinkError, LinkReason
from hostlink.link.clock import Clock, RealClock, VirtualClock
from hostlink.link.port import Port, SelfTimedPort
from hostlink.link.serial_port import SerialPort
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

# pyserial 3.5 starts its network reader by a call that Python has deprecated.
pytestmark = pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")

LONGEST_S = 60.0  # far more than any of these needs, on a busy computer too; a bound, not a wait
FAST = BoardSettings(baud=1_000_000, latency_ms=0.0, prompt=b"")


class End:
    """One port under test with its clock."""

    def __init__(self, port: Port, clock: Clock) -> None:
        self.port = port
        self.clock = clock

    def wait(self) -> None:
        """Let a little time pass, or wait until bytes are there."""
        if isinstance(self.port, SelfTimedPort):
            self.port.wait_until(self.clock.now() + 0.05)
        else:
            self.clock.sleep(0.001)

    def fetch(self, size: int) -> bytes:
        """Read until that many bytes are there."""
        got = b""
        until = self.clock.now() + LONGEST_S
        while len(got) < size and self.clock.now() < until:
            got += self.port.read(size - len(got))
        return got

    def until_waiting(self) -> int:
        """Wait for bytes; how many `in_waiting` tells."""
        until = self.clock.now() + LONGEST_S
        while not self.port.in_waiting and self.clock.now() < until:
            self.wait()
        return self.port.in_waiting


@contextlib.contextmanager
def virtual_practice() -> Iterator[End]:
    clock = VirtualClock()
    yield End(PracticePort(Machine(FAST), clock, jump=clock.advance_to), clock)


@contextlib.contextmanager
def real_practice() -> Iterator[End]:
    clock = RealClock()
    yield End(PracticePort(Machine(FAST), clock), clock)


@contextlib.contextmanager
def pseudo_terminal() -> Iterator[End]:
    import pty
    import tty

    far, near = pty.openpty()
    tty.setraw(near)
    echo = threading.Thread(target=_send_back, args=(far,), daemon=True)
    echo.start()
    port = SerialPort(os.ttyname(near), 9600)
    try:
        yield End(port, RealClock())
    finally:
        port.close()
        os.close(near)  # the far end sees the end of the line, and the thread ends
        echo.join(LONGEST_S)
        os.close(far)
    assert not echo.is_alive()


def _send_back(descriptor: int) -> None:
    with contextlib.suppress(OSError):
        while data := os.read(descriptor, 256):
            os.write(descriptor, data)


@contextlib.contextmanager
def loop() -> Iterator[End]:
    yield End(SerialPort("loop://", 9600), RealClock())


@contextlib.contextmanager
def _server(serve: Callable[[socket.socket], None]) -> Iterator[int]:
    """A server on this computer for one caller; its port number."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.settimeout(LONGEST_S)

        def answer() -> None:
            caller, _ = listener.accept()
            caller.settimeout(LONGEST_S)
            with caller, contextlib.suppress(OSError):
                serve(caller)

        thread = threading.Thread(target=answer, daemon=True)
        thread.start()
        yield listener.getsockname()[1]
        thread.join(LONGEST_S)
        assert not thread.is_alive()


@contextlib.contextmanager
def network_socket() -> Iterator[End]:
    def serve(caller: socket.socket) -> None:
        while data := caller.recv(256):
            caller.sendall(data)

    with _server(serve) as number:
        port = SerialPort(f"socket://127.0.0.1:{number}", 9600)
        try:
            yield End(port, RealClock())
        finally:
            port.close()


class _Caller:
    """What the protocol's server side asks of a connection."""

    def __init__(self, caller: socket.socket) -> None:
        self.write = caller.sendall


@contextlib.contextmanager
def network_port() -> Iterator[End]:
    def serve(caller: socket.socket) -> None:
        with serial.serial_for_url("loop://", timeout=0) as far:
            manager = serial.rfc2217.PortManager(far, _Caller(caller))
            while data := caller.recv(256):
                far.write(b"".join(manager.filter(data)))
                caller.sendall(b"".join(manager.escape(far.read(far.in_waiting))))

    with _server(serve) as number:
        port = SerialPort(f"rfc2217://127.0.0.1:{number}", 9600)
        try:
            yield End(port, RealClock())
        finally:
            port.close()


KINDS: list[Any] = [
    pytest.param(virtual_practice, id="practice-virtual"),
    pytest.param(real_practice, id="practice-real"),
    pytest.param(
        pseudo_terminal,
        id="pseudo-terminal",
        marks=pytest.mark.skipif(os.name != "posix", reason="no pseudo-terminals here"),
    ),
    pytest.param(loop, id="loop"),
    pytest.param(network_socket, id="socket"),
    pytest.param(network_port, id="rfc2217"),
]


@pytest.fixture(autouse=True)
def _brisk(monkeypatch: pytest.MonkeyPatch) -> None:
    """pyserial waits 0.3 s at each close of a network port; here nobody connects again."""

    def nap(seconds: float) -> None:
        time.sleep(min(seconds, 0.002))

    for module in (serial.rfc2217, serial.urlhandler.protocol_socket):
        monkeypatch.setattr(module, "time", types.SimpleNamespace(sleep=nap))


@pytest.fixture(params=KINDS)
def end(request: pytest.FixtureRequest) -> Iterator[End]:
    """One port of each kind, nothing waiting in it."""
    with request.param() as made:
        yield made


def test_what_is_written_comes_back(end: End) -> None:
    """Bytes reach the far end in order and whole, and so does the answer."""
    text = b"10 PRINT 1"
    assert end.port.write(text) in (len(text), None)
    assert end.fetch(len(text)) == text


def test_read_gives_up_after_the_timeout(end: End) -> None:
    """A silent line costs one read its timeout: exactly that, where time is virtual."""
    assert end.port.timeout is not None
    assert end.port.timeout <= 0.1
    began = end.clock.now()
    assert end.port.read(1) == b""
    took = end.clock.now() - began
    assert took == pytest.approx(end.port.timeout) if isinstance(end.clock, VirtualClock) else took


def test_in_waiting_tells_that_bytes_are_there(end: End) -> None:
    """It is 0 while nothing came, above 0 once bytes can be read, and 0 again afterwards."""
    assert end.port.in_waiting == 0
    end.port.write(b"A")
    assert end.until_waiting() >= 1
    assert end.port.read(1) == b"A"
    assert end.port.in_waiting == 0


def test_read_gives_no_more_than_asked_for(end: End) -> None:
    """The rest stays for the next read."""
    end.port.write(b"AB")
    assert end.fetch(1) == b"A"
    assert end.fetch(1) == b"B"


def test_reset_forgets_what_came_in(end: End) -> None:
    """What was waiting is gone, and the port goes on working."""
    end.port.write(b"O")
    assert end.until_waiting()
    end.port.reset_input_buffer()
    assert end.port.in_waiting == 0
    end.port.write(b"N")
    assert end.fetch(1) == b"N"


def test_dtr_can_be_set(end: End) -> None:
    """Setting the line either way does not fail, even where there is none; the port goes on."""
    end.port.dtr = True
    end.port.dtr = False
    end.port.dtr = False
    end.port.write(b"A")
    assert end.fetch(1) == b"A"


def test_dtr_reads_as_it_was_set(end: End) -> None:
    """The port remembers the line's state."""
    end.port.dtr = False
    assert end.port.dtr is False


def test_closing_twice_is_allowed(end: End) -> None:
    """The second close does nothing."""
    end.port.close()
    end.port.close()


CALLS: list[Any] = [
    pytest.param(lambda port: port.read(1), id="read"),
    pytest.param(lambda port: port.write(b"A"), id="write"),
    pytest.param(lambda port: port.in_waiting, id="in_waiting"),
    pytest.param(lambda port: port.dtr, id="dtr"),
    pytest.param(lambda port: setattr(port, "dtr", True), id="set-dtr"),
    pytest.param(lambda port: port.reset_input_buffer(), id="reset"),
    pytest.param(lambda port: port.baudrate, id="baudrate"),
    pytest.param(lambda port: setattr(port, "baudrate", 1200), id="set-baudrate"),
]


@pytest.mark.parametrize("call", CALLS)
def test_a_closed_port_says_so(end: End, call: Callable[[Any], object]) -> None:
    """Every call after close raises LinkError, and nothing else."""
    end.port.close()
    with pytest.raises(LinkError, match=r"^The port .+ is closed") as caught:
        call(end.port)
    assert caught.value.reason is LinkReason.GONE


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="how a pty ends differs")
@pytest.mark.parametrize("call", [CALLS[0], CALLS[1], CALLS[2], CALLS[5]])
def test_a_far_end_that_vanishes_is_told(call: Callable[[Port], object]) -> None:
    """When the far end of a terminal is gone each call raises LinkError, and close still works."""
    import pty
    import tty

    far, near = pty.openpty()
    tty.setraw(near)
    port = SerialPort(os.ttyname(near), 9600)
    os.close(near)
    os.close(far)
    try:
        with pytest.raises(LinkError, match="vanished") as caught:
            call(port)
        assert caught.value.reason is LinkReason.GONE
    finally:
        port.close()


def test_a_network_far_end_that_hangs_up_is_told() -> None:
    """A connection that ends is a LinkError within a few reads, not silence for ever."""

    def serve(caller: socket.socket) -> None:
        caller.recv(1)

    with _server(serve) as number:
        port = SerialPort(f"socket://127.0.0.1:{number}", 9600)
        port.write(b"A")
        with pytest.raises(LinkError, match=r"^The connection to socket://.* ended") as caught:
            for _ in range(100):
                port.read(1)
        assert caught.value.reason is LinkReason.GONE
        assert "lug" not in str(caught.value)  # nothing here can be plugged in again
        port.close()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_network_port_that_hangs_up_raises_nothing_foreign(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """After the far end of an RFC 2217 port is gone, calls answer or raise LinkError, and closing
    does not wait for it. (pyserial 3.5 then leaves its dead socket to the garbage collector.)"""

    def serve(caller: socket.socket) -> None:
        with serial.serial_for_url("loop://", timeout=0) as far:
            manager = serial.rfc2217.PortManager(far, _Caller(caller))
            while b"\x04" not in b"".join(manager.filter(caller.recv(256))):
                pass

    with _server(serve) as number:
        port = SerialPort(f"rfc2217://127.0.0.1:{number}", 9600)
        port.write(b"\x04")
        with pytest.raises(LinkError) as caught:  # reading notices it
            for _ in range(100):
                port.read(1)
        assert caught.value.reason is LinkReason.GONE
        for call in (CALLS[0], CALLS[1], CALLS[2], CALLS[3]):
            with contextlib.suppress(LinkError):
                call.values[0](port)
        # The far end would be asked to forget what it has, and is waited for.
        monkeypatch.setattr(port._serial, "rfc2217_send_purge", lambda _: pytest.fail("it waits"))
        port.close()
    del port
    gc.collect()


def test_dtr_reaches_the_far_end_of_a_network_port() -> None:
    """Taking DTR down and up over the network is seen at the far end: a restart from afar."""
    seen: list[bool] = []
    done = threading.Event()

    def serve(caller: socket.socket) -> None:
        with serial.serial_for_url("loop://", timeout=0) as far:
            manager = serial.rfc2217.PortManager(far, _Caller(caller))
            while data := caller.recv(256):
                far.write(b"".join(manager.filter(data)))
                seen.append(far.dtr)
                if seen[-2:] == [False, True]:
                    done.set()

    with _server(serve) as number:
        port = SerialPort(f"rfc2217://127.0.0.1:{number}", 9600)
        port.dtr = False
        port.dtr = True
        assert done.wait(LONGEST_S)
        port.close()
