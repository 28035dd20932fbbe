"""Measuring how an unknown board talks, without touching the program in its memory.

Rules:
1. Nothing is typed that begins with a digit. At every speed backspaces go out before the line end,
   so that whatever stands half typed on the line, or was misheard at another speed, is erased and
   not entered. (That neither bytes can be misheard as an entered line is tested for all usual
   pairs of speeds.)
2. A speed is believed only when three answers are the same and readable, and a direct comment
   comes back or leads to the same prompt.
3. What cannot be seen is reported as not found, never guessed.

Storing test lines, for the time per line, is in hostlink.board.survey_storing.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from hostlink.board.events import Emit, Phase
from hostlink.board.profile import Profile
from hostlink.errors import LinkError, LinkReason, UsageError
from hostlink.link.pacing import BITS_PER_BYTE
from hostlink.link.port import TunablePort
from hostlink.link.probe import Probe
from hostlink.link.wire import Wire

# The speeds of ATmega328P data sheet tables (8271H section 20.10) and slower ones still met.
USUAL_SPEEDS = (
    9600, 115200, 57600, 19200, 38400, 4800, 2400, 1200, 300, 14400, 28800, 76800, 230400, 250000,
    500000, 1000000,
)  # fmt: skip
ERASE = b"\x08"
_ERASES = ERASE * 90  # more than a line of 72 characters, the longest of ECMA-55 section 5
_STEP_BACK = b"\x08 "  # what a terminal-minded board answers a backspace with
_MOST_ERASES = 40
_LONGEST_TRIED = 260
_CANCELS = (b"\x15", b"\x18")
_QUIET_S = 0.25
_LONGEST_S = 3.0
_COMMENT = b"rem hostlink"

Confidence = Literal["measured", "likely", "not found"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One value: its name in the profile (`talk.baud`), how it was found, how sure that is."""

    name: str
    value: object
    evidence: str
    confidence: Confidence


class Findings:
    """What a survey found, in order; a later finding of the same name replaces an earlier one."""

    def __init__(self) -> None:
        self._by_name: dict[str, Finding] = {}

    def add(
        self, name: str, value: object, evidence: str, confidence: Confidence = "measured"
    ) -> None:
        self._by_name[name] = Finding(name, value, evidence, confidence)

    def missing(self, name: str, evidence: str) -> None:
        """Say why a value could not be found."""
        self._by_name[name] = Finding(name, None, evidence, "not found")

    def __iter__(self) -> Iterator[Finding]:
        return iter(self._by_name.values())

    def value(self, name: str) -> object:
        """A value found, None where it was not."""
        finding = self._by_name.get(name)
        return finding.value if finding is not None else None


class Manner:
    """Finds speed, line end, echo, prompt, case, cancel byte and keeping up, step by step."""

    def __init__(self, wire: Wire, base: Profile, emit: Emit, *, stop_running: bool) -> None:
        port = wire.port
        if not isinstance(port, TunablePort):
            raise UsageError("The speed of this port cannot be changed, so it cannot be surveyed.")
        self.findings = Findings()
        self.blank = b""  # the answer to a blank line
        self._wire = wire
        self._port = port
        self._base = base
        self._emit = emit
        self._stop = base.talk.interrupt if stop_running else b""
        self._line_end = b"\r"

    # --- the steps ---------------------------------------------------------------------------

    def survey(self, speeds: Sequence[int] = ()) -> Profile:
        """Find the board's manner; the profile with what was found in place of the base's values.

        Raises LinkError where no speed gives a readable answer.
        """
        first = (self._base.talk.baud, *USUAL_SPEEDS)
        self._find_speed(tuple(dict.fromkeys(speeds or first)))
        self._find_echo()
        self._find_cancel()
        self._find_keeping_up()
        return self.profile()

    def profile(self) -> Profile:
        """The base profile with everything found so far."""
        found: dict[str, Any] = {
            finding.name.removeprefix("talk."): finding.value
            for finding in self.findings
            if finding.name.startswith("talk.") and finding.confidence != "not found"
        }
        talk = dataclasses.replace(self._base.talk, **found)
        return dataclasses.replace(self._base, talk=talk)

    def _find_speed(self, speeds: Sequence[int]) -> None:
        heard_something = 0
        for baud in speeds:
            self._emit(Phase(f"Trying {baud} baud"))
            for line_end in (b"\r", b"\n"):
                answers = self._blank_lines(baud, line_end)
                heard_something += any(answers)
                if not _is_believable(answers):
                    continue
                self.blank, self._line_end = answers[-1], line_end
                if not self._understands_comment():
                    continue
                self.findings.add(
                    "talk.baud",
                    baud,
                    f"three blank lines were answered with {repr(answers[-1])[1:]}",
                )
                name = "CR" if line_end == b"\r" else "LF"
                self.findings.add(
                    "talk.line_end", line_end, f"a line ended by {name} alone is taken"
                )
                return
        if heard_something:
            raise LinkError(
                "The board sends something, but at no usual speed is it readable and steady.",
                reason=LinkReason.UNREADABLE,
                kept="Only blank lines were sent; the program on the board was not touched.",
                advice="If a program runs on it, repeat with --stop-running; else check the "
                "wiring.",
            )
        raise LinkError(
            "The board is silent at all usual speeds.",
            reason=LinkReason.SILENT,
            kept="Only blank lines were sent; the program on the board was not touched.",
            advice="Check its supply, the cable, and that TX and RX are not swapped.",
        )

    def _blank_lines(self, baud: int, line_end: bytes) -> list[bytes]:
        """The answers to three blank lines at a speed; fewer where the first is no good."""
        self._port.baudrate = baud
        self.probe(self._stop)
        self._erase()
        answers: list[bytes] = []
        for _ in range(3):
            answers.append(self.probe(line_end).heard)
            if not _is_text(answers[-1]):
                break
        return answers

    def _understands_comment(self) -> bool:
        """Whether a direct comment comes back, or at least leads to the prompt again."""
        echo = self.probe(_COMMENT).heard
        reply = self.probe(self._line_end).heard
        if echo and echo.lower() != _COMMENT:
            return False
        return _is_text(reply) and reply.endswith(self.blank.lstrip(b"\r\n") or self.blank)

    def _find_echo(self) -> None:
        echo = self.probe(_COMMENT).heard
        self.probe(self._line_end)
        end = self.blank[: len(self.blank) - len(self.blank.lstrip(b"\r\n"))]
        prompt = self.blank[len(end) :]
        echoes = echo.lower() == _COMMENT
        self.findings.add(
            "talk.echo", echoes, f"{_COMMENT.decode()!r} came back as {echo.decode('latin-1')!r}"
        )
        if prompt:
            self.findings.add("talk.prompt", prompt, "it ends every answer")
        else:
            self.findings.add("talk.prompt", b"", "a blank line is answered without one")
        if end:
            self.findings.add("talk.reply_end", end, "it begins every answer")
        else:
            self.findings.missing("talk.reply_end", "without echo a blank line shows none")
        if not echoes:
            self.findings.missing("listing.case", "without echo the letters cannot be seen")
        elif echo == _COMMENT:
            self.findings.add("listing.case", "kept", "small letters came back small", "likely")
        else:
            self.findings.add("listing.case", "upper", "small letters came back as capitals")

    def _find_cancel(self) -> None:
        """Which control byte abandons a line: it brings the prompt back without a line end."""
        prompt = self.blank.lstrip(b"\r\n")
        for cancel in _CANCELS:
            self.probe(b"rem")
            answer = self.probe(cancel).heard
            taken = bool(prompt) and answer.endswith(prompt)
            self._erase()
            self.probe(self._line_end)
            if taken:
                self.findings.add(
                    "talk.line_cancel", cancel, f"byte {cancel[0]} brought the prompt back"
                )
                break
        else:
            self.findings.missing("talk.line_cancel", "neither byte 21 nor 24 abandons a line")
        if not self.findings.value("talk.echo"):
            self.findings.missing("talk.erase", "without echo it cannot be seen")
            return
        self.probe(b"rem")
        answer = self.probe(ERASE).heard
        self._erase()
        self.probe(self._line_end)
        if ERASE in answer:
            self.findings.add("talk.erase", ERASE, "byte 8 steps back", "likely")
        else:
            self.findings.missing("talk.erase", "byte 8 is not answered")

    def _find_keeping_up(self) -> None:
        """Whether a whole line at wire speed comes back complete."""
        if not self.findings.value("talk.echo"):
            self.findings.missing("talk.line_window", "without echo it cannot be seen")
            return
        burst = b"rem " + b"ABCDEFGHIJKLMNOPQRSTUVWXYZ" + b"ZYXWVUTSRQPONMLKJIHG"
        heard = self.probe(burst).heard
        self._erase()
        self.probe(self._line_end)
        if heard.lower() == burst.lower():
            says = f"{len(burst)} characters at wire speed came back complete"
            self.findings.add("talk.line_window", 0, says)
            self.findings.add("talk.char_ms", 0.0, says)
        else:
            says = f"of {len(burst)} characters at wire speed {len(heard)} came back"
            self.findings.add("talk.line_window", 1, says)

    def find_longest(self) -> None:
        """How many characters a line may have: type until the board no longer takes them.

        Needs consent: a board may treat an over-long line in ways of its own.
        """
        if not self.findings.value("talk.echo"):
            self.findings.missing("listing.longest_line", "without echo it cannot be seen")
            return
        self.probe(b"rem ")
        taken = 4
        while taken < _LONGEST_TRIED:
            heard = self.probe(b"X", quiet_s=4 * self.byte_s + 0.03).heard
            if heard.lower() != b"x":
                break
            taken += 1
        self._erase()
        self.probe(self._line_end)
        says = f"character {taken + 1} of a line did not come back"
        if taken < _LONGEST_TRIED:
            self.findings.add("listing.longest_line", taken, says)
        else:
            self.findings.missing("listing.longest_line", f"it takes {taken} and more")

    def _erase(self) -> None:
        """Empty the line being typed.

        A board that answers each backspace with three bytes may lose some of a burst, so it is
        repeated until there is nothing left to step back over.
        """
        for _ in range(_MOST_ERASES):
            heard = self.probe(_ERASES).heard
            if not heard or set(heard) - set(_STEP_BACK):
                return

    # --- the wire ----------------------------------------------------------------------------

    @property
    def byte_s(self) -> float:
        """Seconds a byte takes at the speed that the port is set to."""
        return BITS_PER_BYTE / self._port.baudrate

    def probe(
        self, out: bytes, *, quiet_s: float = _QUIET_S, longest_s: float = _LONGEST_S
    ) -> Probe:
        """Send bytes and listen until it is quiet for quiet_s, at most longest_s."""
        quiet = max(quiet_s, 6 * self.byte_s)
        core = Probe(out, self.byte_s, quiet_s=quiet, longest_s=longest_s)
        self._wire.run(core)
        return core


def _is_text(heard: bytes) -> bool:
    """Whether bytes look like a terminal's text: printable ASCII and line ends only."""
    return bool(heard) and all(32 <= byte < 127 or byte in b"\r\n" for byte in heard)


def _is_believable(answers: Sequence[bytes]) -> bool:
    return len(answers) == 3 and _is_text(answers[0]) and len(set(answers)) == 1
