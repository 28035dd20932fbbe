"""Measuring what only storing lines can show: time per line, receive buffer, cost of a line.

The program memory is used for this, so the caller has captured and cleared it, and puts it back.

- **Time per line.** A blank line and a stored one are answered the same but for the time that
  storing takes. Where the answer comes before, a second line end behind the first shows it.
- **Receive buffer.** While the board is busy, line ends are sent; each that it kept is answered
  by one prompt afterwards. They are all sent within the busy time, so what is missing was lost.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable

from hostlink.board.dialogue import Dialogue
from hostlink.board.events import Phase
from hostlink.board.survey import Findings, Manner
from hostlink.link.probe import Probe
from hostlink.listing.charset import to_bytes

_TIMES = 5  # measurements of one time; the median counts
_MOST_SENT = 200  # bytes sent while the board is busy
_LINE = 'REM "HOSTLINK MEASURES THIS BOARD, LINE {place} OF {lines}"'
_LISTED_LINES = 12
_SHORTEST_S = 0.0002  # below this a difference of two times is noise


class Storing:
    """Measures with test lines in an empty program memory."""

    def __init__(self, manner: Manner, dialogue: Dialogue) -> None:
        self.findings: Findings = manner.findings
        self._manner = manner
        self._dialogue = dialogue
        self._end = dialogue.pacing.line_end
        self._busy_s = 0.0

    def measure(self) -> None:
        """Everything, in an order in which each step can use what came before."""
        self._dialogue.emit(Phase("Timing stored lines"))
        self._find_line_time()
        self._dialogue.emit(Phase("Measuring the receive buffer"))
        self._find_buffer()
        self._dialogue.emit(Phase("Asking for the free memory"))
        self._find_costs()

    # --- time per line -----------------------------------------------------------------------

    def _find_line_time(self) -> None:
        """Compare the answers to stored lines with those to blank ones, byte by byte.

        Three bytes tell: the first of the answer, the first of its prompt, and the first of the
        answer to a second line end. Bytes that are still going out hide a shorter time.
        """
        blank, noise = self._moments(stored=False)
        stored, _ = self._moments(stored=True)
        late = [after - before for before, after in zip(blank, stored, strict=True)]
        says = f"median of {_TIMES} stored lines against blank ones"
        # What counts as late: more than the blank lines differ among themselves, and not small
        # beside the latest, which would be the unsteadiness of a busy computer.
        least = max(_SHORTEST_S, noise, 0.5 * max(late))
        if late[0] >= least and self.findings.value("talk.echo"):
            done, why, place = "echo", "the line end comes back after storing", 0
        elif late[1] >= least:
            done, why, place = "prompt", "the prompt comes after storing", 1
        elif late[2] >= least:
            done, why, place = "after-prompt", "the prompt comes before storing", 2
        else:
            why = f"storing takes less than can be seen at {self._speed()} baud"
            self.findings.missing("talk.line_ms", why)
            self.findings.missing("talk.line_done", why)
            return
        self._busy_s = stored[place] - blank[0]
        self.findings.add("talk.line_ms", round(self._busy_s * 1000, 2), says)
        self.findings.add("talk.line_done", done, why)
        if done == "after-prompt":
            guard = round(self._busy_s * 1000 * 1.25, 2)
            self.findings.add(
                "talk.after_prompt_ms", guard, f"{says}, and a quarter more", "likely"
            )

    def _moments(self, *, stored: bool) -> tuple[list[float], float]:
        """Median seconds to the three bytes that tell, after a line end sent twice, and the
        largest difference between two measurements of one of them."""
        rows = []
        for place in range(1, _TIMES + 1):
            if stored:
                self._type(f"{10 * place} {_LINE.format(place=place, lines=_TIMES)}")
            core = self._probe(self._end * 2)
            rows.append([self._moment(core, at) for at in self._places()])
        columns = list(zip(*rows, strict=True))
        noise = max(max(column) - min(column) for column in columns)
        return [statistics.median(column) for column in columns], noise

    def _places(self) -> tuple[int, int, int]:
        blank = self._manner.blank
        prompt_at = len(blank) - len(blank.lstrip(b"\r\n"))
        return 0, min(prompt_at, len(blank) - 1), len(blank)

    @staticmethod
    def _moment(core: Probe, place: int) -> float:
        return core.moment_of(place) if place < len(core.heard) else 0.0

    def _type(self, text: str) -> None:
        """Type a line without ending it: at once if the board keeps up, else byte by byte."""
        data = to_bytes(text, self._dialogue.profile.rules.form.charset)
        step = len(data) if self.findings.value("talk.line_window") == 0 else 1
        for at in range(0, len(data), step):
            self._probe(data[at : at + step], quiet_s=4 * self._manner.byte_s + 0.02)

    # --- receive buffer ----------------------------------------------------------------------

    def _find_buffer(self) -> None:
        if not self._manner.blank:
            self.findings.missing("talk.receive_buffer", "a blank line is not answered")
            return
        stored = self._count_kept(self._while_storing, int(self._busy_s / self._manner.byte_s) - 1)
        listed = self._count_kept(self._while_listing, _MOST_SENT)
        counts = [count for count in (stored, listed) if count is not None]
        if counts:
            kept, sent, how = min(counts)
            self.findings.add(
                "talk.receive_buffer", kept, f"of {sent} bytes sent {how}, {kept} were kept"
            )
            return
        self.findings.missing(
            "talk.receive_buffer",
            f"nothing was lost, whatever was sent while it was busy at {self._speed()} baud",
        )

    def _count_kept(
        self, send: Callable[[bytes], tuple[bytes, bytes, str]], most: int
    ) -> tuple[int, int, str] | None:
        """How many of `most` line ends were kept; None where none was lost or it cannot be told."""
        sent = min(most, _MOST_SENT)
        if sent < 2:
            return None
        plain, _, _ = send(b"")
        with_more, _, how = send(self._end * sent)
        extra = with_more[len(plain) :]
        blank = self._manner.blank
        kept, rest = divmod(len(extra), len(blank))
        if not with_more.startswith(plain) or rest or extra != blank * kept or kept >= sent:
            return None
        return kept, sent, how

    def _while_storing(self, more: bytes) -> tuple[bytes, bytes, str]:
        self._type("900 " + _LINE.format(place=1, lines=1))
        return self._probe(self._end + more).heard, more, "while it stored a line"

    def _while_listing(self, more: bytes) -> tuple[bytes, bytes, str]:
        for place in range(1, _LISTED_LINES + 1):
            self._dialogue.exchange(
                f"{10 * place} {_LINE.format(place=place, lines=_LISTED_LINES)}"
            )
        self._type(self._dialogue.profile.commands.list)
        return self._probe(self._end + more).heard, more, "while it listed"

    # --- cost of a line ----------------------------------------------------------------------

    def _find_costs(self) -> None:
        """What a line costs, by the board's own word before and after storing lines."""
        dialogue = self._dialogue
        if not dialogue.profile.commands.free_memory:
            self.findings.missing("storage.program_bytes", "no free-memory question was found")
            return
        dialogue.clear()
        empty = dialogue.free_memory()
        texts = ["REM", "REM ABCDEFGHIJ"]
        costs: list[int] = []
        before = empty
        for place, text in enumerate(texts, 1):
            dialogue.exchange(f"{place * 10} {text}")
            after = dialogue.free_memory()
            if before is None or after is None:
                break
            costs.append(before - after)
            before = after
        if empty is None or len(costs) < 2:
            self.findings.missing("storage.program_bytes", "the free-memory question failed")
            return
        self.findings.add("storage.program_bytes", empty, "reported free with no program")
        by_text = costs[1] - costs[0] == len(texts[1]) - len(texts[0])
        if by_text:
            overhead = costs[0] - len(texts[0])
            self.findings.add("storage.kind", "text", "ten characters more cost ten bytes more")
            says = f"{texts[0]!r} costs {costs[0]} bytes"
            self.findings.add("storage.number_bytes", min(2, overhead), says)
            self.findings.add("storage.end_bytes", max(0, overhead - 2), says)
        else:
            self.findings.missing(
                "storage.kind", f"ten characters more cost {costs[1] - costs[0]} bytes more"
            )

    # --- the wire ----------------------------------------------------------------------------

    def _probe(self, out: bytes, *, quiet_s: float | None = None) -> Probe:
        manner = self._manner
        longest = 0.5 + 2000 * manner.byte_s
        quiet = quiet_s or max(0.15, 6 * manner.byte_s)
        return manner.probe(out, quiet_s=quiet, longest_s=longest)

    def _speed(self) -> int:
        return self._dialogue.pacing.baud
