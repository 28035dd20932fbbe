"""The port interface: the few members of a pyserial port that hostlink uses.

Rules:
1. One thread owns a port for its whole life; only that thread calls these members.
2. `timeout` is set once, when the port is opened; deadlines are kept by the clock.
3. Bytes that `write` has accepted need not have been sent yet.
4. Every call may raise `LinkError`, and no other library's error.
"""

from __future__ import annotations

from typing import Protocol, runtime_checkable


def is_far(name: str) -> bool:
    """Return whether a port is reached over a network, so that it cannot be unplugged here."""
    return name.startswith(("rfc2217:", "socket:"))


class Port(Protocol):
    """The members that hostlink needs of a serial port."""

    @property
    def in_waiting(self) -> int:
        """Return how many bytes `read` can return now (network ports may return 1 for "some")."""

    @property
    def timeout(self) -> float | None:
        """Return the longest time for which `read` blocks, in seconds."""

    @property
    def dtr(self) -> bool:
        """Return the state of the DTR line; setting it from False to True restarts most boards."""

    @dtr.setter
    def dtr(self, value: bool) -> None: ...

    def read(self, size: int = 1) -> bytes:
        """Return up to `size` bytes; fewer, or none, when `timeout` has passed."""

    def write(self, data: bytes) -> int | None:
        """Queue bytes for sending; return how many were accepted, None if unknown."""

    def reset_input_buffer(self) -> None:
        """Discard the bytes that were received and not read yet."""

    def close(self) -> None:
        """Close the port; closing twice is allowed."""


@runtime_checkable
class TunablePort(Protocol):
    """A port whose speed can be changed while it is open, as a survey needs."""

    @property
    def baudrate(self) -> int:
        """Return the speed of the host's side, in baud."""

    @baudrate.setter
    def baudrate(self, value: int) -> None: ...


@runtime_checkable
class SelfTimedPort(Protocol):
    """A port with a clock of its own (the practice board on a virtual clock).

    With `wait_until`, a quiet minute costs one call instead of thousands of polls.
    """

    def wait_until(self, moment: float) -> None:
        """Let time pass until `moment` (clock seconds), or until bytes can be read."""
