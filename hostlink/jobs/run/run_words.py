"""Kept runs in words: what one was, and two compared."""

from __future__ import annotations

import difflib

from hostlink.archive import Run
from hostlink.archive.times import local_text
from hostlink.sentences import NO_LABEL
from hostlink.words import plural


def run_words(run: Run) -> str:
    """Return a sentence on a run: of what, on which board, when, how long, how it ended."""
    board = run.board or (NO_LABEL if run.board_uuid else "no board")
    typed = f", {plural(len(run.typed.rows), 'answer')} typed" if run.typed.rows else ""
    return (
        f"{run.spec} of {run.revision or 'a program of no revision'} on {board}, "
        f"{local_text(run.at)}, {run.seconds:.1f} s{typed}; {run.ended}."
    )


def compare_runs(first: Run, second: Run) -> tuple[list[str], str]:
    """Return what two runs printed as a unified diff, without rows if equal, and a sentence."""
    both = first.printed.rows, second.printed.rows
    rows = list(difflib.unified_diff(*both, first.spec, second.spec, lineterm=""))
    if first.printed != second.printed:
        return rows, "They differ." if rows else "They differ in what was not kept."
    if first.printed.cut:
        return rows, "They printed equally much, and what is kept of it is the same."
    return rows, "They printed the same."
