"""The real bwbasic interpreter as a board at the other end of a serial port.

Two pseudo-terminals are joined by a small bridge: the interpreter sits on a terminal of its own,
whose echo, line editing and interrupt key are the system's, and the host opens the other one as
a serial port. Nothing is imitated. `python tests/board/foreign_board.py` prints the name of
the port and serves until it is interrupted.

The interpreter hands any direct line that it does not know to the system's shell. It therefore
runs in an empty folder and with a search path on which no command is found.
"""

from __future__ import annotations

import contextlib
import os
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import tty
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

PROGRAM = "bwbasic"
_CLOSED_S = 0.02
EXAMPLES = Path("/usr/share/doc/bwbasic/examples")
PROFILE = Path(__file__).parent / "files" / "bwbasic.toml"

# A session of its own does not yet own its terminal: without that the interrupt key does nothing.
_TAKE_TERMINAL = (
    "import fcntl, os, sys, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); "
    "os.execv(sys.argv[1], sys.argv[1:])"
)


@dataclass(frozen=True, slots=True)
class ForeignBoard:
    """port: the name to open. folder: the interpreter's working folder."""

    port: str
    folder: Path


@contextlib.contextmanager
def foreign_board() -> Iterator[ForeignBoard]:
    """Run the interpreter behind a port until the block ends. POSIX only.

    Raises FileNotFoundError where it is not installed.
    """
    path = shutil.which(PROGRAM)
    if path is None:
        raise FileNotFoundError(f"the program {PROGRAM} is not installed")
    with contextlib.ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="foreign-board-")))
        host, host_port = os.openpty()
        stack.callback(os.close, host)
        port = os.ttyname(host_port)
        tty.setraw(host_port)  # bytes as they are, even before the host has opened it
        os.close(host_port)  # whoever holds a port open counts as the program that uses it
        board, board_port = os.openpty()
        stack.callback(os.close, board)
        stack.callback(os.close, board_port)
        stop_reading, stop = os.pipe()
        stack.callback(os.close, stop_reading)
        stack.callback(os.close, stop)
        process = subprocess.Popen(
            [sys.executable, "-c", _TAKE_TERMINAL, path],
            stdin=board_port,
            stdout=board_port,
            stderr=board_port,
            cwd=folder,
            env={"PATH": str(folder), "TERM": "dumb"},
            start_new_session=True,
        )
        stack.callback(_end, process)
        bridge = threading.Thread(target=_bridge, args=(host, board, stop_reading), daemon=True)
        bridge.start()
        stack.callback(bridge.join)
        stack.callback(os.write, stop, b"x")
        yield ForeignBoard(port, folder)


def _bridge(host: int, board: int, stop: int) -> None:
    """Carry bytes both ways until told to stop."""
    other = {host: board, board: host}
    while True:
        ready = select.select([host, board, stop], [], [])[0]
        if stop in ready:
            return
        for end in ready:
            try:
                data = os.read(end, 4096)
            except OSError:  # nobody has the host's port open; look again in a moment
                select.select([stop], [], [], _CLOSED_S)
            else:
                os.write(other[end], data)


def _end(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()


def main() -> int:
    """Serve one board until interrupted."""
    # A shell that starts it in the background has the interrupt ignored; it is how this ends.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with foreign_board() as board:
            print(board.port, flush=True)
            print("Interrupt to end.", file=sys.stderr)
            threading.Event().wait()
    except FileNotFoundError as error:
        print(error, file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        pass
    return 0


if __name__ == "__main__":
    sys.exit(main())
