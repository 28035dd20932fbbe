"""Notice when the app's terminal is closed, and resume properly after the process was stopped.

A terminal that is closed sends SIGHUP, but only to the session that it controls. Without that
signal Textual (8.2) never notices: it reads an end of file over and over, its writing thread fails,
and the app waits for that thread once thirty writes are queued. With SIGHUP comes SIGCONT, which
also resumes a process that SIGSTOP has stopped. At SIGCONT, Textual starts a second thread that
reads the terminal, and saves its own settings as those to restore: the process never ends.
"""

from __future__ import annotations

import os
import select
import signal
import sys
import threading

from textual.driver import Driver


def heed_end() -> None:
    """Raise SIGHUP when the terminal at standard input closes and the system sends no signal."""
    if sys.platform == "win32":
        return
    threading.Thread(
        target=_await_end, args=(sys.stdin.fileno(),), name="terminal-end", daemon=True
    ).start()


def _await_end(terminal: int) -> None:
    """Block until a terminal is gone, then end the app as SIGHUP does."""
    if sys.platform == "win32":
        return
    poller = select.poll()
    poller.register(terminal, 0)  # an end and an error are reported in any case
    ends = [what for _, what in poller.poll() if what & (select.POLLHUP | select.POLLERR)]
    main = threading.main_thread().ident
    if ends and main is not None:
        is_ignored = signal.getsignal(signal.SIGHUP) is signal.SIG_IGN  # begun by nohup
        signal.pthread_kill(main, signal.SIGTERM if is_ignored else signal.SIGHUP)


def lasting(usual: type[Driver]) -> type[Driver]:
    """Return a driver class that reads any bytes, and drops its output once the terminal closes.

    usual: Textual's driver class for this system; the one for Windows is returned unchanged.
    """
    if sys.platform == "win32":
        return usual
    from textual.drivers.linux_driver import LinuxDriver

    from hostlink.app.terminal_text import read_all_bytes

    read_all_bytes()

    class LastingDriver(LinuxDriver):
        """Writes only while the writing thread lives, since the queue to it is bounded."""

        def _sigcont_application(self, *_: object) -> None:
            if not os.isatty(self.fileno):  # the terminal is gone
                return
            if not self._must_signal_resume:  # it was not suspended in order, or not at all
                if self.exit_event.is_set() or not self._is_read():  # the app is ending
                    return
                self.suspend_application_mode()
            super()._sigcont_application()

        def _is_read(self) -> bool:
            return self._key_thread is not None and self._key_thread.is_alive()

        def _is_written(self) -> bool:
            return self._writer_thread is not None and self._writer_thread.is_alive()

        def write(self, data: str) -> None:
            if self._is_written():
                super().write(data)

        def close(self) -> None:
            if self._is_written():
                super().close()

    return LastingDriver if usual is LinuxDriver else usual
