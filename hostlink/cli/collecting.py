"""keep, give: listings taken into the archive from files, folders and zips, and given out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.desk import Desk, shared
from hostlink.cli.output import as_json, say, table
from hostlink.errors import ExitStatus, RefusedError, UsageError
from hostlink.words import plural

if TYPE_CHECKING:
    from collections.abc import Sequence

    from hostlink.archive import Kept
    from hostlink.jobs.collecting import Gathered
    from hostlink.jobs.material import Material


@click.command()
@click.argument("sources", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--any-characters",
    is_flag=True,
    help="Keep also what holds characters that the board cannot take.",
)
@click.option(
    "--as",
    "name",
    metavar="PROGRAM",
    help="Keep the one listing named, also rescue@2 or TIDE@3, as a revision of this program.",
)
@shared(profile=True, json=True)
def keep(desk: Desk, sources: tuple[Path, ...], any_characters: bool, name: str | None) -> int:
    """Keep listings in the archive: files, folders, zip files, sheets.

    Each becomes a revision of the program of its file's name; with --as a rescue, an older
    revision or a file becomes one of the program that you name. Exit status 1 where one was left
    out.
    """
    from hostlink.jobs.collecting import gather, gather_one, keep_all

    profile = desk.the_profile()
    if name is None:
        for source in sources:
            if not source.exists():
                advice = (
                    f"`hostlink keep {source} --as NAME` keeps it."
                    if "@" in str(source)
                    else "Check the name of the file or folder."
                )
                raise RefusedError(
                    f"There is no {source}.", kept="Nothing was kept.", advice=advice
                )
        gathered = gather(sources, profile, any_characters=any_characters)
    elif len(sources) > 1:
        raise UsageError("--as names one program, for one listing.", kept="Nothing was kept.")
    with desk.archive() as archive:
        if name is not None:
            gathered = gather_one(
                str(sources[0]), name, archive, profile, any_characters=any_characters
            )
        kept = keep_all(archive, gathered, profile)
    _tell_kept(desk, gathered, kept)
    return ExitStatus.REFUSED if gathered.left_out else ExitStatus.DONE


def _tell_kept(desk: Desk, gathered: Gathered, kept: Sequence[Kept]) -> None:
    """What was kept, what was left out and why."""
    for where, why in gathered.left_out:
        say(f"Left out: {where}. {why}")
    if desk.json:
        as_json(
            {
                "kept": [
                    {"spec": one.revision.spec, "new": one.is_new, "from": material.label}
                    for one, material in zip(kept, gathered.materials, strict=True)
                ],
                "left_out": [{"where": where, "why": why} for where, why in gathered.left_out],
                "passed_over": list(gathered.passed_over),
            }
        )
    elif kept:
        table(
            ["kept", "bytes", "from"],
            [
                [
                    one.revision.spec + ("" if one.is_new else " (held already)"),
                    "?" if one.revision.size_bytes is None else f"{one.revision.size_bytes:,}",
                    material.label,
                ]
                for one, material in zip(kept, gathered.materials, strict=True)
            ],
            right=("bytes",),
        )
    others = plural(len(gathered.passed_over), "other file")
    passed = f" {others} passed over." if gathered.passed_over else ""
    say(
        f"{plural(len(kept), 'listing')} kept, {len(gathered.left_out):,} left out.{passed}",
        quiet=desk.quiet,
    )


@click.command()
@click.argument("programs", nargs=-1)
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    required=True,
    help="A folder, or a file that ends in .zip; made where there is none.",
)
@shared(yes=True)
def give(desk: Desk, programs: tuple[str, ...], output: Path) -> None:
    """Give listings out as files in a folder, or as one zip file.

    PROGRAMS as for `load`; without any, the latest revision of every program in the archive.
    """
    from hostlink.jobs.collecting import give_out

    materials = _materials(desk, programs)
    give_out(materials, output, replace=desk.yes)
    say(f"{plural(len(materials), 'listing')} written to {output}.", quiet=desk.quiet)


def _materials(desk: Desk, programs: tuple[str, ...]) -> list[Material]:
    """The listings meant; without names those of every program in the archive."""
    from hostlink.cli.listings import material_for
    from hostlink.jobs.collecting import every_program

    if programs:
        return [material_for(desk, what) for what in programs]
    with desk.archive(create=False, read_only=True) as archive:
        return every_program(archive)
