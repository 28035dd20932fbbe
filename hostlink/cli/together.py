"""together: several commands over one open port, since each opening may restart the board."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import click

from hostlink.cli.desk import Desk, Lent, shared
from hostlink.cli.output import say
from hostlink.errors import ExitStatus, UsageError

_LARGEST = 1 << 20


@click.command()
@click.argument("file", required=False, default="-")
@shared(link=True)
def together(desk: Desk, file: str) -> int:
    """Run several commands over one open port.

    FILE (or standard input) holds one hostlink command a line, without the word hostlink, such as
    `load TIDE --run`; # begins a comment. The first that fails ends the work with its status.
    """
    from hostlink.cli.desk import ignore
    from hostlink.cli.entry import run_line

    lines = _read(file)
    with desk.archive() as archive, desk.session(archive, ignore) as session:
        session.attach()
        for place, words in lines:
            say(f"{place}: {shlex.join(words)}", quiet=desk.quiet)
            status: int = run_line(words, Lent(session, archive))
            if status:
                say(f"Line {place} of {file} failed; the lines after it were not run.")
                return status
    return ExitStatus.DONE


def _read(file: str) -> list[tuple[int, list[str]]]:
    """The commands with their places, all checked before the first is run."""
    from hostlink.cli.entry import COMMANDS

    try:
        if file == "-":
            text = sys.stdin.read(_LARGEST)
        else:
            text = Path(file).read_text(encoding="utf-8")[:_LARGEST]
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(
            f"The file {file} cannot be read: {error}.", kept="Nothing was run."
        ) from error
    commands: list[tuple[int, list[str]]] = []
    for place, line in enumerate(text.splitlines(), 1):
        try:
            words = shlex.split(line, comments=True)
        except ValueError as error:
            raise UsageError(
                f"Line {place} of {file}: {error}.", kept="Nothing was run."
            ) from error
        if not words:
            continue
        if words[0] not in COMMANDS or words[0] == "together":
            raise UsageError(
                f'Line {place} of {file}: "{words[0]}" is not a command that can stand here.',
                kept="Nothing was run.",
            )
        commands.append((place, words))
    return commands
