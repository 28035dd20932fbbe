"""Find the key that stops a running program, with a loop that ends by itself.

An endless program would need a restart if no key stops it. So the loop is long enough to try the
keys, ends in any case, and then prints a number. A key has stopped it if that number does not come
and the board accepts a direct line again.
"""

from __future__ import annotations

from hostlink.board.dialogue.reading import rows_of
from hostlink.board.survey.store import Store
from hostlink.link.probe import Probe

_KEYS = (b"\x03", b"\x1b", b"#", b"\x18")  # common practice, no source
_TURNS = 100  # of the loop that is timed first
_MOST_TURNS = 30_000
_LONGER = 20  # times as many turns as before, at most
_LONG_S = 6.0  # seconds that the loop should run
_ENOUGH_S = 3.0  # that it must run
_KEY_S = 1.5  # seconds after a key in which a stopped board responds
_LONGEST_S = 120.0
_MARK = "7"  # printed where the loop has ended by itself


def find_interrupt(store: Store) -> None:
    """Find the key that ends the loop early."""
    findings = store.bench.findings
    turns, seconds = _long_loop(store)
    if seconds is None:
        findings.missing("talk.interrupt", "a counting loop does not finish")
        return
    optional = store.bench.profile.rules.language.optional
    if "END" not in optional:
        says = "a program runs to its end without it"
        findings.add("language.optional", (*optional, "END"), says)
    if seconds < _ENOUGH_S:
        findings.missing("talk.interrupt", f"a loop of {turns:,} turns ends too soon to try")
        return
    keys = dict.fromkeys(filter(None, (store.bench.profile.talk.interrupt, *_KEYS)))
    for key in keys:
        if _stops(store, turns, key, seconds):
            says = f"byte {key[0]} stops a loop of {seconds:.0f} s at once"
            findings.add("talk.interrupt", key, says)
            return
    tried = ", ".join(str(key[0]) for key in keys)
    findings.add("talk.interrupt", b"", f"none of the bytes {tried} stops a program", "likely")


def _long_loop(store: Store) -> tuple[int, float | None]:
    """Return the turns of a loop that runs long enough, and its time in seconds.

    The time is None if it does not finish.
    """
    turns = _TURNS
    while True:
        seconds = _timed(store, turns)
        if seconds is None or seconds >= _ENOUGH_S or turns == _MOST_TURNS:
            return turns, seconds
        turns = min(_MOST_TURNS, int(turns * min(_LONGER, _LONG_S / max(seconds, 0.01))))


def _loop(store: Store, turns: int) -> None:
    """Store a loop with a number of turns, in words that every BASIC of the kind has."""
    then = "" if "THEN" in store.bench.words.get("unknown", ()) else "THEN "
    store.clear()
    jump = f"30 IF I<{turns} {then or 'GOTO '}20"
    store.put("10 LET I=0", "20 LET I=I+1", jump, f"40 PRINT {_MARK}")


def _timed(store: Store, turns: int) -> float | None:
    """Return the time of a loop in seconds, or None if it does not end by itself."""
    _loop(store, turns)
    core = _start(store, first_s=_LONGEST_S, quiet_s=1.5)
    arrivals, heard = core.arrivals, core.heard
    if not (_has_ended(heard) or core.overdue or _prompt_is_back(store, heard)):
        more = store.bench.probe(b"", quiet_s=1.5, first_s=_LONGEST_S, longest_s=_LONGEST_S)
        arrivals, heard = arrivals + more.arrivals, heard + more.heard
    return arrivals[-1][0] - core.sent_at if _has_ended(heard) else None


def _start(store: Store, *, first_s: float, quiet_s: float) -> Probe:
    bench = store.bench
    bench.type(bench.profile.commands.run.encode("latin-1"))
    end = bench.heard_talk.line_end
    return bench.probe(end, quiet_s=quiet_s, first_s=first_s, longest_s=_LONGEST_S)


def _has_ended(heard: bytes) -> bool:
    """Return whether the loop printed that it ended by itself."""
    return any(row.strip() == _MARK for row in rows_of(heard.decode("latin-1")))


def _prompt_is_back(store: Store, heard: bytes) -> bool:
    """Return whether the prompt came last: the loop was stopped, or ended by an error."""
    talk = store.bench.heard_talk
    end = talk.ready or talk.prompt
    return bool(end) and heard.endswith(end)


def _stops(store: Store, turns: int, key: bytes, expected_s: float) -> bool:
    """Return whether a key ends the loop early and the board responds."""
    bench = store.bench
    _loop(store, turns)
    heard = _start(store, first_s=0.0, quiet_s=0.5).heard
    if not _has_ended(heard):
        heard += bench.probe(key, quiet_s=0.4, first_s=_KEY_S, longest_s=_KEY_S).heard
    if not (_has_ended(heard) or _prompt_is_back(store, heard)):
        rest_s = 1.5 * expected_s + 2.0
        heard += bench.probe(b"", quiet_s=1.0, first_s=rest_s, longest_s=rest_s).heard
    if not _has_ended(heard) and _answers(store):
        return True
    bench.regain()
    return False


def _answers(store: Store) -> bool:
    """Return whether the board accepts a direct line again and still lists its program.

    Some boards lose the first keys after a stop, so an empty line goes first.
    """
    bench = store.bench
    bench.probe(bench.heard_talk.line_end, first_s=1.0)
    rows = bench.ask("PRINT 4", sure=False)
    answered = rows is not None and [row.strip() for row in rows] == ["4"]
    return answered and 20 in bench.dialogue.read_listing().lines
