"""Measure the time for storing a line, what confirms a line, and the receive buffer.

- Time per line: the answer to a stored line comes later than that to an empty one by the time of
  storing. If the answer comes before storing, a second line end directly after the first shows the
  time.
- Receive buffer: line ends are sent while the board is busy, and each one that it kept is answered
  afterwards. All are sent within the busy time, so a missing answer means a lost byte. If none is
  missing, the buffer holds at least the number sent, and no more is claimed.
"""

from __future__ import annotations

import statistics

from hostlink.board.survey.bench import Bench
from hostlink.board.survey.findings import ECHO_OF_END
from hostlink.board.survey.store import Store
from hostlink.link.probe import Probe

_TIMES = 5  # measurements of one time; the median counts
_MOST_SENT = 200  # bytes sent while the board is busy
_LINE = 'REM "THIS MEASURES THE BOARD, LINE {place}"'
_SHORTEST_S = 0.0002  # below this a difference of two times is noise


class Timing:
    """Measures with test lines in an empty program memory."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._bench: Bench = store.bench
        self._end = self._bench.heard_talk.line_end
        self._busy_s = 0.0
        self._blank = b""  # the answer to an empty line
        self._stored = b""  # the answer to a stored line

    def find(self) -> None:
        """Find the time per line, what confirms a line, and the receive buffer."""
        self._store.clear()
        self._blank = self._answer(b"")
        self._stored = self._answer(f"10 {_LINE.format(place=1)}".encode())
        if not self._blank or not self._stored:
            for name in ("talk.line_ms", "talk.line_done", "talk.receive_buffer"):
                self._bench.findings.missing(name, "a line is not answered, so nothing shows it")
            return
        self._find_line_time()
        self._find_buffer()
        self._store.clear()

    def _answer(self, text: bytes) -> bytes:
        self._bench.type(text)
        return self._probe(self._end).heard

    # --- time per line -----------------------------------------------------------------------

    def _find_line_time(self) -> None:
        """Compare the answers to stored lines with those to empty ones, byte by byte.

        Three bytes show the time: the first of the answer, the first of its prompt, and the first
        of the answer to a second line end. Bytes that are still being sent hide a shorter time.
        """
        findings = self._bench.findings
        empty, noise, _ = self._moments(self._blank, stored=False)
        stored, _, places = self._moments(self._stored, stored=True)
        late = [after - before for before, after in zip(empty, stored, strict=True)]
        says = f"median of {_TIMES} stored lines against empty ones"
        # A byte is late if it lags by more than the empty lines differ among themselves, and by at
        # least half of the greatest lag; less is the jitter of a busy computer.
        shapes = 0.0 if self._blank == self._stored else 2 * self._bench.byte_s
        least = max(_SHORTEST_S, noise, shapes, 0.5 * max(late))
        if late[0] >= least and self._bench.heard_talk.echo:
            done, why, place = "echo", "the line end comes back after storing", 0
        elif late[1] >= least and self._bench.heard_talk.prompt:
            done, why, place = "prompt", "the prompt comes after storing", 1
        elif late[2] >= least:
            first = "prompt" if self._bench.heard_talk.prompt else ECHO_OF_END
            done, why, place = "after-prompt", f"the {first} comes before storing", 2
        else:
            why = f"storing takes less than can be seen at {self._bench.heard_talk.baud} baud"
            findings.missing("talk.line_ms", why)
            findings.missing("talk.line_done", why)
            return
        # The answer to an empty line begins when nothing is being done.
        self._busy_s = stored[place] + places[place] * self._bench.byte_s - empty[0]
        findings.add("talk.line_ms", round(self._busy_s * 1000, 2), says)
        findings.add("talk.line_done", done, why)
        if done == "after-prompt":
            guard = round(self._busy_s * 1000 * 1.25, 2)
            findings.add("talk.after_prompt_ms", guard, f"{says}, and a quarter more", "likely")

    def _moments(
        self, shape: bytes, *, stored: bool
    ) -> tuple[list[float], float, tuple[int, int, int]]:
        """Return times, spread and places of the three bytes after a line end sent twice.

        The times are medians in seconds. The spread is the largest difference between two
        measurements of one byte. shape: the answer to one line; the time of its bytes on the wire
        is subtracted.
        """
        rows = []
        prompt_at = (
            shape.rfind(self._bench.heard_talk.prompt) if self._bench.heard_talk.prompt else 0
        )
        places = (0, max(0, prompt_at), len(shape))
        for place in range(1, _TIMES + 1):
            if stored:
                self._bench.type(f"{10 * place} {_LINE.format(place=place)}".encode())
            core = self._probe(self._end * 2)
            rows.append([self._moment(core, at) for at in places])
        columns = list(zip(*rows, strict=True))
        noise = max(max(column) - min(column) for column in columns)
        return [statistics.median(column) for column in columns], noise, places

    def _moment(self, core: Probe, place: int) -> float:
        """Return when a byte came, less the time of the bytes before it; 0 if it did not come."""
        if place >= len(core.heard):
            return 0.0
        return core.moment_of(place) - place * self._bench.byte_s

    # --- receive buffer ----------------------------------------------------------------------

    def _find_buffer(self) -> None:
        findings = self._bench.findings
        sent = min(_MOST_SENT, int(self._busy_s / self._bench.byte_s) - 1)
        if sent < 1:
            why = "storing is too fast for anything to arrive meanwhile"
            findings.missing("talk.receive_buffer", why)
            return
        kept = self._bench.until_steady(lambda: self._kept(sent))
        if kept is None:
            findings.missing("talk.receive_buffer", "what was kept could not be counted")
            return
        says = f"of {sent} bytes sent while it stored a line, {kept} were kept"
        findings.add("talk.receive_buffer", kept, says, "measured" if kept < sent else "likely")

    def _kept(self, sent: int) -> int | None:
        """Return how many of `sent` line ends were kept during storing, or None if unclear."""
        plain = self._while_storing(b"")
        with_more = self._while_storing(self._end * sent)
        extra = with_more[len(plain) :]
        kept, rest = divmod(len(extra), len(self._blank))
        if not with_more.startswith(plain) or rest or extra != self._blank * kept or kept > sent:
            return None
        return kept

    def _while_storing(self, more: bytes) -> bytes:
        self._bench.type(f"900 {_LINE.format(place=1)}".encode())
        return self._probe(self._end + more).heard

    def _probe(self, out: bytes) -> Probe:
        longest = 0.5 + 2000 * self._bench.byte_s
        return self._bench.probe(out, quiet_s=max(0.2, 3 * self._busy_s), longest_s=longest)
