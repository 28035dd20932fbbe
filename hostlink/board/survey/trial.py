"""Load a test program with everything that was found, and check that it arrives complete.

Values that were measured one by one may not work together, and if storing was too fast to observe,
the receive buffer is unknown. So a test program is sent as a load sends it, and read back. If it
did not arrive completely, the boldest value is made more careful until it does.
"""

from __future__ import annotations

from collections.abc import Iterator

from hostlink.board.survey.findings import ECHO_OF_END
from hostlink.board.survey.store import Store
from hostlink.link.regain import FoundState
from hostlink.link.sender import Sender
from hostlink.listing.canonical import canonical_lines
from hostlink.listing.charset import to_bytes
from hostlink.listing.parse import Line, Listing

_TEXTS = (
    "REM a test of the line, it's read back",
    'PRINT "every character must arrive"',
    "LET A=1",
    "PRINT A",
    "REM short",
    'PRINT "and not one of them twice"',
    "LET B=B+12",
)
_ROUNDS = 2  # times that the texts are sent, each time under other numbers
_TRIALS = 2  # consecutive ones that must arrive complete
_HELD = 16  # bytes tried where the buffer could not be measured, as on known kinds
_PATIENT_MS = 100.0


def find_by_trial(store: Store) -> None:
    """Send a test program with what was found, with more careful values until it arrives."""
    bench = store.bench
    target = _program(store)
    if not target:
        bench.notes.append("No trial load was made: no test line is listed as it was sent.")
        return
    bench.is_careful = False  # the values of the profile itself are tried
    for step in _steps(store):
        bench.renew()
        if all(_arrives(store, target) for _ in range(_TRIALS)):
            says = f"{len(target)} lines sent in this way were read back whole, {_TRIALS} times"
            _confirm(store, f"{says} {step}".strip())
            return
    lines = f"{len(target)} test lines"
    bench.notes.append(f"{lines} did not arrive whole, however slowly they were sent.")


def _program(store: Store) -> dict[int, Line]:
    """Return the test program, of lines that the board lists as sent."""
    texts = [f"{10 * at} {text}" for at, text in enumerate(_TEXTS * _ROUNDS, 1)]
    store.clear()
    store.put(*texts[: len(_TEXTS)])
    rules = store.bench.profile.rules
    reading = store.bench.dialogue.read_listing
    held = store.bench.until_steady(lambda: reading().lines) or {}
    sent = canonical_lines(Listing.from_text("\n".join(texts)).numbered(), rules)
    listed = canonical_lines(held, rules)
    good = {at for at in range(len(_TEXTS)) if listed.get(10 * (at + 1)) == sent[10 * (at + 1)]}
    kept = [text for at, text in enumerate(texts) if at % len(_TEXTS) in good]
    return Listing.from_text("\n".join(kept)).numbered()


def _steps(store: Store) -> Iterator[str]:
    """Change the findings to more careful ones step by step; yield words on each, "" as found."""
    bench = store.bench
    findings = bench.findings
    talk = bench.profile.talk
    if not findings.is_measured("talk.receive_buffer") and bench.heard_talk.echo:
        size = max(_HELD, talk.receive_buffer)
        says = f"storing is too fast to be measured; a trial with {size} lost nothing"
        findings.add("talk.receive_buffer", size, says, "likely")
    yield ""
    if bench.profile.talk.receive_buffer:
        findings.add("talk.receive_buffer", 0, "more than that lost bytes in a trial", "likely")
        yield "with nothing sent while it stores"
    if bench.profile.talk.line_window != 1:
        findings.add("talk.line_window", 1, "a trial at wire speed lost bytes", "likely")
        yield "character by character"
    if bench.profile.talk.line_done != "after-prompt":
        first = "prompt" if bench.heard_talk.prompt else ECHO_OF_END
        why = f"a line sent right after the {first} was lost in a trial"
        findings.add("talk.line_done", "after-prompt", why, "likely")
        findings.add("talk.after_prompt_ms", _PATIENT_MS, why, "likely")
        yield "with a pause after the prompt"
    for more in (2, 4):
        slow = more * _PATIENT_MS
        why = "faster lines were lost in a trial"
        findings.add("talk.line_ms", slow, why, "likely")
        findings.add("talk.char_ms", more * 5.0, "faster characters were lost in a trial", "likely")
        if bench.profile.talk.line_done == "after-prompt":
            findings.add("talk.after_prompt_ms", slow, why, "likely")
        yield f"with {slow:.0f} ms a line"


def _arrives(store: Store, target: dict[int, Line]) -> bool:
    """Return whether the program arrives completely at the first try, sent as a load does."""
    bench = store.bench
    dialogue, rules = bench.dialogue, bench.profile.rules
    store.clear()
    lines = [to_bytes(line.typed, rules.form.charset) for line in target.values()]
    core = Sender(lines, dialogue.pacing)
    bench.run(core)
    if core.damage is not None:
        if dialogue.regain(may_interrupt=False).found is not FoundState.PROMPT:
            bench.regain()  # again, because it may have been busy with what was sent
        return False
    wanted = canonical_lines(target, rules)
    held = bench.until_steady(lambda: dialogue.read_listing().lines) or {}
    return canonical_lines(held, rules) == wanted


def _confirm(store: Store, says: str) -> None:
    """Record as likely the values that were proven together but not found before."""
    findings, talk = store.bench.findings, store.bench.profile.talk
    for key in ("receive_buffer", "line_window", "line_done", "line_ms", "char_ms"):
        if f"talk.{key}" not in findings:
            findings.add(f"talk.{key}", getattr(talk, key), says, "likely")
    store.clear()
