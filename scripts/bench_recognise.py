"""How long it takes to recognise a board of each shipped kind at each usual speed, in virtual time.

The board is a twin of the profile: it echoes, prompts, refuses and tells its free memory as the
profile says, takes no time of its own, and is reached over a bridge that keeps a byte for 16 ms.
The port begins at 9600 baud. seconds: from the open port to the known kind. typed: bytes written.
floor: seconds that the questions and their answers take on the wire at the board's own speed, one
answer a question, with one latency each; the silence that ends an answer, and every other speed
that is tried before the right one, come on top.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator

from bench_report import Row, Section, Target

from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.profile.model import Profile
from hostlink.board.recognise import USUAL_SPEEDS, Recogniser
from hostlink.jobs.session.recognising import careful_profile, recognisable_kinds
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire
from hostlink.practice.uart import byte_time, heard_at_other_speed

FIRST_BAUD = 9600
LATENCY_S = 0.016
FREE_BYTES = 999
QUICK_FROM, MOST_S = 9600, 3.0
SPEEDS = tuple(sorted(baud for baud in USUAL_SPEEDS if baud <= 230_400))


class Twin:
    """A port with a board behind it that talks as a profile says. asked: questions answered."""

    timeout = 0.05
    dtr = True

    def __init__(self, kind: Profile, baud: int, clock: VirtualClock) -> None:
        self.baudrate = FIRST_BAUD
        self.asked = 0
        self.typed = 0
        self.floor_s = 0.0
        self._kind = kind
        self._baud = baud
        self._clock = clock
        self._line = bytearray()
        self._coming: deque[tuple[float, int]] = deque()
        self._host_free = self._board_free = 0.0

    @property
    def in_waiting(self) -> int:
        now = self._clock.now()
        return sum(at <= now for at, _ in self._coming)

    def read(self, size: int = 1) -> bytes:
        return bytes(self._coming.popleft()[1] for _ in range(min(size, self.in_waiting)))

    def write(self, data: bytes) -> int:
        self.typed += len(data)
        began = max(self._clock.now(), self._host_free)
        self._host_free = began + len(data) * byte_time(self.baudrate)
        heard: list[tuple[float, int]]
        if self.baudrate == self._baud:
            each = byte_time(self._baud)
            heard = [(began + place * each, byte) for place, byte in enumerate(data, 1)]
        else:
            heard = [
                (began + s, byte)
                for s, byte in heard_at_other_speed(data, self.baudrate, self._baud)
            ]
        for at, byte in heard:
            self._take(at, byte)
        return len(data)

    def reset_input_buffer(self) -> None:
        self._coming.clear()

    def close(self) -> None:
        """Nothing is held."""

    def wait_until(self, moment: float) -> None:
        """Let virtual time pass, up to the next byte."""
        coming = self._coming[0][0] if self._coming else moment
        self._clock.advance_to(min(moment, max(coming, self._clock.now())))

    def _take(self, at: float, byte: int) -> None:
        talk = self._kind.talk
        if byte == talk.line_end[-1]:
            line, self._line = self._line.decode("latin-1").strip("\r\n"), bytearray()
            answer = (talk.reply_end if talk.echo else b"") + self._answer(line)
            self._send(at, answer)
            if self.baudrate == self._baud:
                self.asked += 1
                bytes_both_ways = len(line) + 1 + len(answer)
                self.floor_s += bytes_both_ways * byte_time(self._baud) + LATENCY_S
        elif byte >= 32 or byte == 13:
            self._line.append(byte)
            self._send(at, bytes([byte]) if talk.echo else b"")

    def _answer(self, line: str) -> bytes:
        talk, commands = self._kind.talk, self._kind.commands
        end = talk.ready or talk.prompt
        row_end = talk.reply_end or b"\r\n"
        if not line:
            return talk.prompt
        if line == commands.free_memory:
            told = commands.free_answer.replace("{free}", str(FREE_BYTES)) or str(FREE_BYTES)
            return told.encode("latin-1") + row_end + end
        if line == NONSENSE or not line.upper().startswith("REM"):
            refusal = commands.error_words[0] if commands.error_words else "ERROR"
            return refusal.encode("latin-1") + row_end + end
        return end

    def _send(self, at: float, data: bytes) -> None:
        began = max(at, self._board_free)
        self._board_free = began + len(data) * byte_time(self._baud)
        if self.baudrate == self._baud:
            each = byte_time(self._baud)
            coming = [(began + place * each, byte) for place, byte in enumerate(data, 1)]
        else:
            coming = [
                (began + s, byte)
                for s, byte in heard_at_other_speed(data, self._baud, self.baudrate)
            ]
        self._coming += [(moment + LATENCY_S, byte) for moment, byte in coming]


def measure(kind: Profile, baud: int) -> Row:
    """Recognise one board; one row of figures."""
    clock = VirtualClock()
    twin = Twin(kind, baud, clock)
    began = clock.now()
    found = Recogniser(Wire(twin, clock), tuple(recognisable_kinds()), careful_profile()).run()
    return {
        "kind": kind.name,
        "baud": baud,
        "found": found.profile.name if found.known else "none",
        "seconds": round(clock.now() - began, 3),
        "floor_s": round(twin.floor_s, 3),
        "questions": twin.asked,
        "typed": twin.typed,
    }


def _rows() -> Iterator[Row]:
    for kind in recognisable_kinds():
        for baud in SPEEDS:
            yield measure(kind, baud)


def run() -> Section:
    """Measure all kinds at all speeds."""
    rows = list(_rows())
    wrong = sum(row["found"] != row["kind"] for row in rows)
    quick = [row for row in rows if int(row["baud"] or 0) >= QUICK_FROM]
    slowest = max(float(row["seconds"] or 0) for row in quick)
    typed = max(int(row["typed"] or 0) for row in rows)
    return Section(
        "recognise",
        rows,
        [
            Target.at_most("kinds and speeds not recognised", wrong, 0),
            Target.at_most(f"slowest, {QUICK_FROM} baud and above (s)", slowest, MOST_S),
        ],
        [f"At most {typed} bytes are typed; virtual time, {LATENCY_S * 1000:.0f} ms latency."],
    )
