"""Record how the board talks, also by itself, and find whether it keeps up within a line."""

from __future__ import annotations

from collections import defaultdict

from hostlink.board.dialogue.own_rows import is_own, shape_of
from hostlink.board.dialogue.reading import rows_of, without_controls
from hostlink.board.profile.checks import is_like_line
from hostlink.board.survey.bench import Bench
from hostlink.errors import LinkError, LinkReason
from hostlink.listing.charset import to_text
from hostlink.sentences import STOP_PRINTING, UNTOUCHED
from hostlink.words import safe

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789ABCDEFGHIJKLMN"  # 50 characters
_TIMES = 3
# Milliseconds between characters, tried without echo, which would show what is too fast.
_CHAR_MS = (0.0, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
_NARROWEST = 8  # columns of the narrowest screen
# Seconds without a row after which a board at its prompt prints none by itself, and seconds for
# which it is listened to if it does: estimates.
_IDLE_S, _LISTENED_S = 2.0, 12.0


def note_heard_talk(bench: Bench) -> None:
    """Record what was heard while the board was recognised."""
    heard_talk, findings = bench.heard_talk, bench.findings
    findings.add("talk.baud", heard_talk.baud, "empty lines had the same readable answer, twice")
    name = "CR" if heard_talk.line_end == b"\r" else "LF"
    findings.add("talk.line_end", heard_talk.line_end, f"a line ended by {name} alone is taken")
    says = "a typed remark came back" if heard_talk.echo else "nothing of a typed remark came back"
    findings.add("talk.echo", heard_talk.echo, says)
    if heard_talk.echo:
        findings.add("talk.reply_end", heard_talk.reply_end, "it begins every answer")
    else:
        findings.missing("talk.reply_end", "without echo an answer does not show it")
    if heard_talk.prompt:
        findings.add("talk.prompt", heard_talk.prompt, "it ends the answer to an empty line")
    else:
        findings.add("talk.prompt", b"", "an empty line is answered without one")
    ready = heard_talk.ready
    says = (
        "it ends the answer to a direct command only" if ready else "the prompt ends every answer"
    )
    findings.add("talk.ready", ready, says)
    rows = tuple(dict.fromkeys((*bench.base.commands.answer_rows, *heard_talk.answer_rows)))
    findings.add("commands.answer_rows", rows, "rows printed around an answer")
    known = bench.base.commands.error_words
    words = tuple(
        word for word in heard_talk.error_words if not known or not word.startswith(known)
    )
    says = f'it answers "{" ".join(heard_talk.refusal)}" to an unknown word'[:400]
    findings.add("commands.error_words", known + words, says)


def find_idle_rows(bench: Bench) -> None:
    """Find the rows that the board prints by itself at its prompt, again and again.

    Raises LinkError for a row that looks like a line, because no profile can name it.
    """
    heard = bench.probe(b"", quiet_s=_IDLE_S, longest_s=_LISTENED_S).heard
    charset = bench.profile.rules.form.charset
    prompt = without_controls(to_text(bench.heard_talk.prompt, charset)).strip()
    by_shape = defaultdict[str, list[str]](list)
    for row in rows_of(to_text(heard, charset)):
        if bare := row.strip().removeprefix(prompt).strip():
            by_shape[shape_of(bare)].append(bare)
    again = {shape: rows for shape, rows in by_shape.items() if len(rows) > 1}
    bench.is_still = not again
    if like := next((rows[-1] for rows in again.values() if is_like_line(rows[-1])), ""):
        raise LinkError(
            f'The board prints "{safe(like[:60])}" by itself, which looks like a line, so what it '
            "lists cannot be told from that.",
            reason=LinkReason.FLOODING,
            kept=UNTOUCHED,
            advice=STOP_PRINTING,
        )
    own = [rows[0] if len(set(rows)) == 1 else shape for shape, rows in again.items()]
    known = bench.base.talk.idle_chatter
    if named := [row for row in own if not is_own(row, known)]:
        says = "it printed this again and again while nothing was sent"
        bench.findings.add("talk.idle_chatter", (*known, *named), says)


def find_keeping_up(bench: Bench) -> None:
    """Find whether a whole direct line at wire speed arrives completely, and the screen width.

    The board prints what it received, so the proof is not only its echo. A screen that breaks
    printed text shows its width.
    """
    findings = bench.findings
    text = f'PRINT "{_LETTERS}"'.encode()
    for char_ms in (0.0,) if bench.heard_talk.echo else _CHAR_MS:
        whole = sum(_is_whole(bench, text, char_ms) for _ in range(_TIMES))
        if whole == _TIMES:
            break
    at = f"{char_ms:g} ms apart" if char_ms else "at wire speed"
    says = f"{len(text)} characters {at} arrived complete {whole} of {_TIMES} times"
    if bench.heard_talk.echo:
        findings.add("talk.line_window", 0 if whole == _TIMES else 1, says, "likely")
        findings.add("talk.char_ms", 0.0, says, "likely")
    elif whole == _TIMES:
        # Without echo nothing shows whether a longer line is too fast: take the next slower time.
        slower = next((each for each in _CHAR_MS if each > char_ms), char_ms)
        findings.add("talk.char_ms", slower, says, "likely")


def _is_whole(bench: Bench, text: bytes, char_ms: float) -> bool:
    """Return whether a typed text comes back and its output is complete.

    char_ms: time between characters, 0 for wire speed.
    """
    if char_ms:
        for place in range(len(text)):
            bench.probe(text[place : place + 1], quiet_s=char_ms / 1000, at_least=False)
        heard = text
    else:
        heard = bench.probe(text, first_s=1.0).heard
    rows = bench.enter(b"")
    width = len(rows[0].strip()) if len(rows) > 1 else 0
    if _NARROWEST <= width < len(_LETTERS):
        says = f"it breaks what it prints after {width} characters"
        bench.findings.add("listing.screen_width", width, says, "likely")
    return "".join(row.strip() for row in rows) == _LETTERS and _is_echo(heard, text, bench)


def _is_echo(heard: bytes, text: bytes, bench: Bench) -> bool:
    """Return whether an echo is the typed text; a narrow screen breaks it into rows."""
    if not bench.heard_talk.echo:
        return True
    return b"".join(heard.splitlines()).replace(b" ", b"") == text.replace(b" ", b"")
