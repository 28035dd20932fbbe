"""archive export, archive import."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from hostlink.cli.desk import Desk, shared
from hostlink.cli.output import as_json, plural, say


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--only", multiple=True, metavar="PROGRAM", help="Only this program (repeatable).")
@click.option(
    "--since",
    type=click.DateTime(["%Y-%m-%d"]),
    default=None,
    metavar="DATE",
    help="Only what was kept on that day and later.",
)
@shared(json=True)
def export_bag(desk: Desk, folder: Path, only: tuple[str, ...], since: datetime | None) -> None:
    """Write the archive to a new BagIt folder (RFC 8493).

    It holds every listing as a plain text file and everything else as JSON, each file with its
    SHA-256, so that it can be read without hostlink.
    """
    from hostlink.jobs.carrying import export

    with desk.archive(create=False, read_only=True) as opened:
        counts = export(opened, folder, programs=only, since=since)
    if desk.json:
        as_json({"folder": str(folder), "counts": counts})
        return
    say(
        f"{folder} is a BagIt folder with {plural(counts['programs'], 'program')} and "
        f"{plural(counts['revisions'], 'revision')}, checked.",
        quiet=desk.quiet,
    )


@click.command("import")
@click.argument("source", type=click.Path(path_type=Path, exists=True))
@shared(profile=True, json=True)
def import_source(desk: Desk, source: Path) -> None:
    """Take in a BagIt folder, another archive's file, or a folder of listings.

    What is here already is left as it is, so importing twice changes nothing. A damaged bag is
    refused whole.
    """
    from hostlink.cli.progress import Teller
    from hostlink.jobs.carrying import import_from

    with desk.archive() as opened, Teller(quiet=desk.quiet) as teller:
        imported = import_from(opened, source, desk.the_profile(), teller.emit)
        teller.close()
    if desk.json:
        as_json({"source": str(source), "added": imported.added, "renamed": imported.renamed})
        return
    for name, shown in imported.renamed.items():
        say(f"{name} is another program here, so the one that came is shown as {shown}.")
    new = [
        plural(count, kind.removesuffix("s").replace("_", " "))
        for kind, count in imported.added.items()
        if count
    ]
    say(f"Taken in from {source}: {', '.join(new) or 'nothing new'}.", quiet=desk.quiet)
