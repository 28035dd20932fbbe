"""Find what a board does when its memory is full.

Only with consent, because some boards then accept nothing until they are restarted.
"""

from __future__ import annotations

from hostlink.board.survey.store import Store
from hostlink.errors import RefusedError
from hostlink.link.typed import Outcome

_LINE = "REM this line fills the memory of the board"
_MOST_LINES = 2_000
_AGAIN = 2  # times that the same words must refuse the line again


def fill_memory(store: Store) -> bool:
    """Store lines until the board refuses one; return whether it still accepts lines.

    This finds full_words and full_sign. If it accepts none any more, only a restart helps.
    """
    bench = store.bench
    findings = bench.findings
    store.clear()
    for place in range(1, _MOST_LINES):
        core = bench.dialogue.exchange(f"{place} {_LINE}")
        if core.outcome is Outcome.DEAF:
            says = f"with {place:,} lines stored it answers each character with this"
            findings.add("talk.full_sign", core.typed.deaf_sign, says)
            return False
        words = bench.dialogue.refusal_in(core.answer)
        doubts = bench.dialogue.evidence.total
        again = {_refusal(store, place) for _ in range(_AGAIN)} if words else set()
        # After a line that did not fit, some boards refuse everything with other words.
        is_stuck = len(again) == 1 and "" not in again and bench.dialogue.evidence.total == doubts
        if words and (again == {words} or is_stuck):
            _note(store, words, place)
            break
    else:
        findings.missing("commands.full_words", f"{_MOST_LINES:,} lines fit")
    try:
        store.clear()
        is_alive = not store.put("10 REM A")
        store.clear()
    except RefusedError:
        return False
    return is_alive


def _refusal(store: Store, place: int) -> str:
    """Send an empty line, which may be needed, then a line; return the words that refuse it."""
    bench = store.bench
    bench.probe(bench.heard_talk.line_end)
    core = bench.dialogue.exchange(f"{place} {_LINE}")
    return bench.dialogue.refusal_in(core.answer)


def _note(store: Store, words: str, place: int) -> None:
    """Record the words that refuse a line for which there is no room."""
    findings = store.bench.findings
    says = f"it refuses line {place:,} and those after it in these words"
    known = store.bench.profile.commands.error_words
    short = words[:40]
    if not short.startswith(known):
        findings.add("commands.error_words", (*known, short), says)
    findings.add("commands.full_words", (short,), says)
