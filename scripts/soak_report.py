"""What a soak found, as rows and targets."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bench_report import Row, Target
from soak_boards import NAMES
from soak_drawn import FAULTS
from soak_expected import most_undetected
from soak_jobs import Outcome
from soak_truth import Trouble

# Decision: at least so many of a hundred jobs of all kinds succeed at that much damage.
LEAST_DONE = {"damage 0.1%": 99, "damage 0.5%": 90, "damage 1.0%": 50}
ENOUGH = 100  # jobs, for a share to say anything
SHOWN = ("load", "save", "backup", "firmware")  # kinds with a share of their own in the table
# Only these can come from what a board says of itself. Whatever it says, an error that is not
# hostlink's own, a hang or a loss of the archive is hostlink's doing.
FROM_LIES = ("silent", "lost", "untrue")


def is_beyond(outcome: Outcome, trouble: Trouble) -> bool:
    """Whether a trouble comes of a lie that no host could notice."""
    return outcome.beyond and trouble.kind in FROM_LIES


def counted(outcome: Outcome) -> list[Trouble]:
    """The troubles of a job that count: those not beyond any host."""
    return [trouble for trouble in outcome.troubles if not is_beyond(outcome, trouble)]


def total(outcomes: Sequence[Outcome], *kinds: str) -> int:
    """How many jobs show a trouble of one of these kinds that counts."""
    return sum(any(t.kind in kinds for t in counted(outcome)) for outcome in outcomes)


def share(held: Sequence[bool]) -> float | None:
    """Per cent, None of nothing."""
    return round(100 * sum(held) / len(held), 2) if held else None


def job_rows(outcomes: Sequence[Outcome]) -> list[Row]:
    """One row for each fault of the wire, and one for each kind of board."""
    by_fault = [_row(fault, [each for each in outcomes if each.fault == fault])
                for fault in FAULTS]  # fmt: skip
    by_board = [_row(f"on: {name}", [each for each in outcomes if each.board == name])
                for name in NAMES]  # fmt: skip
    return by_fault + by_board


def _row(what: str, some: Sequence[Outcome]) -> Row:
    def done(fits: Callable[[Outcome], bool]) -> float | None:
        return share([each.done for each in some if each.fair and fits(each)])

    return {
        "what": what,
        "trials": len(some),
        **{f"{kind}_%": done(lambda each, kind=kind: each.kind == kind) for kind in SHOWN},
        "other_%": done(lambda each: each.kind not in SHOWN),
        "refused": sum(1 for each in some if each.error),
        "silent": total(some, "silent"),
        "expected": round(sum(each.expected for each in some), 4),
        "lost": total(some, "lost"),
        "untrue": total(some, "untrue"),
        "hangs": total(some, "hang"),
        "quiet": total(some, "quiet"),
        "uncaught": total(some, "uncaught", "archive", "shown"),
        "beyond": sum(any(is_beyond(each, t) for t in each.troubles) for each in some),
        "longest_s": round(max((each.seconds for each in some), default=0.0), 1),
    }


def other_row(what: str, trials: int, refused: int, troubles: Sequence[str]) -> Row:
    """A row of a trial that is no virtual job; its troubles count as uncaught."""
    empty = {**_row(what, []), "trials": trials, "refused": refused, "uncaught": len(troubles)}
    return {**empty, "longest_s": None}


def targets_of(outcomes: Sequence[Outcome], others: Sequence[Row]) -> list[Target]:
    """What must hold. others: the rows of trials that are no virtual jobs."""
    expected = sum(each.expected for each in outcomes)
    elsewhere = sum(int(row["uncaught"] or 0) for row in others)
    uncaught = total(outcomes, "uncaught", "archive", "shown") + elsewhere
    targets = [
        Target.at_most("silent errors", total(outcomes, "silent"), most_undetected(expected)),
        Target.at_most("lost programs", total(outcomes, "lost"), 0),
        Target.at_most("errors that say what is not so", total(outcomes, "untrue"), 0),
        Target.at_most("hangs", total(outcomes, "hang"), 0),
        Target.at_most("jobs that tell nothing for a minute", total(outcomes, "quiet"), 0),
        Target.at_most("uncaught errors, and losses of the archive", uncaught, 0),
    ]
    for fault, least in LEAST_DONE.items():
        fair = [each.done for each in outcomes if each.fault == fault and each.fair]
        if (value := share(fair)) is not None and len(fair) >= ENOUGH:
            targets.append(Target.at_least(f"% of jobs done, {fault}", value, least))
    return targets


def notes_of(outcomes: Sequence[Outcome]) -> list[str]:
    """What a reader has to know of the rows."""
    expected = sum(each.expected for each in outcomes)
    return [
        "Each job stands in two rows: its fault of the wire, and its kind of board (on: ...).",
        "_%: of a hundred, proven; only boards that are as their profile says count.",
        "silent: called done and was not, or kept though the board never held it; expected: what",
        f"the voting rules let through on average, {expected:.4f} in all. Chance exceeds the limit",
        "once in a thousand runs (Poisson).",
        "beyond: lies that no host could notice.",
    ]
