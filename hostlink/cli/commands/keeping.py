"""The commands note, tag, retire and return, archive prove and archive duplicate."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from hostlink.cli.commands.exporting import export_bag, import_source, made_or_not
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import tell_damaged
from hostlink.cli.group import Group
from hostlink.cli.options import FILE, shared
from hostlink.cli.output import as_json, data, say
from hostlink.cli.stopping import told_when_stopped
from hostlink.cli.ways import in_commands
from hostlink.errors import ExitStatus

if TYPE_CHECKING:
    from hostlink.archive import ArchiveProof


@click.command()
@click.argument("program")
@click.argument("text")
@shared()
def note(common: CommonOptions, program: str, text: str) -> None:
    """Put a note on a program or a revision.

    PROGRAM is TIDE for the program, TIDE@3 for its revision 3. The last note is the one shown;
    earlier ones stay in the archive.
    """
    with common.archive(create=False) as archive:
        archive.note(program, text)
    say(f"Noted on {program}.", quiet=common.quiet)


@click.command()
@click.argument("program")
@click.argument("tags", nargs=-1, required=True)
@click.option("--off", is_flag=True, help="Take the tags off.")
@shared()
def tag(common: CommonOptions, program: str, tags: tuple[str, ...], off: bool) -> None:
    """Put tags on a program, or take them off."""
    with common.archive(create=False) as archive:
        if off:
            archive.untag(program, *tags)
        else:
            archive.tag(program, *tags)
        now = archive.program(program)
    word = "the tag" if len(now.tags) == 1 else "the tags"
    say(
        f"{now.name} has {word} {', '.join(now.tags)}." if now.tags else f"{now.name} has no tags.",
        quiet=common.quiet,
    )


@click.command()
@click.argument("program")
@shared()
def retire(common: CommonOptions, program: str) -> None:
    """Take a program out of the list; nothing is deleted."""
    with common.archive(create=False) as archive:
        name = archive.retire(program).name
    say(f"{name} is retired; `hostlink return {name}` brings it back.", quiet=common.quiet)


@click.command(name="return")
@click.argument("program")
@shared()
def bring_back(common: CommonOptions, program: str) -> None:
    """Put a retired program back into the list."""
    with common.archive(create=False) as archive:
        name = archive.bring_back(program).name
    say(f"{name} is back in the list.", quiet=common.quiet)


@click.group(cls=Group)
def archive() -> None:
    """Prove, duplicate, export or import the archive."""


archive.add_command(export_bag)
archive.add_command(import_source)


@archive.command()
@click.option("--rebuild", is_flag=True, help="First rebuild what is derived from what is kept.")
@click.option(
    "--accept",
    is_flag=True,
    help="First take damaged rows that can be read for what was kept, as they now read.",
)
@shared(json=True)
def prove(common: CommonOptions, rebuild: bool, accept: bool) -> int:
    """Check every row, every listing's hash, every reference and the search index.

    Exit status 1 where something is wrong. --rebuild rebuilds what is derived: the search index,
    the other indexes, the schema's rules and views. What was kept is never changed, except by
    --accept, which is for what no duplicate has undamaged; an event records that permanently.
    """
    with (
        told_when_stopped("The check", lambda: "What was kept is as it was."),
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
        data(f"Not checked: {skipped}")
    data(f"{path}: {proof.verdict} ({proof.checked or 'empty'}).")


@archive.command()
@click.argument("target", type=FILE)
@shared()
def duplicate(common: CommonOptions, target: Path) -> int:
    """Write a whole copy of the archive to a new file, and prove it.

    Exit status 1 where the archive is damaged: then the copy holds what could be read.
    """
    from hostlink.jobs.exporting import duplicated_words

    with (
        told_when_stopped("The duplicate", made_or_not(target)),
        common.archive(create=False) as opened,
    ):
        findings = opened.duplicate(target)
    say(duplicated_words(target, findings), quiet=common.quiet and not findings)
    return tell_damaged(findings)
