"""The commands keep and give: listings into the archive from files, and out of it into files."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.advice import Advice
from hostlink.cli.commands.choosing import (
    chosen_listings,
    left_out_dicts,
    program_choice,
    tell_left_out,
)
from hostlink.cli.context import CommonOptions
from hostlink.cli.options import MADE_IF_MISSING, output_option, shared
from hostlink.cli.output import as_json, say, table
from hostlink.cli.ways import COMMANDS
from hostlink.errors import ExitStatus, RefusedError, UsageError
from hostlink.sentences import CHECK_FILE_OR_FOLDER
from hostlink.words import plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hostlink.jobs.collecting import Collected, Gathered


@click.command()
@click.argument("sources", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--any-characters",
    is_flag=True,
    help="Also keep listings with characters that the board lacks.",
)
@click.option(
    "--as",
    "name",
    metavar="PROGRAM",
    help="Keep the one listing given, or rescue@2 or TIDE@3, as a revision of this program.",
)
@shared(profile=True, json=True)
def keep(
    common: CommonOptions, sources: tuple[Path, ...], any_characters: bool, name: str | None
) -> int:
    """Keep listings in the archive: files, folders, zip files, sheets.

    Each becomes a revision of the program named after its file; with --as a rescue, an older
    revision or a file becomes a revision of the program that you name. Exit status 1 if one was
    left out.
    """
    from hostlink.cli.named_listing import read_stdin
    from hostlink.jobs.collecting import gather, gather_one, keep_all

    profile = common.the_profile()
    is_input = sources == (Path("-"),)
    if is_input and name is None:
        raise UsageError("Standard input has no name: add --as PROGRAM.", kept="Nothing was kept.")
    if name is None:
        _must_be_there(sources)
        gathered = gather(sources, profile, any_characters=any_characters)
    elif len(sources) > 1:
        raise UsageError("--as names one program, so give one listing.", kept="Nothing was kept.")
    with common.archive() as archive:
        if name is not None:
            gathered = gather_one(
                str(sources[0]),
                name,
                archive,
                profile,
                any_characters=any_characters,
                stdin=read_stdin() if is_input else None,
            )
        collected = keep_all(archive, gathered, profile)
    _tell_kept(common, collected, gathered)
    return ExitStatus.REFUSED if collected.left_out else ExitStatus.DONE


def _must_be_there(sources: Sequence[Path]) -> None:
    """Refuse sources that do not exist; advise --as for a revision or a shipped program."""
    from hostlink.jobs.listing_source import SHIPPED, shipped_programs

    for source in sources:
        if not source.exists():
            advice: Advice = CHECK_FILE_OR_FOLDER
            if (name := str(source).removeprefix(SHIPPED).upper()) in shipped_programs():
                advice = f"Keep the shipped program {COMMANDS.keep(SHIPPED + name)}."
            elif "@" in str(source):
                advice = f"`hostlink keep {source} --as NAME` keeps it."
            raise RefusedError(f"There is no {source}.", kept="Nothing was kept.", advice=advice)


def _kept_dict(collected: Collected, gathered: Gathered) -> dict[str, object]:
    return {
        "kept": [
            {"spec": one.revision.spec, "new": one.is_new, "from": material.label}
            for material, one in collected.kept
        ],
        "left_out": left_out_dicts(collected.left_out),
        "remarks": list(collected.remarks),
        "passed_over": list(gathered.passed_over),
        "folders": list(gathered.folders),
    }


def _tell_kept(common: CommonOptions, collected: Collected, gathered: Gathered) -> None:
    """Say what was kept, what was left out, and why."""
    tell_left_out(collected.left_out)
    kept = collected.kept
    if common.json:
        as_json(_kept_dict(collected, gathered))
    elif kept:
        table(
            ["kept", "bytes", "from"],
            [
                [
                    one.revision.spec + ("" if one.is_new else " (held already)"),
                    "?" if one.revision.size_bytes is None else f"{one.revision.size_bytes:,}",
                    material.label,
                ]
                for material, one in kept
            ],
            right=("bytes",),
        )
    for remark in collected.remarks:
        say(remark)
    others = plural(len(gathered.passed_over), "other file")
    passed = f" {others} passed over." if gathered.passed_over else ""
    if inside := gathered.folders:
        passed += (
            f" Not searched: {plural(len(inside), 'folder')} inside; "
            f"`hostlink keep {shlex.quote(inside[0])}` keeps what is in one."
        )
    say(
        f"{plural(len(kept), 'listing')} kept, {len(collected.left_out):,} left out.{passed}",
        quiet=common.quiet,
    )


@click.command()
@program_choice
@output_option(
    f"A folder, or a .zip file; {MADE_IF_MISSING}.",
    click.Path(path_type=Path),
    required=True,
)
@shared(yes=True)
def give(common: CommonOptions, output: Path, **which: Any) -> int:
    """Give listings out as files in a folder, or as one zip file.

    PROGRAMS as for `load`; without any, the latest revision of every program in the archive. What
    `keep` would not take back is left out, with exit status 1.
    """
    from hostlink.jobs.giving import give_out

    chosen = chosen_listings(common, **which)
    left_out = (*chosen.left_out, *give_out(chosen.materials, output, replace=common.yes))
    tell_left_out(left_out)
    count = len(chosen.materials) + len(chosen.left_out) - len(left_out)
    say(f"{plural(count, 'listing')} written to {output}.", quiet=common.quiet)
    return ExitStatus.REFUSED if left_out else ExitStatus.DONE
