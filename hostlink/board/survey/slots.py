"""Find the words by which a board stores a program in EEPROM and recalls it.

Only with consent, because the test overwrites what is stored there. What an unnamed place holds is
recalled first, given to the caller to keep, and stored again at the end. If it held nothing, the
empty program is stored, so that no board runs the test lines at every start. Some boards hang when
they recall what was never stored, so the place is listed first if a word for that is known, and a
board that hangs is restarted. On a board that names its programs, one name is written that hardly
anybody uses.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hostlink.board.dialogue.common_words import NONSENSE
from hostlink.board.dialogue.reading import rows_of
from hostlink.board.survey.bench import Bench
from hostlink.board.survey.store import Store
from hostlink.errors import HostlinkError, LinkError, LinkReason
from hostlink.link.exchange import Reach
from hostlink.link.typed import Outcome
from hostlink.listing.canonical import canonical_lines, listed_line
from hostlink.listing.parse import Line, Listing

_NAME = "QZ7"
_TEST = ("10 REM stored by a survey", "20 PRINT 4")
_SLOW = Reach(attempts=8, nudges=2, silence_s=8.0, longest_s=60.0)

Lines = dict[int, Line]
Load = Callable[[Lines], None]
Keep = Callable[[Lines], None]
Revive = Callable[[], None]


@dataclass(frozen=True, slots=True)
class SlotWords:
    """The commands of one kind of board.

    stored, shown: list the names, or the content of the only place; may be empty.
    """

    store: str
    recall: str
    stored: str
    shown: str = ""

    @property
    def is_named(self) -> bool:
        """Return whether programs are stored under names."""
        return "{name}" in self.store


# Besides those of the known kinds: common practice, no source.
COMMON = (
    SlotWords("ESAVE", "ELOAD", ""),
    SlotWords("SAVE", "LOAD", ""),
    SlotWords('SAVE "{name}"', 'LOAD "{name}"', ""),
)


def find_slots(
    store: Store, kinds: Sequence[SlotWords], load: Load, keep: Keep, revive: Revive
) -> None:
    """Find how programs are stored.

    load: puts lines into memory, proven. keep: keeps what an unnamed place held. revive: restarts a
    board that hangs and returns to its prompt. Raises HostlinkError if one of these fails.
    """
    bench = store.bench
    for words in dict.fromkeys((*kinds, *COMMON)):
        if _works(store, words, load, keep, revive):
            says = f"{words.store} stored a test program, {words.recall} brought it back"
            bench.findings.add("commands.store", words.store, says)
            bench.findings.add("commands.recall", words.recall, says)
            if words.shown and _shows(store, words):
                bench.findings.add("commands.list_stored", words.shown, "it lists what was stored")
            stored = words.stored if _lists(bench, words) else ""
            bench.findings.add("commands.stored", stored, f"{stored or 'nothing'} lists its name")
            return
    says = "none of the usual words stores a program that can be recalled"
    for name in ("commands.store", "commands.recall"):
        bench.findings.add(name, "", says)


def _is_refused(bench: Bench, command: str) -> bool:
    """Return whether the board answers a word as it answers nonsense."""
    word = command.split()[0]
    tail = command.format(name=_NAME)[len(word) :]
    known, unknown = (
        [row.replace(text, "") for row in _said(bench, text + tail)] for text in (word, NONSENSE)
    )
    return known == unknown


def _said(bench: Bench, text: str) -> tuple[str, ...]:
    core = bench.dialogue.exchange(text, _SLOW)
    if core.outcome is not Outcome.ANSWERED:
        bench.regain()
    return tuple(row for row in rows_of(bench.dialogue.body(core.answer)) if row.strip())


def _works(store: Store, words: SlotWords, load: Load, keep: Keep, revive: Revive) -> bool:
    """Return whether a stored test program comes back into an empty memory."""
    bench = store.bench
    before: Lines | None = {}
    if words.is_named:
        if _is_refused(bench, words.recall):
            return False
    else:
        before = _held(store, words, load, revive)
        if before is None:
            return False
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
            _put_back(store, words, before or {}, load)


def _held(store: Store, words: SlotWords, load: Load, revive: Revive) -> Lines | None:
    """Return what an unnamed place holds, or None if that is not known.

    It is {} if the place lists no line, or if the recall hangs or removes the lines in memory; a
    command that the board does not know would leave them there.
    """
    bench = store.bench
    if words.shown:
        if _is_refused(bench, words.shown):
            return None
        if not _shows(store, words):
            return {}
    store.clear()
    try:
        _said(bench, words.recall)
    except LinkError as error:
        if error.reason is LinkReason.GONE:
            raise
        revive()
        bench.notes.append(
            f"The board hung on {words.recall}, since nothing was stored; it was restarted."
        )
        return {}
    held = dict(bench.dialogue.capture().lines)
    if held:
        return held
    load(Listing.from_text(_TEST[0]).numbered())
    _said(bench, words.recall)
    if not bench.dialogue.capture().lines:
        return {}
    if words.recall == bench.base.commands.recall:
        bench.notes.append(
            f"{words.recall} recalled nothing, so {words.store} was not tried: what its place "
            "holds is not known. If it is empty, store a program there first."
        )
    return None


def _shows(store: Store, words: SlotWords) -> bool:
    """Return whether the board lists lines as the content of its only place."""
    form = store.bench.profile.rules.form
    return any(listed_line(row, form) is not None for row in _said(store.bench, words.shown))


def _put_back(store: Store, words: SlotWords, before: Lines, load: Load) -> None:
    """Store what the place held again, or the empty program."""
    store.clear()
    if before:
        load(before)
    _said(store.bench, words.store)
    store.clear()


def _lists(bench: Bench, words: SlotWords) -> bool:
    """Return whether a listing of the stored programs shows the name of the test."""
    if not words.stored or not words.is_named:
        return False
    try:
        return any(_NAME in row for row in _said(bench, words.stored))
    except HostlinkError:
        return False
