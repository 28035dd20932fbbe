"""What recognising the board has shown of its talk, and whether it keeps up inside a line."""

from __future__ import annotations

from hostlink.board.survey.bench import Bench

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789ABCDEFGHIJKLMN"  # 50
_TIMES = 3
_NARROWEST = 8  # columns that a screen has at least


def note_manner(bench: Bench) -> None:
    """Note what was heard while the board was recognised."""
    manner, findings = bench.manner, bench.findings
    findings.add("talk.baud", manner.baud, "empty lines had the same readable answer, twice")
    name = "CR" if manner.line_end == b"\r" else "LF"
    findings.add("talk.line_end", manner.line_end, f"a line ended by {name} alone is taken")
    says = "a typed remark came back" if manner.echo else "of a typed remark nothing came back"
    findings.add("talk.echo", manner.echo, says)
    if manner.echo:
        findings.add("talk.reply_end", manner.reply_end, "it begins every answer")
    else:
        findings.missing("talk.reply_end", "without echo an answer does not show it")
    if manner.prompt:
        findings.add("talk.prompt", manner.prompt, "it ends the answer to an empty line")
    else:
        findings.add("talk.prompt", b"", "an empty line is answered without one")
    ready = manner.ready
    says = (
        "it ends the answer to a direct command only" if ready else "the prompt ends every answer"
    )
    findings.add("talk.ready", ready, says)
    rows = tuple(dict.fromkeys((*bench.base.commands.answer_rows, *manner.answer_rows)))
    findings.add("commands.answer_rows", rows, "rows that stand round an answer")
    known = bench.base.commands.error_words
    words = tuple(word for word in manner.error_words if not known or not word.startswith(known))
    says = f"a word that it does not know is refused by {manner.refusal}"[:400]
    findings.add("commands.error_words", known + words, says)


def find_keeping_up(bench: Bench) -> None:
    """Find whether a whole direct line at wire speed arrives complete, and a screen's width.

    The board prints what it has taken, so that it is not only its echo which shows it. A screen
    that breaks what is printed has its width shown by that.
    """
    findings = bench.findings
    text = f'PRINT "{_LETTERS}"'.encode()
    whole = 0
    for _ in range(_TIMES):
        heard = bench.probe(text, first_s=1.0).heard
        rows = bench.enter(b"")
        whole += "".join(row.strip() for row in rows) == _LETTERS and _is_echo(heard, text, bench)
        width = len(rows[0].strip()) if len(rows) > 1 else 0
        if _NARROWEST <= width < len(_LETTERS):
            says = f"it breaks what it prints after {width} characters"
            findings.add("listing.screen_width", width, says, "likely")
    if whole == _TIMES:
        says = f"{len(text)} characters at wire speed arrived complete, {_TIMES} times"
        findings.add("talk.line_window", 0, says, "likely")
        findings.add("talk.char_ms", 0.0, says, "likely")
    else:
        says = f"of {_TIMES} lines at wire speed {whole} arrived complete"
        findings.add("talk.line_window", 1, says)


def _is_echo(heard: bytes, text: bytes, bench: Bench) -> bool:
    """Whether what came back is a typed text; a narrow screen breaks it into rows."""
    if not bench.manner.echo:
        return True
    return b"".join(heard.splitlines()).replace(b" ", b"") == text.replace(b" ", b"")
