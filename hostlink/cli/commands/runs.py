"""The command runs: what programs printed when they were run, and how that ended."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.archive.times import local_text
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import show_records
from hostlink.cli.drawing import draw_options, show_drawing, wants_drawing
from hostlink.cli.options import limit_option, shared
from hostlink.cli.output import as_json, data, results_words, say
from hostlink.errors import ExitStatus

if TYPE_CHECKING:
    from hostlink.archive import Run


@click.command()
@click.argument("what", required=False)
@click.argument("other", required=False)
@draw_options("the numbers that it printed")
@limit_option("Limit the list to this many runs, at most {most}.")
@shared(json=True, yes=True)
def runs(
    common: CommonOptions,
    what: str | None,
    other: str | None,
    plot: bool,
    svg: Path | None,
    csv: Path | None,
    limit: int,
) -> int:
    """Show what programs printed when they were run.

    WHAT is a program, whose runs are listed; run@12 or PROGRAM@3 prints one run, the last one of
    that revision. With OTHER both are compared; exit status 1 if what they printed differs.
    Without WHAT all runs are listed.
    """
    from hostlink.jobs.drawing import drawing_of_run

    draws = wants_drawing(plot, svg, csv, also=common.json)
    if other is not None or (what is None and draws):
        if draws or what is None or other is None:
            raise click.UsageError("--plot, --svg and --csv need one WHAT.")
        return _compare(common, what, other)
    if what is not None and (draws or "@" in what):
        with common.reading() as archive:
            run = archive.run(what)
        if draws:
            show_drawing(common, drawing_of_run(run), plot=plot, svg=svg, csv=csv)
        if common.json or not draws:
            _show(common, run)
        return ExitStatus.DONE
    with common.reading() as archive:
        found = archive.runs(what, limit=limit)
    counted = results_words(len(found), limit)
    return show_records(common, found, run_dict, _COLUMNS, counted, right=["took", "rows"])


_COLUMNS: dict[str, Callable[[Run], object]] = {
    "run": lambda run: run.spec,
    "when": lambda run: local_text(run.at),
    "revision": lambda run: run.revision,
    "board": lambda run: run.board,
    "took": lambda run: f"{run.seconds:.1f} s",
    "rows": lambda run: len(run.printed.rows),
    "ended": lambda run: run.ended,
}


def run_dict(run: Run) -> dict[str, object]:
    """Return the JSON for a run."""
    printed, typed, end = run.printed, run.typed, run.end
    return {
        "run": run.spec, "revision": run.revision or None, "board": run.board or None,
        "profile": run.profile, "at": run.at.isoformat(), "seconds": run.seconds,
        "command": run.command, "typed": list(typed.rows), "typed_bytes_cut": typed.cut,
        "output": "\n".join(printed.rows), "bytes_cut": printed.cut,
        "cut_after_row": printed.cut_after if printed.cut else None, "outcome": end.outcome,
        "error": end.error or None, "line": end.line, "expected": run.expected,
    }  # fmt: skip


def _show(common: CommonOptions, run: Run) -> None:
    from hostlink.jobs.run.run_words import run_words

    if common.json:
        as_json(run_dict(run))
        return
    for at, row in enumerate(run.printed.rows):
        if run.printed.cut and at == run.printed.cut_after:
            say(run.printed.missing)
        data(row)
    say(run_words(run), quiet=common.quiet)


def _compare(common: CommonOptions, what: str, other: str) -> int:
    from hostlink.jobs.run.run_words import compare_runs, run_words

    with common.reading() as archive:
        first, second = archive.run(what), archive.run(other)
    rows, told, equal = compare_runs(first, second)
    if common.json:
        as_json({"a": run_dict(first), "b": run_dict(second), "equal": equal, "diff": rows})
    else:
        for row in rows:
            data(row)
        for run in (first, second):
            say(run_words(run), quiet=common.quiet)
            if run.printed.cut:
                say(run.printed.missing)
        say(told, quiet=common.quiet)
    return ExitStatus.DONE if equal else ExitStatus.REFUSED


def find_printed(common: CommonOptions, question: str, limit: int) -> int:
    """Search what programs printed, and show the runs that match; the command find --printed."""
    with common.reading() as archive:
        found = archive.find_printed(question, limit=limit)
    return show_records(
        common,
        found,
        lambda each: {**run_dict(each.run), "row": each.row},
        {
            "found": lambda each: each.run.revision,
            "run": lambda each: each.run.spec,
            "when": lambda each: local_text(each.run.at),
            "row": lambda each: each.marked,
        },
        results_words(len(found), limit),
    )
