"""How far a job has come, in words. Pure functions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hostlink.app.sentences import STOPPING
from hostlink.words import plural, sent_again

if TYPE_CHECKING:
    from hostlink.app.job import Job, Progress

_BITS = 10  # of one byte on the wire: start bit, eight data bits, stop bit


def job_row(job: Job[Any], width: int) -> str:
    """Describe how far a job has come, in as much detail as fits into `width` columns."""
    phase = STOPPING if job.stopping else job.progress.phase
    row = f"{job.name}: {phase}"
    baud = job.attached.choice.effective.talk.baud
    for part in figures(job.progress, baud) if not job.stopping else ():
        if len(row) + len(part) + 2 > width:
            break
        row += f", {part}"
    return row


def figures(progress: Progress, baud: int) -> list[str]:
    """Return figures of a job's progress, the most important first. baud: the speed of the link."""
    if progress.detail and progress.all_pages:
        return [_left(progress, baud), progress.detail]
    if progress.detail or not progress.all_lines:
        return [progress.detail] if progress.detail else []
    words = [left] if (left := _left(progress, baud)) else []
    words.append(f"{progress.sent_lines:,} of {plural(progress.all_lines, 'line')}")
    words.append(f"{progress.sent_bytes:,} of {plural(progress.all_bytes, 'byte')}")
    if progress.repairs:
        words.append(sent_again(progress.repairs))
    if progress.rate:
        share = min(100, round(100 * progress.rate * _BITS / baud))
        words += [f"{progress.rate:,.0f} bytes a second", f"{share} % of the wire's limit"]
    return words


def _left(progress: Progress, baud: int) -> str:
    """Return how long a job, or its pages of this phase, will still take; "" if unknown."""
    left = progress.left_s(baud / _BITS)
    if left is None:
        return ""
    of_phase = " for this part" if progress.all_pages else ""
    return f"about {max(1, round(left)):,} s left{of_phase}"
