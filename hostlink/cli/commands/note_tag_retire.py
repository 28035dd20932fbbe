"""The commands note, tag, retire and return, which mark a program in the archive."""

from __future__ import annotations

import click

from hostlink.cli.context import CommonOptions
from hostlink.cli.options import shared
from hostlink.cli.output import say


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
