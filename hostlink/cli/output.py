"""Output of the command line: data on stdout, messages on stderr, control characters escaped.

Text from boards, files and the archive passes `safe` before it reaches a terminal, so that a
control sequence in it is shown and has no effect.
"""

from __future__ import annotations

import itertools
import json
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

import click

from hostlink.cli.names import how_called
from hostlink.words import plural, safe

_GAP = "  "
_TICK = "`"  # before and after a command in a message
_COMMAND = re.compile(rf"(?<={_TICK})hostlink |(?<=^    )hostlink ", re.MULTILINE)  # or an example
_NARROWEST = 10  # characters of a column that is broken


def say(text: str, *, quiet: bool = False) -> None:
    """Print a message for the user on stderr."""
    if not quiet:
        click.echo(safe(as_called(text)), err=True)


def as_called(text: str) -> str:
    """Return a text in which each command begins as the user called hostlink."""
    return _COMMAND.sub(lambda _: f"{how_called()} ", text)


def data(text: str) -> None:
    """Print a line of data on stdout."""
    click.echo(safe(text))


def listing_text(text: str) -> None:
    """Print a listing on stdout, with its line ends."""
    click.echo(safe(text, keep="\n"), nl=not text.endswith("\n"))


def as_json(value: Any) -> None:
    """Print one JSON document on stdout.

    JSON itself leaves DEL, the control characters from 128 on and those that change the direction
    of writing as they are; here they are escaped too, which any reader of JSON understands.
    """
    text = json.dumps(value, indent=2, ensure_ascii=False, default=str)
    click.echo(
        "".join(
            character
            if character.isprintable() or character == "\n"
            else json.dumps(character)[1:-1]
            for character in text
        )
    )


def table(
    heads: Sequence[str], rows: Iterable[Sequence[object]], *, right: Sequence[str] = ()
) -> None:
    """Print a plain table to stdout. right: the heads of columns with numbers.

    On a terminal too narrow for it the widest columns are broken between words; a file or a pipe
    gets one line for each row.
    """
    cells = [list(heads), *([safe(str(cell)) for cell in row] for row in rows)]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    if sys.stdout.isatty():
        over = sum(widths) + len(_GAP) * (len(widths) - 1) - shutil.get_terminal_size().columns
        while over > 0 and max(widths) > _NARROWEST:
            widths[widths.index(max(widths))] -= 1
            over -= 1
    for row in cells:
        broken = [
            [cell] if len(cell) <= width else textwrap.wrap(cell, width, break_on_hyphens=False)
            for cell, width in zip(row, widths, strict=True)
        ]
        for parts in itertools.zip_longest(*broken, fillvalue=""):
            placed = [
                part.rjust(width) if head in right else part.ljust(width)
                for part, width, head in zip(parts, widths, heads, strict=True)
            ]
            click.echo(_GAP.join(placed).rstrip())


def results_words(count: int, limit: int) -> str:
    """Return a sentence on how many results there are. limit: the most that were asked for."""
    more = f"; there may be more, --limit {limit * 2} shows them" if count == limit else ""
    return f"{plural(count, 'result')}{more}."


def is_terminal() -> bool:
    """Return whether stderr is a terminal."""
    return sys.stderr.isatty()
