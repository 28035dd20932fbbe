"""Kept runs in words: one described, and two compared."""

from __future__ import annotations

import difflib
from dataclasses import replace

from hostlink.archive import Run
from hostlink.archive.times import local_text
from hostlink.jobs.trying import printed_by, setting_of
from hostlink.sentences import NO_LABEL
from hostlink.words import plural


def run_words(run: Run) -> str:
    """Describe a run in a sentence: the program, the board, when, how long, how it ended."""
    board = run.board or (NO_LABEL if run.board_uuid else "no board")
    typed = f", {plural(len(run.typed.rows), 'answer')} typed" if run.typed.rows else ""
    return (
        f"{run.spec} of {run.revision or 'an unkept program'} on {board}, "
        f"{local_text(run.at)}, {run.seconds:.1f} s{typed}; {run.ended}."
    )


def compare_runs(first: Run, second: Run) -> tuple[list[str], str, bool]:
    """Return a unified diff of what two runs printed, a sentence, and whether it is the same.

    The rows on pins, which a run without a board adds, are compared only if both have no board.
    """
    are_tries = setting_of(first) and setting_of(second)
    old, new = (run.printed.rows if are_tries else printed_by(run) for run in (first, second))
    if rows := list(difflib.unified_diff(old, new, first.spec, second.spec, lineterm="")):
        return rows, "They differ.", False
    if replace(first.printed, rows=()) != replace(second.printed, rows=()):
        return rows, "They differ in what was not kept.", False
    if first.printed.cut:
        return rows, "They printed the same amount, and what was kept of it is the same.", True
    return rows, "They printed the same.", True
