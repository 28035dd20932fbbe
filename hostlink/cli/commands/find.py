"""The command find."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from hostlink.cli.commands.programs import item_dict, size_words
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import show_records
from hostlink.cli.options import KEPT_SINCE, ONLY_TAGGED, Days, as_days, limit_option, shared
from hostlink.cli.output import results_words, say

if TYPE_CHECKING:
    from hostlink.archive import Found


def _size_range(
    _ctx: click.Context, _option: click.Parameter, text: str | None
) -> tuple[int, int] | None:
    """Parse the smallest and largest size in bytes given to `--size`."""
    if text is None:
        return None
    fits = re.fullmatch(r"([0-9]{1,9})?(?:(-)([0-9]{1,9})?)?", text.strip())
    least, dash, most = fits.groups() if fits else (None, None, None)
    if least is None and most is None:
        raise click.BadParameter(
            f'"{text}" is not a size in bytes: write 400-999, 400-, -999 or 500.'
        )
    sizes = (int(least or 0), int(most) if most else 10**9 if dash else int(least or 0))
    if sizes[0] > sizes[1]:
        raise click.BadParameter(f'"{text}" is not a range of sizes: the first one is larger.')
    return sizes


@click.command()
@click.argument("words", nargs=-1)
@click.option("--printed", is_flag=True, help="Search the kept output of runs.")
@ONLY_TAGGED
@click.option("--board", metavar="LABEL", help="Only what came from this board, by its label.")
@click.option(
    "--size",
    metavar="LEAST-MOST",
    callback=_size_range,
    help="Only what takes this many bytes on the board: 400-999, 400-, -999 or 500.",
)
@limit_option("Limit the results to this many, at most {most}.")
@click.option(
    "--kind",
    metavar="PROFILE",
    help="Only listings for this kind of board, by its profile's name.",
)
@click.option(
    "--from",
    "--since",
    "first",
    callback=as_days,
    metavar="DATE",
    help=KEPT_SINCE,
)
@click.option(
    "--until",
    "last",
    callback=as_days,
    metavar="DATE",
    help="Only what was kept by the end of that date.",
)
@shared(json=True)
def find(
    common: CommonOptions,
    words: tuple[str, ...],
    printed: bool,
    tag: str | None,
    board: str | None,
    size: tuple[int, int] | None,
    limit: int,
    kind: str | None,
    first: Days | None,
    last: Days | None,
) -> int:
    """Search names, titles, notes, tags and listings, or what was printed.

    All WORDS must occur. If nothing has them all, words that differ in a letter are searched for,
    and what has most of the WORDS comes first. `find GOSUB 900` finds GOSUB900 too. Without WORDS
    the options alone choose. In the line shown, the words are between » and «.
    """
    if words and not any(map(str.isalnum, "".join(words))):
        say("Only letters and digits can be searched for.", quiet=common.quiet)
    chosen = any(each is not None for each in (tag, board, size, kind, first, last))
    if printed:
        if chosen or not words:
            raise click.UsageError("--printed takes words, and no option that chooses programs.")
        from hostlink.cli.commands.runs import find_printed

        return find_printed(common, " ".join(words), limit)
    if not words and not chosen:
        raise click.UsageError("Name words to look for, or give an option that chooses programs.")
    since, before = first and first[0], last and last[1]
    if since and before and since >= before:
        raise click.UsageError("--from is later than --until.")
    with common.reading() as archive:
        found = archive.find(
            " ".join(words), tag=tag, board=board, size=size, profile=kind, since=since,
            before=before, near=True, limit=limit,
        )  # fmt: skip
    say(" ".join(found.near), quiet=common.quiet or not found.near)
    counted = results_words(len(found), limit)
    return show_records(common, found, _found_dict, _COLUMNS, counted, right=["bytes"])


_COLUMNS: dict[str, Callable[[Found], object]] = {
    "found": lambda each: each.item.spec,
    "bytes": lambda each: size_words(each.item.size_bytes),
    "title": lambda each: each.program.title if each.program else "",
    "line": lambda each: each.marked,
}


def _found_dict(found: Found) -> dict[str, object]:
    return {
        **item_dict(found.item),
        "line": found.line,
        "marks": found.marks,
        "words": found.words,
        "title": found.program.title if found.program else "",
    }
