"""The words by which a board stores a program in EEPROM and brings it back; asked for only with
consent, since they overwrite what is stored there.

What an unnamed place holds is recalled first, given to the caller to keep, and stored again at the
end; where it held nothing, the empty program is stored, lest a board run the test lines at every
start. In a board that names its programs, one name is written that hardly anybody uses.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hostlink.board.reading import rows_of
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.store import Store
from hostlink.errors import HostlinkError
from hostlink.link.exchange import Outcome, Reach
from hostlink.listing.canonical import canonical_lines
from hostlink.listing.parse import Line, Listing

_NAME = "QZ7"
_TEST = ("10 REM stored by a survey", "20 PRINT 4")
_SLOW = Reach(attempts=8, nudges=2, silence_s=8.0, longest_s=60.0)

Lines = dict[int, Line]
Load = Callable[[Lines], None]
Keep = Callable[[Lines], None]


@dataclass(frozen=True, slots=True)
class SlotWords:
    """The three commands of one kind of board; stored may be empty."""

    store: str
    recall: str
    stored: str

    @property
    def is_named(self) -> bool:
        """Whether programs are stored under names."""
        return "{name}" in self.store


# Beside those of the known kinds: common practice, no source.
COMMON = (
    SlotWords("ESAVE", "ELOAD", ""),
    SlotWords("SAVE", "LOAD", ""),
    SlotWords('SAVE "{name}"', 'LOAD "{name}"', ""),
)


def find_slots(store: Store, kinds: Sequence[SlotWords], load: Load, keep: Keep) -> None:
    """Find how programs are stored. load: puts lines into memory, proven. keep: keeps what an
    unnamed place held. Raises HostlinkError where that cannot be kept."""
    bench = store.bench
    for words in dict.fromkeys((*kinds, *COMMON)):
        if not _is_refused(bench, words.recall) and _works(store, words, load, keep):
            says = f"{words.store} stored a test program, {words.recall} brought it back"
            bench.findings.add("commands.store", words.store, says)
            bench.findings.add("commands.recall", words.recall, says)
            stored = words.stored if _lists(bench, words) else ""
            bench.findings.add("commands.stored", stored, f"{stored or 'nothing'} lists its name")
            return
    says = "none of the usual words stores a program that can be recalled"
    for name in ("commands.store", "commands.recall"):
        bench.findings.add(name, "", says)


def _is_refused(bench: Bench, command: str) -> bool:
    """Whether the word itself is not known: it is answered as nonsense is."""
    word = command.split()[0]
    tail = command.format(name=_NAME)[len(word) :]
    answers = [_said(bench, text + tail) for text in (word, "QZ")]
    known = [tuple(row.replace(text, "") for row in rows) for rows, text in
             zip(answers, (word, "QZ"), strict=True)]  # fmt: skip
    return known[0] == known[1]


def _said(bench: Bench, text: str) -> tuple[str, ...]:
    core = bench.dialogue.exchange(text, _SLOW)
    if core.outcome is not Outcome.ANSWERED:
        bench.regain()
    return tuple(row for row in rows_of(bench.dialogue.body(core.answer)) if row.strip())


def _works(store: Store, words: SlotWords, load: Load, keep: Keep) -> bool:
    """Whether a test program that was stored comes back into an empty memory."""
    bench = store.bench
    before: Lines = {}
    if not words.is_named:
        store.clear()
        _said(bench, words.recall)
        before = dict(bench.dialogue.capture().lines)
        if before:
            keep(before)
    test = Listing.from_text("\n".join(_TEST)).numbered()
    try:
        load(test)
        _said(bench, words.store.format(name=_NAME))
        store.clear()
        _said(bench, words.recall.format(name=_NAME))
        rules = bench.profile.rules
        held = bench.dialogue.capture().lines
        return canonical_lines(held, rules) == canonical_lines(test, rules)
    finally:
        if not words.is_named:
            _put_back(store, words, before, load)


def _put_back(store: Store, words: SlotWords, before: Lines, load: Load) -> None:
    """Store again what the place held, or nothing."""
    store.clear()
    if before:
        load(before)
    _said(store.bench, words.store)
    store.clear()


def _lists(bench: Bench, words: SlotWords) -> bool:
    """Whether a listing of what is stored shows the name under which the test was stored."""
    if not words.stored or not words.is_named:
        return False
    try:
        return any(_NAME in row for row in _said(bench, words.stored))
    except HostlinkError:
        return False
