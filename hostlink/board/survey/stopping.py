"""The key that stops a running program, tried on a loop that ends by itself.

An endless program would need a restart where no key stops it. So a loop is timed first and then
made long enough for the keys to be tried: whatever they do, it ends, and the board comes back.
"""

from __future__ import annotations

import re

from hostlink.board.survey.store import Store
from hostlink.link.probe import Probe

_KEYS = (b"\x03", b"\x1b", b"#", b"\x18")  # common practice, no source
_COUNT = 100  # turns of the loop that is timed
_MOST_TURNS = 30_000
_LONG_S = 6.0  # that the loop runs, as far as it can be told
_KEY_S = 1.5  # after a key, in which a board that stops has come back
_LONGEST_S = 120.0


def find_interrupt(store: Store) -> None:
    """Find the key that brings the prompt back long before the loop ends."""
    bench = store.bench
    alone_s = _timed(store, _COUNT)
    if alone_s is None:
        bench.findings.missing("talk.interrupt", "a counting loop does not run and end")
        return
    turns = min(_MOST_TURNS, int(_COUNT * _LONG_S / max(alone_s, 0.01)))
    expected_s = alone_s * turns / _COUNT
    if expected_s < 2 * _KEY_S:
        bench.findings.missing("talk.interrupt", f"a loop of {turns:,} turns ends too soon to try")
        return
    for key in dict.fromkeys((bench.profile.talk.interrupt, *_KEYS)):
        if key and _stops(store, turns, key, expected_s):
            says = f"byte {key[0]} ends a loop at once that takes {expected_s:.0f} s"
            bench.findings.add("talk.interrupt", key, says)
            return
    tried = ", ".join(str(key[0]) for key in _KEYS)
    bench.findings.add(
        "talk.interrupt", b"", f"none of the bytes {tried} stops a program", "likely"
    )


def _loop(store: Store, turns: int) -> None:
    """Store a loop of so many turns, in words that every BASIC of the kind has."""
    then = "" if "THEN" in store.bench.words.get("unknown", ()) else "THEN "
    store.clear()
    store.put("10 LET I=0", "20 LET I=I+1", f"30 IF I<{turns} {then or 'GOTO '}20")


def _timed(store: Store, turns: int) -> float | None:
    """Seconds that a loop takes; None where it does not come back to the prompt by itself."""
    _loop(store, turns)
    core = _run(store)
    if not _is_back(store, core.heard):
        return None
    return core.arrivals[-1][0] - core.sent_at if core.arrivals else None


def _run(store: Store) -> Probe:
    """Start the stored program and listen until the board is ready again, or for a long time."""
    bench = store.bench
    bench.type(bench.profile.commands.run.encode("latin-1"))
    core = bench.probe(bench.manner.line_end, quiet_s=1.5, first_s=_LONGEST_S, longest_s=_LONGEST_S)
    if not _is_back(store, core.heard) and not core.overdue:
        more = bench.probe(b"", quiet_s=1.5, first_s=_LONGEST_S, longest_s=_LONGEST_S)
        core.arrivals += more.arrivals
    return core


def _stops(store: Store, turns: int, key: bytes, expected_s: float) -> bool:
    """Whether a key brings the board back from the loop long before its end."""
    bench = store.bench
    _loop(store, turns)
    bench.type(bench.profile.commands.run.encode("latin-1"))
    started = bench.probe(bench.manner.line_end, quiet_s=0.5).heard
    if _is_back(store, started):  # it was refused, or did not run
        bench.regain()
        return False
    heard = bench.probe(key, quiet_s=0.4, first_s=_KEY_S, longest_s=_KEY_S).heard
    if _is_back(store, heard) and _answers(store):
        return True
    bench.probe(b"", quiet_s=2.0, first_s=2 * expected_s, longest_s=2 * expected_s + 5)
    bench.regain()
    return False


def _is_back(store: Store, heard: bytes) -> bool:
    """Whether what was heard ends as the answer to a direct command does."""
    end = store.bench.manner.ready or store.bench.manner.prompt
    return bool(end) and heard.endswith(end)


def _answers(store: Store) -> bool:
    """Whether the board takes a direct line again, and its program is still there to be listed.

    The first keys after a stop are lost on some boards, so an empty line goes before.
    """
    store.bench.probe(store.bench.manner.line_end, first_s=1.0)
    rows = store.bench.ask("PRINT 4", sure=False)
    listed = any(re.match(r" *20 ", row) for row in store.rows())
    return rows is not None and [row.strip() for row in rows] == ["4"] and listed
