"""The options that commands share; each command gets their values as `CommonOptions`."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

import click

from hostlink.archive.times import DATES, days_of
from hostlink.cli.context import CommonOptions, OpenLink
from hostlink.cli.names import GIVEN_PORT
from hostlink.cli.port_choice import resolve_ports
from hostlink.sentences import VARIABLES_LOST

DISCARD_HELP = "Do not keep what the board holds now."
NOTE_HELP = "A note to keep with it."
F = TypeVar("F", bound=Callable[..., Any])


def _option(*names: str, **settings: Any) -> Callable[[F], F]:
    return click.option(*names, **settings)


FILE = click.Path(path_type=Path, dir_okay=False)


def output_option(
    words: str, kind: click.Path = FILE, *, required: bool = False
) -> Callable[[F], F]:
    """Return the option --output. words: its help. kind: what may be named, a file if not given."""
    return _option("-o", "--output", type=kind, required=required, help=words)


class WholeRange(click.IntRange):
    """A number in a range that errors call a whole number; the option's help states the range."""

    name = "whole number"

    def _describe_range(self) -> str:
        return ""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the number. Raises BadParameter with the range for one that is outside."""
        number: int = click.INT.convert(value, param, ctx)
        _must_be_in(self, number, param, ctx)
        return number


class NumberRange(click.FloatRange):
    """A number in a range; the option's help states the range."""

    def _describe_range(self) -> str:
        return ""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the number. Raises BadParameter with the range for one that is outside."""
        number: float = click.FLOAT.convert(value, param, ctx)
        _must_be_in(self, number, param, ctx)
        return number


def _must_be_in(
    within: click.IntRange | click.FloatRange,
    number: float,
    param: click.Parameter | None,
    ctx: click.Context | None,
) -> None:
    low, high = within.min, within.max
    if (low is not None and not number >= low) or (high is not None and not number <= high):
        within.fail(f"{number} is not in the range from {low:,} to {high:,}.", param, ctx)


BAUD = WholeRange(50, 4_000_000)
_ARCHIVE = [
    _option(
        "--archive",
        "archive_path",
        type=FILE,
        envvar="HOSTLINK_ARCHIVE",
        help="The archive's file.",
    ),
    _option("--quiet", is_flag=True, envvar="HOSTLINK_QUIET", help="Say only what went wrong."),
]
_PROFILE = [
    _option(
        "--profile",
        envvar="HOSTLINK_PROFILE",
        metavar="PROFILE",
        help="The kind of board: a shipped profile's name, or a TOML file.",
    ),
]
# Accepted any number of times, so that a second --port is refused and not silently used.
_PORT = _option(
    "--port",
    "ports",
    multiple=True,
    envvar="HOSTLINK_PORT",
    metavar="PORT",
    help="A device, a board's label, or practice:// for the practice board.",
)


ONLY_TAGGED = _option("--tag", metavar="TAG", help="Only programs with this tag.")
MADE_IF_MISSING = "made if there is none"
"""Said in the help of an output option."""
KEPT_SINCE = f"Only what was kept then or later: {DATES}."
ANSWERS = _option(
    "--input", "input_path", type=FILE, help="A file whose lines answer the program's questions."
)
STOP_RUNNING = _option(
    "--stop-running",
    is_flag=True,
    help=f"Interrupt a program that is running ({VARIABLES_LOST}).",
)
_LINK = [
    _PORT,
    _option(
        "--baud",
        type=BAUD,
        default=None,
        envvar="HOSTLINK_BAUD",
        metavar="BAUD",
        help="Speed in baud, 50 to 4000000, instead of the profile's.",
    ),
    _option(
        "--record",
        type=FILE,
        help="Record everything sent and received in a file.",
    ),
    STOP_RUNNING,
]
_MANY = [
    _option(
        "--port",
        "ports",
        multiple=True,
        envvar="HOSTLINK_PORT",
        metavar="PORT",
        help="A device, a label, or practice:// for the practice board; repeat it for many boards.",
    ),
    _option(
        "--all",
        "all_boards",
        is_flag=True,
        help="Every board that is plugged in and known (`hostlink boards`), at the same time.",
    ),
    *_LINK[1:],
]
_JSON = [_option("--json", is_flag=True, envvar="HOSTLINK_JSON", help="Print JSON.")]
_YES = [_option("--yes", is_flag=True, envvar="HOSTLINK_YES", help="Answer yes to every question.")]


Days = tuple[datetime, datetime]
"""When a year, month or day begins, and when the next one does."""


def as_days(_ctx: click.Context, _option: click.Parameter, text: str | None) -> Days | None:
    """Parse the year, month or day given to an option. Raises UsageError."""
    return None if text is None else days_of(text)


def limit_option(words: str) -> Callable[[F], F]:
    """Return the option --limit. words: its help, with {most} for the most that it allows."""
    most = 10_000
    return click.option(
        "--limit",
        type=WholeRange(1, most),
        default=50,
        show_default=True,
        metavar="NUMBER",
        help=words.format(most=most),
    )


def shared(
    *,
    port: bool = False,
    link: bool = False,
    many: bool = False,
    profile: bool = False,
    json: bool = False,
    yes: bool = False,
) -> Callable[[F], F]:
    """Add common options to a command; it gets their values as its first argument.

    port: the command takes a port but does not open it. link: it talks to a board. many: it can
    talk to several boards at once. profile, json, yes: it takes the option of that name.
    """
    wanted = [
        *(_MANY if many else _LINK if link else [_PORT] if port else []),
        *(_PROFILE if link or profile else []),
        *(_JSON if json else []),
        *(_YES if yes or link else []),
        *_ARCHIVE,
    ]

    def decorate(function: F) -> F:
        @click.pass_context
        def command(ctx: click.Context, *args: Any, **kwargs: Any) -> Any:
            known = CommonOptions.__dataclass_fields__
            chosen = {key: kwargs.pop(key) for key in list(kwargs) if key in known}
            return function(_common_options(ctx, chosen, many=many), *args, **kwargs)

        command.__name__ = function.__name__
        command.__doc__ = function.__doc__
        decorated: Any = command
        for option in reversed(wanted):
            decorated = option(decorated)
        if hasattr(function, "__click_params__"):
            decorated.__click_params__ = [*decorated.__click_params__, *function.__click_params__]
        return decorated  # type: ignore[no-any-return]

    return decorate


def _common_options(ctx: click.Context, chosen: dict[str, Any], *, many: bool) -> CommonOptions:
    """Return a command's common options. chosen: their values by name. many: as in `shared`."""
    link = ctx.obj if isinstance(ctx.obj, OpenLink) else None
    if link is not None:
        refuse_given_twice(ctx)
        chosen["quiet"] = chosen["quiet"] or link.quiet
    if "ports" in chosen:
        _choose_ports(ctx, chosen, many=many)
    common = CommonOptions(**chosen, open_link=link)
    resolve_ports(common)
    return common


def refuse_given_twice(ctx: click.Context) -> None:
    """Refuse, in a `together` file, options that only take effect when a port is opened."""
    once = {"ports", "all_boards", "baud", "record", "stop_running", "archive_path"}
    if any(option.name == "record" for option in ctx.command.params):
        once.add("profile")  # it talks to the board, and by one profile
    for option in ctx.command.params:
        name = option.name or ""
        if (
            name in once
            and ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
        ):
            raise click.UsageError(f"{option.opts[0]} is given only once, to `together` itself.")


def _choose_ports(ctx: click.Context, chosen: dict[str, Any], *, many: bool) -> None:
    """Set the ports from --port; refuse several for a command that works with one board."""
    ports = chosen["ports"] = tuple(dict.fromkeys(chosen["ports"]))
    chosen["port"] = ports[0] if ports else None
    given = ctx.get_parameter_source("ports") is click.core.ParameterSource.COMMANDLINE
    if given and len(ports) == 1:
        ctx.meta[GIVEN_PORT] = ports[0]
    if not many:
        if len(ports) > 1:
            raise click.UsageError("This command works with one board: give one --port.")
        return
    if chosen["all_boards"] and given:
        raise click.UsageError("--all means every board here, and --port means some: choose one.")
