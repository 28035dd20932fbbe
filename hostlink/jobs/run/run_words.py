"""Kept runs in words: what one was, and two compared."""

from __future__ import annotations

import difflib
from dataclasses import replace

from hostlink.archive import Run
from hostlink.archive.times import local_text
from hostlink.jobs.trying import printed_by, setting_of
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


def compare_runs(first: Run, second: Run) -> tuple[list[str], str, bool]:
    """Return what two runs printed as a unified diff, a sentence, and whether it is the same.

    What a try adds to it on pins is compared only with another try.
    """
    are_tries = setting_of(first) and setting_of(second)
    old, new = (run.printed.rows if are_tries else printed_by(run) for run in (first, second))
    if rows := list(difflib.unified_diff(old, new, first.spec, second.spec, lineterm="")):
        return rows, "They differ.", False
    if replace(first.printed, rows=()) != replace(second.printed, rows=()):
        return rows, "They differ in what was not kept.", False
    if first.printed.cut:
        return rows, "They printed equally much, and what is kept of it is the same.", True
    return rows, "They printed the same.", True
