"""The port seam: the few members of a pyserial port that hostlink uses, and nothing more.

Rules of the seam:
1. One thread owns a port for its whole life; only it calls these members.
2. `timeout` is set once, when the port is opened; deadlines belong to the clock.
3. `write` accepting bytes does not mean that they were sent.
4. Every call may raise `LinkError`; no foreign error passes the seam.
"""

from __future__ import annotations

from typing import Protocol, runtime_checkable


class Port(Protocol):
    """What hostlink asks of a serial port."""

    @property
    def in_waiting(self) -> int:
        """Bytes that `read` would return at once (network ports may say 1 for "some")."""

    @property
    def timeout(self) -> float | None:
        """Longest time that `read` blocks, in seconds."""

    @property
    def dtr(self) -> bool:
        """The DTR line; going from False to True restarts most boards."""

    @dtr.setter
    def dtr(self, value: bool) -> None: ...

    def read(self, size: int = 1) -> bytes:
        """Up to `size` bytes; fewer, or none, when `timeout` has passed."""

    def write(self, data: bytes) -> int | None:
        """Hand bytes over for sending."""

    def reset_input_buffer(self) -> None:
        """Forget what came in and was not read yet."""

    def close(self) -> None:
        """Give the port back; closing twice is allowed."""


@runtime_checkable
class TunablePort(Protocol):
    """A port whose speed can be changed while it is open, as a survey needs."""

    @property
    def baudrate(self) -> int:
        """The speed of the host's side, in baud."""

    @baudrate.setter
    def baudrate(self, value: int) -> None: ...


@runtime_checkable
class SelfTimedPort(Protocol):
    """A port that brings its own clock along (the practice board on a virtual clock).

    `wait_until` lets time pass until `moment` (clock seconds) or until bytes can be read,
    whichever comes first, so that a quiet minute costs one call.
    """

    def wait_until(self, moment: float) -> None:
        """Let time pass until `moment` (clock seconds), or until bytes can be read."""
