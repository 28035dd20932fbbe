"""The command archive: export, import, prove and duplicate."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import tell_damaged
from hostlink.cli.group import Group
from hostlink.cli.options import FILE, KEPT_SINCE, Days, as_days, shared
from hostlink.cli.output import as_json, data, say
from hostlink.cli.stopping import ask_yes_no, told_when_stopped
from hostlink.cli.ways import in_commands
from hostlink.errors import ExitStatus, RefusedError
from hostlink.sentences import ARCHIVE_UNCHANGED

if TYPE_CHECKING:
    from hostlink.advice import Advice
    from hostlink.archive import ArchiveProof


def _made_or_not(target: Path) -> Callable[[], str]:
    """Return a function that says whether a file or folder was made.

    The file or folder gets its name only once it is proven.
    """
    before = target.exists()

    def said() -> str:
        if before:
            return f"{target} was there before and was not touched."
        if target.exists():
            return f"{target} is whole and proven."
        return f"There is no {target}. {ARCHIVE_UNCHANGED}"

    return said


@click.group(cls=Group)
def archive() -> None:
    """Prove, duplicate, export or import the archive."""


@archive.command("export")
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
    "--learners", is_flag=True, help="Include the programs of learners, which bear their names."
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
    SHA-256, so that it can be read without hostlink. Damaged records are left out and named, with
    exit status 1. The programs of learners (`hostlink class`) are left out unless you ask for them.
    """
    from hostlink.jobs.exporting import export

    with (
        told_when_stopped("The export", _made_or_not(folder)),
        common.archive(create=False, read_only=True) as opened,
    ):
        exported = export(
            opened, folder, programs=only, since=since and since[0], learners=learners
        )
    if common.json:
        as_json(
            {
                "folder": str(folder),
                "counts": exported.counts,
                "left_out": list(exported.left_out),
                "learners_left_out": exported.learners,
            }
        )
    say(exported.sentence(folder), quiet=common.quiet or common.json)
    if exported.private_words:
        say(in_commands(exported.private_words), quiet=common.quiet)
    return tell_damaged(exported.left_out)


@archive.command("import")
@click.argument("source", type=click.Path(path_type=Path))
@click.option(
    "--preview", "only_preview", is_flag=True, help="Only say what is new, different and the same."
)
@shared(json=True, yes=True)
def import_source(common: CommonOptions, source: Path, only_preview: bool) -> int:
    """Take in a BagIt folder or another archive's file.

    At a terminal you first see what is new, different and the same, and are asked once. What is
    already here stays as it is, so importing twice changes nothing. Records that are damaged here
    and whole there are healed. A damaged bag is refused; from a damaged archive the records that
    are whole are taken in, with exit status 1.
    """
    from hostlink.jobs.exporting import (
        change_words,
        comparison_sentences,
        import_from,
        imported_words,
        preview,
        preview_words,
    )

    asks = sys.stdin.isatty() and not (only_preview or common.yes or common.json)
    with (
        told_when_stopped("The import", lambda: "The archive holds all of it or none of it."),
        common.archive() as opened,
    ):
        if only_preview or asks:
            merged = preview(opened, source)
            _say(
                common,
                [*comparison_sentences(merged), *change_words(merged)],
                preview_words(source, merged),
            )
            if asks and merged.anything:
                if not ask_yes_no("Import it?"):
                    raise RefusedError("Nothing was imported, as you chose.")
                merged = import_from(opened, source)
                say(imported_words(source, merged), quiet=common.quiet)
        else:
            merged = import_from(opened, source)
            _say(common, change_words(merged), imported_words(source, merged))
    if common.json:
        as_json({"source": str(source), **dataclasses.asdict(merged)})
    return tell_damaged(merged.left_out)


def _say(common: CommonOptions, details: Sequence[Advice], sentence: str) -> None:
    """Say what an import brings, unless the output is JSON."""
    if common.json:
        return
    for detail in details:
        say(in_commands(detail))
    say(sentence, quiet=common.quiet)


@archive.command()
@click.option("--rebuild", is_flag=True, help="First rebuild the indexes, rules and views.")
@click.option(
    "--accept",
    is_flag=True,
    help="First accept damaged rows that are still readable, with what they now hold.",
)
@shared(json=True)
def prove(common: CommonOptions, rebuild: bool, accept: bool) -> int:
    """Check every row, every listing's hash, every reference and the search index.

    Exit status 1 if something is wrong. --rebuild rebuilds what is derived: the search index, the
    other indexes, the schema's rules and views. What was kept is never changed, except by --accept,
    for rows that no duplicate has undamaged; an event records that permanently.
    """
    with (
        told_when_stopped("The check", lambda: "Nothing that was kept has changed."),
        common.archive(create=False) as opened,
    ):
        if rebuild:
            opened.rebuild()
            say("Search index, other indexes, rules and views were rebuilt.", quiet=common.quiet)
        accepted = opened.accept() if accept else []
        proof = opened.prove()
        path = opened.path
    for what in accepted:
        say(f"Accepted as it now reads: {what}.")
    if common.json:
        as_json({"archive": str(path), **_proof_dict(proof), "accepted": accepted})
    else:
        _show_proof(proof, str(path))
    if proof.can_rebuild:
        say("`hostlink archive prove --rebuild` repairs what can be rebuilt.", quiet=common.quiet)
    if proof.lasting:
        from hostlink.archive.database.database_errors import heals

        say(
            f"{in_commands(heals)} Without one, `hostlink archive prove --accept` takes what can "
            "still be read.",
            quiet=common.quiet,
        )
    return ExitStatus.DONE if proof.clean else ExitStatus.REFUSED


def _proof_dict(proof: ArchiveProof) -> dict[str, object]:
    return {
        "clean": proof.clean,
        "findings": list(proof.findings),
        "skipped": list(proof.skipped),
        "counts": dict(proof.counts),
    }


def _show_proof(proof: ArchiveProof, path: str) -> None:
    """Print the findings, what could not be checked, and the verdict."""
    for finding in proof.findings:
        data(finding)
    for skipped in proof.skipped:
        data(skipped)
    data(f"{path}: {proof.verdict} ({proof.checked or 'empty'}).")


@archive.command()
@click.argument("target", type=FILE)
@shared()
def duplicate(common: CommonOptions, target: Path) -> int:
    """Write a whole copy of the archive to a new file, and prove it.

    Exit status 1 if the archive is damaged: then the copy holds what could be read.
    """
    from hostlink.jobs.exporting import duplicated_words

    with (
        told_when_stopped("The duplicate", _made_or_not(target)),
        common.archive(create=False) as opened,
    ):
        findings = opened.duplicate(target)
    say(duplicated_words(target, findings), quiet=common.quiet and not findings)
    return tell_damaged(findings)
