"""Talk to the board under survey with the values that were found so far."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Emit, Phase, ignore
from hostlink.board.dialogue.heard_talk import HeardTalk
from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.dialogue.reading import rows_of
from hostlink.board.profile.model import Profile
from hostlink.board.recognise import Recogniser
from hostlink.board.recognised import Recognised
from hostlink.board.survey.findings import Findings
from hostlink.board.survey.proposal import propose
from hostlink.errors import LinkError, LinkReason
from hostlink.link.core import Core
from hostlink.link.exchange import Reach
from hostlink.link.pacing import BITS_PER_BYTE
from hostlink.link.probe import Probe
from hostlink.link.typed import Outcome
from hostlink.link.wire import Wire
from hostlink.sentences import CHECK_WIRE, DAMAGED, IF_IT_PRINTS, UNTOUCHED

T = TypeVar("T")

_REPEATED = re.compile(rf"{NONSENSE}|[0-9]")  # what a refusal repeats or adds to its words
_LETTERS = re.compile(r"[A-Za-z]{3}")
_LONGEST_WORD = 40
_RECOGNISED_TIMES = 5  # attempts until two of them agree
_ASKED_TIMES = 6  # at most, until an answer counts
_CHAR_MS, _LINE_MS = 20.0, 50.0  # enough for any board to take a character or store a line
_QUESTION = Reach(attempts=8, nudges=2, silence_s=2.0, longest_s=20.0, most_bytes=8192)


def recognise_steadily(
    wire: Wire,
    kinds: Sequence[Profile],
    careful: Profile,
    emit: Emit,
    *,
    may_stop: bool,
    speeds: Sequence[int] = (),
) -> Recognised:
    """Recognise a board until two attempts agree on how it talks. Parameters: see Recogniser.

    Raises LinkError as Recogniser does, and DAMAGED if no two attempts agree.
    """
    heard: list[HeardTalk] = []
    for _ in range(_RECOGNISED_TIMES):
        tell = ignore if heard else emit  # one report of the phase is enough
        found = Recogniser(wire, kinds, careful, tell, may_stop=may_stop).run(speeds)
        if found.heard_talk in heard:
            return found
        heard.append(found.heard_talk)
    raise LinkError(
        f"The board was listened to {_RECOGNISED_TIMES} times, and each time it seemed to talk in "
        f"a different way: {DAMAGED}.",
        reason=LinkReason.DAMAGED,
        kept=UNTOUCHED,
        advice=f"{CHECK_WIRE} {IF_IT_PRINTS}",
    )


class Bench:
    """A board at its prompt that is being measured.

    use: opens a dialogue with the board by a profile. base: the profile that supplies the values
    that were not found. heard_talk: how the board was heard to talk. is_known: base is a known kind
    and agrees with everything heard. may_stop: a running program may be interrupted. notes:
    sentences on findings for which profiles have no key. is_careful: rely on measured values only,
    not on those of the kind. is_still: the board was not heard to print rows by itself. words:
    candidates sorted into known, unknown and unsure.
    """

    def __init__(
        self,
        wire: Wire,
        found: Recognised,
        use: Callable[[Profile], Dialogue],
        emit: Emit,
        *,
        name: str = "surveyed",
        may_stop: bool = False,
    ) -> None:
        self.findings = Findings()
        self.base = found.profile
        self.heard_talk = found.heard_talk
        self.is_known = found.known
        self.is_careful = True
        self.is_still = True
        self.notes: list[str] = []
        self.words: dict[str, tuple[str, ...]] = {}
        self._wire = wire
        self._use = use
        self._emit = emit
        self._name = name
        self._may_stop = may_stop
        self.renew()

    @property
    def profile(self) -> Profile:
        """Return the profile with everything found so far."""
        return propose(self.base, self.findings, self._name)

    def renew(self) -> None:
        """Talk with the values found so far from now on, and with cautious ones for the rest."""
        self.dialogue = self._use(
            self._with_care(self.profile) if self.is_careful else self.profile
        )

    def _with_care(self, profile: Profile) -> Profile:
        """Return a profile without times and buffers that were not measured on this board.

        Two boards of one kind may differ in these.
        """
        talk = profile.talk
        careful: dict[str, object] = {
            "line_window": 1,
            "char_ms": talk.char_ms if self.heard_talk.echo else max(talk.char_ms, _CHAR_MS),
            "receive_buffer": 0,
            "line_ms": max(talk.line_ms, _LINE_MS),
            "line_done": "after-prompt",
            "after_prompt_ms": 2 * _LINE_MS,
        }
        unknown = {key: each for key, each in careful.items() if f"talk.{key}" not in self.findings}
        if "line_done" not in unknown:
            unknown.pop("after_prompt_ms", None)
        now: Any = talk
        return dataclasses.replace(profile, talk=dataclasses.replace(now, **unknown))

    def phase(self, text: str) -> None:
        """Report what is being measured."""
        self._emit(Phase(text))

    # --- direct lines ------------------------------------------------------------------------

    def ask(self, text: str, *, sure: bool = True) -> tuple[str, ...] | None:
        """Type a direct line; return the rows of its answer, or None if it is not reliable.

        sure: an answer counts only if it came twice, unless there is no evidence against the wire.
        Raises LinkError if the board does not return to its prompt.
        """
        last: tuple[str, ...] | None = None
        evidence = self.dialogue.evidence
        for _ in range(_ASKED_TIMES):
            doubts = evidence.total
            answer = self._asked(text)
            unwatched = sure and (not self.heard_talk.echo or not evidence.is_clean)
            if answer is not None and evidence.total == doubts and not unwatched:
                return answer
            if answer is not None and answer == last:
                return answer
            last = answer
        return None

    def _asked(self, text: str) -> tuple[str, ...] | None:
        core = self.dialogue.exchange(text, _QUESTION)
        if core.outcome is not Outcome.ANSWERED:
            self.regain()
            return None
        return self._said(rows_of(self.dialogue.body(core.answer)))

    def _said(self, rows: Iterable[str]) -> tuple[str, ...]:
        """Return the rows of an answer that the board does not print around it or by itself."""
        profile = self.profile
        known = (*profile.commands.answer_rows, *profile.talk.idle_chatter)
        return tuple(row for row in rows if row.strip() and not is_own(row, known))

    def note_refusal(self, rows: Iterable[str], typed: str) -> None:
        """Record the words with which the board refused a line. typed: that line."""
        prompt = self.heard_talk.prompt.decode("latin-1")
        said = [row.removeprefix(prompt).replace(typed, NONSENSE) for row in rows]
        for row in [row for row in said if NONSENSE not in row] or said:
            word = _REPEATED.split(row)[0].rstrip("'\"( ")[:_LONGEST_WORD]
            known = self.profile.commands.error_words
            if _LETTERS.search(word) and not row.startswith(known):
                says = "the words of refusals that were seen"
                self.findings.add("commands.error_words", (*known, word), says)

    def regain(self) -> None:
        """Return to the prompt. Raises LinkError if the board does not."""
        self.dialogue.attach(may_interrupt=self._may_stop)

    def until_steady(self, measure: Callable[[], T | None], times: int = 4) -> T | None:
        """Measure until the wire was clean meanwhile, or two results agree.

        Returns None if neither happens in a fixed number of times.
        """
        evidence = self.dialogue.evidence
        last: T | None = None
        for _ in range(times):
            doubts = evidence.total
            found = measure()
            seen_clean = evidence.total == doubts and self.heard_talk.echo  # only echo shows damage
            if found is not None and (found == last or seen_clean):
                return found
            last = found
        return None

    # --- bytes -------------------------------------------------------------------------------

    @property
    def byte_s(self) -> float:
        """Return the time of a byte on the wire in seconds."""
        return BITS_PER_BYTE / self.heard_talk.baud

    def probe(
        self,
        out: bytes,
        *,
        quiet_s: float = 0.25,
        longest_s: float = 5.0,
        first_s: float = 0.0,
        at_least: bool = True,
    ) -> Probe:
        """Send bytes and listen until the board is quiet for quiet_s, at most for longest_s.

        at_least: treat a pause as quiet only after six bytes' time, even if quiet_s is less.
        """
        quiet = max(quiet_s, 6 * self.byte_s) if at_least else quiet_s
        core = Probe(out, self.byte_s, quiet_s=quiet, longest_s=longest_s, first_s=first_s)
        self._wire.run(core)
        return core

    def run(self, core: Core) -> None:
        """Drive a core over the board's wire."""
        self._wire.run(core)

    def type(self, text: bytes) -> bytes:
        """Type characters one by one without ending the line; return the echo."""
        step = len(text) or 1 if self.findings.value("talk.line_window") == 0 else 1
        heard = b""
        for at in range(0, len(text), step):
            quiet_s = 4 * self.byte_s + (0.06 if step > 1 or not self.heard_talk.echo else 0.03)
            heard += self.probe(text[at : at + step], quiet_s=quiet_s).heard
        return heard

    def enter(self, text: bytes) -> tuple[str, ...]:
        """Type a line that may hold keys, character by character; return the rows of its answer."""
        self.type(text)
        answer = self.probe(self.heard_talk.line_end, first_s=1.0).heard
        for end in (self.heard_talk.ready, self.heard_talk.prompt):
            answer = answer.removesuffix(end)
        return self._said(rows_of(answer.decode("latin-1")))
