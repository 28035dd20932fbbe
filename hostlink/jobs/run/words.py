"""Words for kept runs, the same in every user interface."""

from __future__ import annotations

from hostlink.archive import Run


def end_words(run: Run) -> str:
    """Say in a few words how a run ended."""
    where = "" if run.end.line is None else f" in line {run.end.line}"
    said = f": {run.end.error}" if run.end.error else ""
    return f"{run.end.outcome}{where}{said}" + (" (expected)" if run.expected else "")


def cut_words(run: Run) -> str:
    """Say how much of what was printed was not kept."""
    return f"({run.printed.cut:,} bytes printed here were not kept.)"
