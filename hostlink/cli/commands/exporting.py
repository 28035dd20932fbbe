"""The commands archive export and archive import."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import tell_damaged
from hostlink.cli.options import KEPT_SINCE, Days, as_days, shared
from hostlink.cli.output import as_json, say
from hostlink.cli.stopping import ask_yes_no, told_when_stopped
from hostlink.cli.ways import in_commands
from hostlink.errors import RefusedError
from hostlink.sentences import ARCHIVE_UNCHANGED

if TYPE_CHECKING:
    from hostlink.advice import Advice


def made_or_not(target: Path) -> Callable[[], str]:
    """Say whether a file or folder was made, which gets its name only once it is proven."""
    before = target.exists()

    def said() -> str:
        if before:
            return f"{target} was there before and was not touched."
        if target.exists():
            return f"{target} is whole and proven."
        return f"There is no {target}. {ARCHIVE_UNCHANGED}"

    return said


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--only", multiple=True, metavar="PROGRAM", help="Only this program (may be repeated)."
)
@click.option(
    "--since",
    callback=as_days,
    metavar="DATE",
    help=KEPT_SINCE,
)
@click.option(
    "--learners", is_flag=True, help="Take the programs of learners too, which have their names."
)
@shared(json=True)
def export_bag(
    common: CommonOptions,
    folder: Path,
    only: tuple[str, ...],
    since: Days | None,
    learners: bool,
) -> int:
    """Write the archive to a new BagIt folder (RFC 8493).

    It holds every listing as a plain text file and everything else as JSON, each file with its
    SHA-256, so that it can be read without hostlink. What is damaged is left out and named, with
    exit status 1. The work of a class (`hostlink class`) is left out too, unless it is asked for.
    """
    from hostlink.jobs.exporting import export

    with (
        told_when_stopped("The export", made_or_not(folder)),
        common.archive(create=False, read_only=True) as opened,
    ):
        exported = export(
            opened, folder, programs=only, since=since and since[0], learners=learners
        )
    if common.json:
        left_out = list(exported.left_out)
        as_json(
            {
                "folder": str(folder),
                "counts": exported.counts,
                "left_out": left_out,
                "learners_left_out": exported.learners,
            }
        )
    say(exported.sentence(folder), quiet=common.quiet or common.json)
    if exported.private_words:
        say(in_commands(exported.private_words), quiet=common.quiet)
    return tell_damaged(exported.left_out)


@click.command("import")
@click.argument("source", type=click.Path(path_type=Path))
@click.option(
    "--preview", "only_preview", is_flag=True, help="Only tell what is new, different and the same."
)
@shared(json=True, yes=True)
def import_source(common: CommonOptions, source: Path, only_preview: bool) -> int:
    """Take in a BagIt folder or another archive's file.

    At a terminal it is first told what is new, different and the same, and asked once. What is
    here already is left as it is, so importing twice changes nothing. What is damaged here
    and whole there is healed. A damaged bag is refused whole; of a damaged archive what is whole is
    taken in, with exit status 1.
    """
    from hostlink.jobs.exporting import (
        change_words,
        comparison_sentences,
        import_from,
        preview,
        taken_in,
        to_take_in,
    )

    asks = sys.stdin.isatty() and not (only_preview or common.yes or common.json)
    with (
        told_when_stopped("The import", lambda: "The archive holds all of it, or nothing of it."),
        common.archive() as opened,
    ):
        if only_preview or asks:
            merged = preview(opened, source)
            _say(
                common,
                [*comparison_sentences(merged), *change_words(merged)],
                to_take_in(source, merged),
            )
            if asks and merged.anything:
                if not ask_yes_no("Take it in?"):
                    raise RefusedError("Nothing was taken in, as you said.")
                merged = import_from(opened, source)
                say(taken_in(source, merged), quiet=common.quiet)
        else:
            merged = import_from(opened, source)
            _say(common, change_words(merged), taken_in(source, merged))
    if common.json:
        as_json({"source": str(source), **dataclasses.asdict(merged)})
    return tell_damaged(merged.left_out)


def _say(common: CommonOptions, details: Sequence[Advice], sentence: str) -> None:
    """Tell what an import brings, unless it is told as JSON."""
    if common.json:
        return
    for detail in details:
        say(in_commands(detail))
    say(sentence, quiet=common.quiet)
