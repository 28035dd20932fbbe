"""The options --plot, --svg and --csv, and what they show of a drawing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.options import FILE
from hostlink.cli.output import data, listing_text, say
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.jobs.drawing import Drawing
    from hostlink.publish.numbers import Columns

_HEIGHT = 20  # rows of a drawing


def draw_options(drawn: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return the options plot, svg and csv. drawn: what is drawn, as it follows "Draw"."""

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in (
            click.option(
                "--csv",
                type=FILE,
                help="Write the numbers to a file, as comma-separated values; - is stdout.",
            ),
            click.option("--svg", type=FILE, help="Draw it to an SVG file."),
            click.option("--plot", is_flag=True, help=f"Draw {drawn}."),
        ):
            command = option(command)
        return command

    return add


def wants_drawing(plot: bool, svg: Path | None, csv: Path | None, *, also: bool) -> bool:
    """Return whether one of `draw_options` is given. also: stdout gets more, such as JSON.

    Raises UsageError if a file is stdout and would be mixed with anything else there.
    """
    on_stdout = [svg, csv].count(Path("-"))
    if on_stdout and on_stdout + (plot or also) > 1:
        raise click.UsageError("With --csv - or --svg - nothing else can go to standard output.")
    return plot or svg is not None or csv is not None


def show_drawing(
    common: CommonOptions, drawing: Drawing, *, plot: bool, svg: Path | None, csv: Path | None
) -> None:
    """Write a drawing to the files that are named and, with `plot` and without --json, print it."""
    for path, as_csv in ((csv, True), (svg, False)):
        if path == Path("-"):
            listing_text(drawing.text(as_csv=as_csv).replace("\r\n", "\n"))
        elif path is not None:
            say(drawing.write(path, as_csv=as_csv, replace=common.yes), quiet=common.quiet)
    if plot and not common.json:
        plot_drawing(drawing, data)


def plot_drawing(drawing: Drawing, show: Callable[[str], object]) -> None:
    """Draw in the width of the terminal. show: prints a row."""
    if drawing.missing:
        say(drawing.missing)
    for row in plotted(drawing.lanes):
        show(row)


def plotted(lanes: Sequence[Columns]) -> list[str]:
    """Return the rows of a drawing, as many and as wide as the terminal has room for."""
    from rich.console import Console

    from hostlink.publish.plot import plot_rows

    size = Console(stderr=True).size
    return list(map(safe, plot_rows(lanes, size.width - 1, min(_HEIGHT, size.height - 3))))
