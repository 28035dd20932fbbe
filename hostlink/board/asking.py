"""Ask an unknown board, at one speed after another."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from hostlink.board.dialogue.heard_talk import is_rows, looks_like_text
from hostlink.board.dialogue.no_prompt_errors import is_bells, keeps_sending
from hostlink.link.pacing import BITS_PER_BYTE
from hostlink.link.port import TunablePort
from hostlink.link.probe import Probe
from hostlink.link.wire import Wire

LONGEST_S = 1.5
ROW_EVERY_S = 10.5  # the longest wait for the next row of a program
_RARE = 4  # bytes that follow only one of so many empty lines are no answers
_LETTER_S = 3.0  # the longest wait for the rest of a row
_LONGEST_LISTING_S = 60.0
QUIET_S = 0.11
_FIRST_S = 0.3  # a board answers at once; a bridge keeps bytes for 16 ms, a busy computer longer
_KEY_S = 0.06  # time for a typed character to be taken and echoed: common practice, no source


class Asker:
    """Sends bytes to a board about which nothing is known, and returns its answers.

    usual_baud: the speed to assume for a port that does not tell its own. stop_keys: keys that may
    stop a program.
    """

    def __init__(self, wire: Wire, usual_baud: int, stop_keys: Iterable[bytes]) -> None:
        self._wire = wire
        self._usual_baud = usual_baud
        self._stop_keys = tuple(dict.fromkeys(stop_keys))
        self._asked = self._answered = 0  # how often
        self._keeps_sending = False  # the last answer had no end
        self._bells: Counter[int] = Counter()  # answers of nothing but a bell, at each speed

    @property
    def _baud(self) -> int:
        """Return the speed of the port."""
        port = self._wire.port
        return port.baudrate if isinstance(port, TunablePort) else self._usual_baud

    @property
    def _is_rarely_heard(self) -> bool:
        """Return whether so few empty lines were followed by bytes that these were no answers."""
        return 0 < self._answered * _RARE <= self._asked

    def _set_baud(self, baud: int) -> None:
        """Set the speed of the port, if it can be set and differs."""
        port = self._wire.port
        if isinstance(port, TunablePort) and port.baudrate != baud:
            port.baudrate = baud

    def _from_here(self, speeds: Sequence[int]) -> tuple[int, ...]:
        """Return the present speed of the port, then the others to which it can be set."""
        others = speeds if isinstance(self._wire.port, TunablePort) else ()
        return tuple(dict.fromkeys((self._baud, *others)))

    def _listen(self, longest_s: float) -> bytes:
        """Return the first bytes that come unrequested within `longest_s` seconds."""
        return self._probe(b"", quiet_s=QUIET_S, longest_s=longest_s, first_s=longest_s).heard

    def _listen_for_rows(self, ends: float) -> bytes:
        """Return what comes unrequested at this speed: whole rows, other bytes, or b""."""
        heard = b""
        while (left_s := ends - self._wire.now()) > 0:
            here = self._listen(min(left_s, _LETTER_S if heard else ROW_EVERY_S))
            heard += here
            if not here or is_rows(heard) or not looks_like_text(heard):
                break
        return heard

    def _ask(self, out: bytes) -> bytes:
        return self._answer_to(out, LONGEST_S).heard

    def _answer_to(self, out: bytes, longest_s: float) -> Probe:
        quiet_s = max(QUIET_S, 6 * BITS_PER_BYTE / self._baud)
        core = self._probe(out, quiet_s=quiet_s, longest_s=longest_s, first_s=_FIRST_S)
        self._asked += 1
        self._keeps_sending = core.overdue
        self._answered += bool(core.heard)
        self._bells[self._baud] += is_bells(core.heard)
        return core

    def _probe(
        self, out: bytes, *, quiet_s: float, longest_s: float, first_s: float | None = None
    ) -> Probe:
        byte_s = BITS_PER_BYTE / self._baud
        core = Probe(out, byte_s, quiet_s=quiet_s, longest_s=longest_s, first_s=first_s)
        self._wire.run(core)
        return core

    def _type(self, text: bytes) -> bytes:
        """Type characters one by one, for a board without a receive buffer; return the echo."""
        came = b""
        quiet_s = 2 * BITS_PER_BYTE / self._baud
        for place in range(len(text)):
            first_s = _KEY_S if place else _FIRST_S
            core = self._probe(
                text[place : place + 1], quiet_s=quiet_s, longest_s=LONGEST_S, first_s=first_s
            )
            came += core.heard
        return came

    def _command(self, text: bytes, line_end: bytes) -> tuple[bytes, bytes]:
        """Type a direct command; return its echo and the answer."""
        echo = self._type(text)
        return echo, self._ask(line_end)

    def _say(self, typed: bytes, *, then: bytes = b"") -> bytes:
        """Type characters, then a key or a line end; return the answer, which may be a listing.

        Raises LinkError for one without an end, as a damaged program in memory has.
        """
        self._type(typed)
        core = self._answer_to(then, _LONGEST_LISTING_S)
        if core.overdue:
            raise keeps_sending("LIST")
        return core.heard

    def _stops(self) -> bool:
        """Send the usual interrupt keys; return whether the board fell silent after one."""
        for key in self._stop_keys:
            core = self._probe(key, quiet_s=QUIET_S, longest_s=LONGEST_S)
            if core.heard and not core.overdue:
                return True
        return False
