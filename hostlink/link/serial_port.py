"""A pyserial port behind the port interface; foreign errors are translated here and only here.

Differences between systems and pyserial versions, and how they are handled:

- Avoiding a restart of the board, and a port that another program uses: hostlink.link.attaching.
- An unplugged bridge raises SerialException, OSError, termios.error or TypeError, depending on the
  call and the system. Once a port is open, each of them means that the port is gone.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import serial

from hostlink.errors import LinkError, LinkReason, UsageError
from hostlink.link.attaching import open_gently
from hostlink.link.port import is_far
from hostlink.open_port import READ_TIMEOUT_S, OpenPort, unplugged
from hostlink.sentences import CHECK_FAR, CLOSE_OTHER, PLUG_IN_AGAIN, THE_BOARD, no_port_address
from hostlink.words import capital, natural, nearest

WRITE_TIMEOUT_S = 10.0
_NO_SUCH_LINE = (errno.ENOTTY, errno.EINVAL)

_FOREIGN: tuple[type[BaseException], ...] = (OSError, TypeError, ValueError)
if sys.platform != "win32":
    import termios

    _FOREIGN += (termios.error,)


class SerialPort(OpenPort):
    """One open serial port (a device, `rfc2217://` or `socket://`)."""

    def __init__(self, name: str, baud: int) -> None:
        """Open port `name` at `baud`, 8N1.

        Raises LinkError if it cannot be opened, UsageError for an invalid address or speed.
        """
        super().__init__(name)
        try:
            self._serial: Any = _open(name, baud)
        except _FOREIGN as error:
            raise _opening_error(name, error) from error

    @property
    def in_waiting(self) -> int:
        """Return how many received bytes can be read without waiting."""
        with self._translated():
            return int(self._serial.in_waiting)

    @property
    def dtr(self) -> bool:
        """Return the state of the DTR line; switching it on restarts most boards."""
        with self._translated():
            return bool(self._serial.dtr)

    @dtr.setter
    def dtr(self, value: bool) -> None:
        with self._translated():
            try:
                self._serial.dtr = value
            except OSError as error:
                if error.errno not in _NO_SUCH_LINE:  # a pseudo-terminal has no DTR
                    raise

    @property
    def baudrate(self) -> int:
        """Return the speed of the host's side, in baud."""
        with self._translated():
            return int(self._serial.baudrate)

    @baudrate.setter
    def baudrate(self, value: int) -> None:
        with self._translated():
            self._serial.baudrate = value

    def read(self, size: int = 1) -> bytes:
        """Return up to `size` bytes; fewer, or none, when the timeout has passed."""
        with self._translated():
            return bytes(self._serial.read(size))

    def write(self, data: bytes) -> int | None:
        """Hand bytes to the system for sending; return how many it took, None if unknown."""
        with self._translated():
            written = self._serial.write(data)
            return None if written is None else int(written)

    def reset_input_buffer(self) -> None:
        """Discard the bytes that were received and not read yet."""
        with self._translated():
            self._serial.reset_input_buffer()

    def _release(self) -> None:
        """Close the device or connection without waiting for unsent bytes."""
        if "://" not in self.name:  # a dead network port would wait 3 s for the far end's reply
            with contextlib.suppress(*_FOREIGN):
                self._serial.reset_output_buffer()  # else close may wait for unsent bytes
        with contextlib.suppress(*_FOREIGN):
            self._serial.close()

    @contextlib.contextmanager
    def _translated(self) -> Iterator[None]:
        """Raise LinkError for a foreign error: the open port is gone, or accepts no bytes."""
        self._check_open()
        try:
            yield
        except serial.SerialTimeoutException as error:
            raise LinkError(
                f"{capital(_thing(self.name))} takes nothing: the port {self.name} did not take "
                f"the bytes for {WRITE_TIMEOUT_S:.0f} seconds.",
                reason=LinkReason.SILENT,
                advice=f"Unplug the board. {PLUG_IN_AGAIN}.",
            ) from error
        except _FOREIGN as error:
            if is_far(self.name):
                raise LinkError(
                    f"The connection to {self.name} ended while it was in use.",
                    reason=LinkReason.GONE,
                    advice=f"{CHECK_FAR}, then try again.",
                ) from error
            raise unplugged(
                f"{capital(_thing(self.name))} went away (unplugged?): the port {self.name} "
                "vanished while it was in use"
            ) from error


def _open(name: str, baud: int) -> Any:
    is_url = "://" in name
    options: dict[str, Any] = {"baudrate": baud, "timeout": READ_TIMEOUT_S}
    if not is_url:
        options["write_timeout"] = WRITE_TIMEOUT_S
        if sys.platform != "win32":
            options["exclusive"] = True
    return open_gently(serial.serial_for_url, name, options)


def _opening_error(name: str, error: BaseException) -> LinkError | UsageError:
    """Return the error for a failed opening, chosen by errno and, on Windows, by the message."""
    number = getattr(error, "errno", None)
    text = str(error)
    if isinstance(error, ValueError):
        return _wrong_use(name, text)
    if number == errno.ENOENT or "FileNotFoundError" in text:
        near = nearest(name, _usb_devices())
        hint = f"Did you mean {' or '.join(near)}? If not, plug it in" if near else "Plug it in"
        return LinkError(
            f"{capital(_thing(name))} is not here: there is no port {name}.",
            reason=LinkReason.NOT_FOUND,
            advice=lambda by: f"{hint} and list the ports {by.ports}.",
        )
    if number in (errno.EACCES, errno.EPERM):
        return LinkError(
            f"{capital(_thing(name))} is here, but you are not permitted to open {name}.",
            reason=LinkReason.NOT_PERMITTED,
            advice=permission_advice(name),
        )
    busy = number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in text
    if busy or "exclusively lock" in text:
        return LinkError(
            f"{capital(_thing(name))} is in use: another program has the port {name} open.",
            reason=LinkReason.BUSY,
            kept="Nothing was sent.",
            advice=CLOSE_OTHER,
        )
    if "://" in name:
        return LinkError(
            f"The remote computer at {name} cannot be reached: {text.rpartition('] ')[2]}.",
            reason=LinkReason.UNKNOWN,
            advice="Check the address, that the remote computer is on, and that it serves the "
            "board at this port number.",
        )
    return LinkError(
        f"The port {name} cannot be opened: {os.strerror(number) if number else text}.",
        reason=LinkReason.UNKNOWN,
        advice=lambda by: f"List the ports {by.ports}.",
    )


def _wrong_use(name: str, why: str) -> UsageError:
    """Return the error for a speed or an address that no port accepts."""
    if "baud" in why:
        return UsageError(
            f"{name} does not take this speed: {why}.",
            advice=lambda by: f"Choose another speed {by.name_speed}.",
        )
    return not_an_address(name, f"{no_port_address(name)}: {why}")


def not_an_address(name: str, what: str) -> UsageError:
    """Return the error for an address that no port has. what: says so, in a clause."""
    near = nearest(name.partition("://")[0], ("practice", "rfc2217", "socket"), 1)
    hint = f"Did you mean {near[0]}://? " if near else ""
    return UsageError(
        f"{what}.",
        advice=lambda by: (
            f"{hint}A port is a device's name, practice://, rfc2217://HOST:PORT or "
            f"socket://HOST:PORT; list what is plugged in {by.ports}."
        ),
    )


def _thing(name: str) -> str:
    """Return how a message calls what is at a port."""
    return "the remote computer" if "://" in name else THE_BOARD


def _usb_devices() -> list[str]:
    """Return the ports of this computer that have a USB bridge, by name."""
    from serial.tools.list_ports import comports  # slow to load; only faults need it

    found = (str(info.device) for info in comports() if info.vid is not None)
    return sorted(found, key=natural)


def permission_advice(name: str) -> str:
    """Return advice on gaining access to a device: the group to join, if joining one helps."""
    ask = "Ask the administrator of this computer for access to serial ports."
    if sys.platform == "win32":
        return ask
    both = stat.S_IRGRP | stat.S_IWGRP
    try:
        group, state = Path(name).group(), Path(name).stat()
    except (OSError, KeyError):
        return ask
    is_member = state.st_gid in (os.getegid(), *os.getgroups())
    if group == "root" or is_member or state.st_mode & both != both:
        return ask
    return (
        f"The port belongs to the group {group}: run `sudo usermod -aG {group} $USER`, then log "
        "out and in again."
    )
