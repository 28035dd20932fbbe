"""together: several commands over one open port, since each opening may restart the board."""

from __future__ import annotations

import io
import shlex
from pathlib import Path

import click

from hostlink.cli.context import CommonOptions, OpenLink
from hostlink.cli.entry import COMMANDS, cli, run_line
from hostlink.cli.options import refuse_given_twice, shared
from hostlink.cli.output import say
from hostlink.cli.streams import read_input
from hostlink.errors import ExitStatus, RefusedError, UsageError, file_errors
from hostlink.reading import read_at_most
from hostlink.sentences import CHECK_FILE, PORT_NOT_OPENED

_LARGEST = 1 << 20  # bytes
_KEPT = f"Nothing was run. {PORT_NOT_OPENED}"


@click.command()
@click.argument("file", required=False, default="-")
@shared(link=True)
def together(common: CommonOptions, file: str) -> int:
    """Run several commands over one open port.

    FILE (or standard input) holds one hostlink command a line, without the word hostlink, such as
    `load TIDE --run`; # begins a comment. The first that fails is the last to run, and
    gives the exit status.
    """
    from hostlink.cli.progress import Teller
    from hostlink.cli.rehearsal import rehearse

    lines, where = _read(file)
    with common.archive() as archive:
        link = OpenLink(None, archive, common.link_choice(archive), common.quiet)
        rehearse(lines, link, where, _KEPT)
        with common.session(archive, Teller(quiet=common.quiet).emit) as session:
            session.attach()
            link.session = session
            return _run(lines, where, link)


def _run(lines: list[tuple[int, list[str]]], where: str, link: OpenLink) -> int:
    """Run the lines until one fails; return its exit status."""
    for place, words in lines:
        say(f"{place}: {shlex.join(words)}", quiet=link.quiet)
        status: int = run_line(words, link)
        if status:
            after = sum(1 for other, _ in lines if other > place)
            others = f"{after:,} lines were" if after > 1 else "line was"
            left = f"the remaining {others} not run" if after else "it was the last"
            say(f"Line {place} of {where} ended with status {status}; {left}.")
            return status
    return ExitStatus.DONE


def _text(file: str, where: str) -> str:
    """Return the text of the file. Raises RefusedError if it cannot be read or is too large."""
    unread, advice = f"{where} cannot be read", CHECK_FILE
    most = _LARGEST + 1
    with file_errors(RefusedError, unread, kept=_KEPT, advice=advice):
        raw = read_input(most) if file == "-" else read_at_most(Path(file), most)
        text = raw.decode("utf-8-sig")
    if len(raw) > _LARGEST:
        raise RefusedError(f"{where} is larger than {_LARGEST:,} bytes.", kept=_KEPT)
    return text


def _check(words: list[str], where: str) -> None:
    """Refuse a line whose options or arguments no command takes, before anything is run."""
    command: click.Command | None = cli
    context = click.Context(cli, info_name="hostlink")
    try:
        while isinstance(command, click.Group) and words:
            name, command, words = command.resolve_command(context, words)
            if command is not None and not isinstance(command, click.Group):
                refuse_given_twice(command.make_context(name, list(words), parent=context))
    except click.exceptions.Exit:
        return  # it asks for help
    except click.ClickException as wrong:
        raise UsageError(f"{where}: {wrong.format_message()}", kept=_KEPT) from wrong


def _read(file: str) -> tuple[list[tuple[int, list[str]]], str]:
    """Return the checked commands with their line numbers, and the name of the file."""
    where = "standard input" if file == "-" else file
    text = _text(file, where)
    commands: list[tuple[int, list[str]]] = []
    # Not splitlines(), which also ends lines at signs such as U+2028, where no editor shows one.
    for place, line in enumerate(io.StringIO(text, newline=None), 1):
        try:
            words = shlex.split(line, comments=True)
        except ValueError as error:
            raise UsageError(
                f"Line {place} of {where} cannot be read: {str(error).lower()}.",
                kept=_KEPT,
                advice="Quotes come in pairs, and a backslash needs a character after it.",
            ) from error
        if not words:
            continue
        if words[0] not in COMMANDS or words[0] in ("together", "console"):
            raise UsageError(
                f'Line {place} of {where}: "{words[0]}" cannot be used in a command file.',
                kept=_KEPT,
                advice="A line reads like a command line without the word hostlink; "
                "`hostlink --help` lists the commands.",
            )
        _check(words, f"Line {place} of {where}")
        commands.append((place, words))
    if not commands:
        raise RefusedError(f"{where} holds no command.", kept=_KEPT)
    return commands, where
