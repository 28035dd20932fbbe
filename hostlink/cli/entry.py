"""The entry point of the command line: the group of commands, and reporting of errors.

Start-up is kept short: the group knows each command's name and module, and imports the module only
when the command is called. The help reads the first sentences of all commands from their source.
"""

from __future__ import annotations

import errno
import gc
import importlib
import io
import os
import pkgutil
import sys
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, NoReturn

import click

from hostlink import __version__
from hostlink.cli.group import Group
from hostlink.cli.names import COMPLETING, GIVEN_PORT, how_called
from hostlink.cli.stopping import CutOff, final_status, handle_signals, let_go
from hostlink.cli.streams import check_streams, discard_stream
from hostlink.errors import (
    ExitStatus,
    FaultyFileError,
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    UsageError,
)
from hostlink.sentences import REPEAT
from hostlink.words import safe

if TYPE_CHECKING:
    from hostlink.advice import Ways

# name: (module in commands/, function); help_map.GROUPS has the order in which help shows them.
COMMANDS: dict[str, tuple[str, str]] = {
    "practice": ("practice", "practice"),
    "boards": ("boards", "boards"),
    "meet": ("meet", "meet"),
    "survey": ("survey", "survey"),
    "load": ("load_save", "load"),
    "save": ("load_save", "save"),
    "run": ("run", "run"),
    "console": ("console", "console"),
    "restart": ("restart", "restart"),
    "stored": ("stored", "stored"),
    "store": ("stored", "store"),
    "recall": ("stored", "recall"),
    "backup": ("backup", "backup"),
    "putback": ("backup", "putback"),
    "firmware": ("firmware", "firmware"),
    "together": ("together", "together"),
    "class": ("class_register", "class_command"),
    "review": ("review_mend", "review"),
    "mend": ("review_mend", "mend"),
    "renumber": ("renumber_shrink", "renumber"),
    "shrink": ("renumber_shrink", "shrink"),
    "adapt": ("adapt", "adapt"),
    "try": ("trying", "try_listing"),
    "sheet": ("publishing", "sheet"),
    "card": ("publishing", "card"),
    "booklet": ("publishing", "booklet"),
    "site": ("publishing", "site"),
    "keep": ("keep_give", "keep"),
    "give": ("keep_give", "give"),
    "programs": ("programs", "programs"),
    "find": ("find", "find"),
    "show": ("programs", "show"),
    "history": ("history", "history"),
    "runs": ("runs", "runs"),
    "compare": ("compare", "compare"),
    "note": ("note_tag_retire", "note"),
    "tag": ("note_tag_retire", "tag"),
    "retire": ("note_tag_retire", "retire"),
    "return": ("note_tag_retire", "bring_back"),
    "archive": ("archive", "archive"),
}


_CUT_OFF = Interrupted(
    "Stopped at once, as you asked twice.",
    kept="What was acknowledged is kept. The board was left in the middle of the job.",
    advice=REPEAT,
)

_EPILOG = """\b
Exit status: 0 done, 1 refused or different, 2 wrong use, 3 the link failed,
4 the read-back differs, 130 stopped by Ctrl+C, 143 by SIGTERM, 129 by a
terminal that was closed. These variables stand in for options:
HOSTLINK_PORT, HOSTLINK_PROFILE, HOSTLINK_BAUD, HOSTLINK_ARCHIVE,
HOSTLINK_JSON, HOSTLINK_QUIET, HOSTLINK_YES."""


@cache
def _source(module: str) -> str:
    return (pkgutil.get_data("hostlink.cli.commands", f"{module}.py") or b"").decode()


def _help_line(module: str, function: str) -> str:
    """Return the first sentence of a command's docstring, without importing its module."""
    docstring = _source(module).partition(f"\ndef {function}(")[2].split('"""')[1]
    return " ".join(docstring.partition("\n\n")[0].split())


class LazyGroup(Group):
    """A group that imports a command's module when the command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands."""
        return list(COMMANDS)

    def find_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Import and return the command of this name; return None if there is none."""
        if name not in COMMANDS:
            return None
        module, function = COMMANDS[name]
        command = getattr(importlib.import_module(f"hostlink.cli.commands.{module}"), function)
        assert isinstance(command, click.Command)
        return command

    def help_lines(self) -> list[tuple[str, str]]:
        """Return each command with its one line of help, without importing any."""
        return [(name, _help_line(*place)) for name, place in COMMANDS.items()]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands with their help lines, grouped by purpose."""
        from hostlink.cli.help_map import GROUPS

        lines = dict(self.help_lines())
        widest = max(map(len, lines))
        for title, names in GROUPS.items():
            with formatter.section(title):
                formatter.write_dl([(name.ljust(widest), lines[name]) for name in names])


def _version(ctx: click.Context, _: click.Parameter, value: bool) -> None:
    if value and not ctx.resilient_parsing:
        click.echo(f"hostlink {__version__}")
        ctx.exit()


@click.group(
    cls=LazyGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=_EPILOG,
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_version,
    help="Show the version.",
)
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Load listings into small BASIC computers, save programs from them, and keep every version.

    WHAT is a listing file, a program in the archive (TIDE), one of its revisions (TIDE@3), a
    rescue (rescue@2), a shipped program, or - for standard input. `--port practice://` is a board
    made of software: try everything on it first. Without a command, hostlink opens the app.
    """
    if ctx.invoked_subcommand is None:
        from hostlink.app.start import can_open_app

        if can_open_app():
            from hostlink.cli.open_app import open_from_environment

            open_from_environment()
        else:
            click.echo(ctx.get_help())


def run_line(arguments: Sequence[str], obj: object = None) -> int:
    """Run one command line and return its exit status; report errors on stderr."""
    try:
        # Not cli.main(), which answers a reader that has gone away (`| head`) with status 1.
        with cli.make_context(how_called(), list(arguments), obj=obj) as context:
            try:
                result = cli.invoke(context)
            except HostlinkError as error:
                tell(error, context.meta.get(GIVEN_PORT, ""))
                return error.status
        return int(result) if isinstance(result, int) else ExitStatus.DONE
    except click.exceptions.Exit as leave:
        return leave.exit_code
    except CutOff:
        tell(_CUT_OFF)
        return ExitStatus.INTERRUPTED
    except (click.Abort, EOFError, KeyboardInterrupt):
        _tell_stopped()
        return ExitStatus.INTERRUPTED
    except click.ClickException as wrong:
        _tell_wrong_use(wrong)
        return ExitStatus.WRONG_USE
    except HostlinkError as error:
        tell(error)
        return error.status
    except OSError as error:
        if error.errno != errno.ENAMETOOLONG:
            raise
        # A typed name may be too long for the system, wherever a file of that name is looked for.
        tell(UsageError(f'"{str(error.filename)[:60]}…" is too long for the name of a file.'))
        return ExitStatus.WRONG_USE


def _tell_wrong_use(wrong: click.ClickException) -> None:
    """Print click's message, with control characters of the typed arguments made safe."""
    if not isinstance(wrong, click.exceptions.NoArgsIsHelpError):  # which is help, nothing typed
        vars(wrong)["message"] = safe(wrong.message)  # a typed line feed must not begin a row
    said = io.StringIO()
    wrong.show(file=said)
    click.echo(safe(said.getvalue(), keep="\n"), err=True, nl=False)


def tell(error: HostlinkError, port: str = "", by: Ways | None = None) -> None:
    """Print an error to stderr: what happened, what was kept, what to do, each on its line.

    If stderr is closed it goes to stdout. port: as the user gave it, "" for none. by: the terms of
    the advice, None for commands.
    """
    from hostlink.cli.output import as_called
    from hostlink.cli.ways import in_commands

    if isinstance(error, LinkError) and error.reason is LinkReason.NOT_FOUND:
        port = ""  # there is no such port
    parts = (error.what, error.kept, in_commands(error.advice, port, by))
    what, *rest = [part for part in parts if part]
    if isinstance(error, FaultyFileError):  # each of its rows is a fault
        what, *others = what.split("\n")
        rest = [*others, *rest]
    click.echo(f"hostlink: {safe(what)}", err=sys.stderr is not None)
    for part in rest:
        click.echo(f"  {safe(as_called(part))}", err=sys.stderr is not None)


def main() -> NoReturn:
    """Run the `hostlink` command, and exit with its status."""
    gc.set_threshold(50_000)  # importing makes no garbage; collecting takes a tenth of a start
    status = _main()
    let_go()
    gc.freeze()  # no need to collect what goes away with the process
    sys.exit(final_status(status))


def _main() -> int:
    """Run the command line of this process and return its exit status."""
    try:
        handle_signals()
        check_streams()
        if COMPLETING in os.environ:
            cli.main(prog_name="hostlink")
        status = run_line(sys.argv[1:])
        sys.stdout.flush()
        return status
    except HostlinkError as error:
        tell(error)
        return error.status
    except BrokenPipeError:
        discard_stream(sys.stdout)
        return ExitStatus.DONE  # whoever read our output has had enough
    except KeyboardInterrupt:
        _tell_stopped()
        return ExitStatus.INTERRUPTED
    except OSError as error:
        if sys.platform == "win32" and error.errno == errno.EINVAL:
            discard_stream(sys.stdout)
            return ExitStatus.DONE  # on Windows: a pipe was closed at its other end
        if error.errno not in (errno.ENOSPC, errno.EIO, errno.EBADF):
            raise
        tell(HostlinkError(f"The output could not be written: {error.strerror}."))
        discard_stream(sys.stdout)
        return ExitStatus.REFUSED


def _tell_stopped() -> None:
    click.echo("hostlink: Stopped.", err=True)
