"""A session's wire while the board is in its bootloader.

Rules: one restart for each speed that is tried; the line is drained before the first question; the
wire returns to the board's own speed when the bootloader is left.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

from hostlink.advice import Ways
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.errors import LinkError, LinkReason, ReadBackError, RefusedError
from hostlink.firmware.bootloader import Conversation, Failure, Script
from hostlink.firmware.chip import Chip
from hostlink.firmware.scripts import Unproven, begin, leave
from hostlink.jobs.session.restarting import check_restartable, pull_restart_line
from hostlink.jobs.session.session import Session
from hostlink.link.pacing import BITS_PER_BYTE
from hostlink.link.port import TunablePort
from hostlink.sentences import MAY_HAVE_NO_BOOTLOADER, find_how_far, lift_wire
from hostlink.words import capital, plural

T = TypeVar("T")
_PASSES = 2
_EXCHANGES = 2  # for each page: its address, and what it holds
_LATENCY_S = 0.008  # of a bridge: between 1 and 16 ms (common practice, no source)
SPEEDS = (115_200, 57_600)  # the usual ones of serial bootloaders: common practice


def no_answer_advice(by: Ways) -> str:
    """Advise on a board whose bootloader does not answer."""
    return (
        "Check that the board has a bootloader and that its restart line is wired to the bridge. "
        f"If two boards make up the machine, {lift_wire()}; otherwise it hears nothing "
        f"from the computer. {capital(find_how_far(by))}."
    )


def in_pages(pages: int, chip: Chip) -> str:
    """Return a number of pages with their size, in words."""
    return f"{plural(pages, 'page')} of {chip.page_bytes} bytes"


class BootLink:
    """The connection to a board's bootloader. `signature` and `baud` are known after `enter`."""

    def __init__(self, session: Session) -> None:
        check_restartable(session.choice.port)
        self._session = session
        self._wire = session.wire
        self.baud = session.profile.talk.baud
        self.signature = b""
        self.failure: Failure | None = None  # of the last script that failed
        self._inside = False

    def enter(self, speeds: Sequence[int] = SPEEDS) -> None:
        """Restart the board into its bootloader. Raises LinkError if none answers."""
        heard = self._inside = False
        for baud in speeds:
            self._session.emit(Phase(f"Restarting the board into its bootloader at {baud} baud"))
            self._tune(baud)
            pull_restart_line(self._session)
            core = Conversation(begin(), baud)
            self._wire.run(core)
            if core.result is not None:
                self.signature = core.result
                self._inside = True
                return
            heard = heard or core.failure is not Failure.SILENT
        tried = " and ".join(str(baud) for baud in speeds)
        raise LinkError(
            f"Something answered at {tried} baud, but not a bootloader: {MAY_HAVE_NO_BOOTLOADER}."
            if heard
            else f"No bootloader answered at {tried} baud.",
            reason=LinkReason.SILENT,
            kept="Nothing was written; the board's firmware is as it was.",
            advice=no_answer_advice,
        )

    def run(self, script: Script[T]) -> T:
        """Run a script. Raises LinkError or ReadBackError with what went wrong."""
        core = Conversation(script, self.baud)
        try:
            self._wire.run(core)
        except Unproven as unproven:
            raise ReadBackError(
                f"Page {unproven.page} of flash cannot be read or written reliably.",
                advice="Check the cable; another cable or another socket of the computer may help.",
            ) from unproven
        self.failure = core.failure
        if core.failure is not None:
            raise _failure(core.failure)
        result: T = core.result  # type: ignore[assignment]
        return result

    def run_again(self, script: Callable[[], Script[T]]) -> T:
        """Run a script that only reads; if an exchange fails, restart the board and run it again.

        The cause may have been a single delay on a busy computer. Raises as `run` and `enter` do.
        """
        try:
            return self.run(script())
        except LinkError as error:
            if self.failure is Failure.REFUSED or error.reason is LinkReason.GONE:
                raise
            self._session.emit(Warned(f"{error.what} Reading once more, after a restart."))
            self.enter((self.baud,))
            return self.run(script())

    def time_words(self, pages: int, chip: Chip) -> str:
        """Estimate how long it takes to read pages twice, or to write and read them back."""
        page_s = chip.page_bytes * BITS_PER_BYTE / self.baud + _EXCHANGES * _LATENCY_S
        return f"about {math.ceil(_PASSES * pages * page_s)} s"

    def leave(self) -> None:
        """Start the application and return to the board's own speed."""
        try:
            if self._inside:
                self.run(leave())
        except LinkError:
            # If the bootloader does not start the application, a restart does.
            self._session.emit(Warned("Another restart was needed to leave the bootloader."))
            pull_restart_line(self._session)
        self._inside = False
        self._tune(self._session.profile.talk.baud)

    def _tune(self, baud: int) -> None:
        port = self._wire.port
        if isinstance(port, TunablePort):
            port.baudrate = baud
        elif baud != self._session.profile.talk.baud:
            raise RefusedError(
                f"The speed of {self._session.choice.port} cannot be changed.",
                kept="Nothing was written.",
                advice="Use a port of this computer, or rfc2217://.",
            )
        self.baud = baud


def _failure(failure: Failure) -> LinkError:
    what = {
        Failure.SILENT: "The bootloader fell silent.",
        Failure.OUT_OF_STEP: "The bootloader's answer does not fit the question.",
        Failure.REFUSED: "The bootloader refused a command.",
    }
    reason = LinkReason.SILENT if failure is Failure.SILENT else LinkReason.DAMAGED
    return LinkError(
        what[failure],
        reason=reason,
        advice="Check the wires to the board's RX and TX pins, and the cable, then repeat the "
        "command.",
    )
