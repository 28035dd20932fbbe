"""What commands share: the archive, the profile, the port.

A `Desk` is made for each command from its options; `together` makes one and lends it to the
commands it runs, so that they work over one open port.
"""

from __future__ import annotations

import contextlib
import dataclasses
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from hostlink.cli.output import say
from hostlink.cli.port_choice import resolve_ports, resolved_ports
from hostlink.cli.stopping import stoppable

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.archive.programs import Programs
    from hostlink.board.profile import Profile
    from hostlink.jobs.events import Emit, Event
    from hostlink.jobs.session import LinkChoice, Session

F = TypeVar("F", bound=Callable[..., Any])


@dataclass
class Lent:
    """An open session with its archive, lent by `together` to the commands it runs.

    session: None while they are only rehearsed. choice: the board that `together` was told to use.
    """

    session: Session | None
    archive: Archive
    choice: LinkChoice
    quiet: bool = False

    @property
    def in_use(self) -> LinkChoice:
        """How the board is talked to by now."""
        return self.choice if self.session is None else self.session.choice


@dataclass
class Desk:
    """The choices that commands share, as given by options or environment."""

    port: str | None = None
    ports: tuple[str, ...] = ()
    all_boards: bool = False
    profile: str | None = None
    baud: int | None = None
    archive_path: Path | None = None
    record: Path | None = None
    stop_running: bool = False
    json: bool = False
    quiet: bool = False
    yes: bool = False
    lent: Lent | None = None

    @contextlib.contextmanager
    def archive(self, *, create: bool = True, read_only: bool = False) -> Iterator[Archive]:
        """The archive, open for as long as the block lasts."""
        if self.lent is not None:
            yield self.lent.archive
            return
        from hostlink.archive import Archive

        file = self.archive_file()
        if self.on_practice and not self.archive_path and create and not file.exists():
            say(
                f"What practice boards hold is kept apart from your archive, in {file}. With "
                "HOSTLINK_PORT=practice:// set, every command uses it.",
                quiet=self.quiet,
            )
        with Archive.open(file, create=create, read_only=read_only) as opened:
            yield opened

    @contextlib.contextmanager
    def reading(self) -> Iterator[Archive]:
        """The archive, only to be read. One that is not there yet is said to be so and read as an
        empty one; nothing is made."""
        if self.lent is not None or self.archive_file().exists():
            with self.archive(create=False, read_only=True) as opened:
                yield opened
            return
        import tempfile

        from hostlink.archive import Archive

        say(f"There is no archive at {self.archive_file()} yet.", quiet=self.quiet)
        with (
            tempfile.TemporaryDirectory(prefix="hostlink-") as folder,
            Archive.open(Path(folder) / "empty.sqlite3") as empty,
        ):
            yield empty

    @contextlib.contextmanager
    def programs(self) -> Iterator[Programs]:
        """The archive as far as its list of programs goes, which loads sooner than all of it."""
        if self.lent is not None:
            yield self.lent.archive
            return
        from hostlink.archive.programs import Programs

        with Programs.open(self.archive_file()) as opened:
            yield opened

    def archive_file(self) -> Path:
        """Where the archive is, or will be: practice boards have one of their own."""
        from hostlink.archive.place import archive_path

        if self.archive_path:
            return self.archive_path.expanduser()
        return archive_path(practice=self.on_practice)

    @property
    def on_practice(self) -> bool:
        """Whether all boards that are meant are practice boards; commands that take no port go by
        HOSTLINK_PORT."""
        ports = self.ports or resolved_ports(self, (os.environ.get("HOSTLINK_PORT", ""),))
        return all(port.startswith("practice:") for port in ports)

    def the_profile(self, archive: Archive | None = None) -> Profile:
        """The profile to work by without a board: the one named, else that of the board at the
        port, else the practice board's or the careful one."""
        if self.lent is not None and self.profile is None:
            return self.lent.in_use.effective
        return self._choose_profile(archive)[0]

    def _choose_profile(self, archive: Archive | None) -> tuple[Profile, bool]:
        from hostlink.jobs.recognising import choose_profile

        return choose_profile(archive, self.port or "", self.profile or "")

    def the_port(self) -> str:
        """The port named, else the only board plugged in. Raises UsageError if unclear."""
        if self.lent is not None:
            return self.lent.choice.port
        if self.port:
            return self.port
        from hostlink.board.ports import usb_ports
        from hostlink.errors import UsageError

        found = usb_ports()
        if len(found) == 1:
            self.port = found[0].port
            return self.port
        if not found:
            raise UsageError(
                "No board is plugged in.",
                advice="Plug one in, name its --port, or try --port practice://.",
            )
        raise UsageError(
            f"{len(found)} boards are plugged in: {', '.join(each.port for each in found)}.",
            advice="Name one with --port.",
        )

    @contextlib.contextmanager
    def session(self, archive: Archive, emit: Emit) -> Iterator[Session]:
        """The board, its port open for as long as the block lasts."""
        if self.lent is not None:
            session = self.lent.session
            if session is None:
                from hostlink.jobs.rehearsing import BoardNeeded

                raise BoardNeeded
            session.tell(emit)
            yield session
            return
        from hostlink.jobs.session import Session

        choice = self.link_choice(archive)
        with (
            stoppable() as stopped,
            Session(choice, emit, stopped, archive=archive) as session,
        ):
            yield session

    def link_choice(self, archive: Archive) -> LinkChoice:
        """How to reach the one board meant, found before its port is opened."""
        from hostlink.jobs.session import LinkChoice

        if self.lent is not None:
            return self.lent.in_use
        port = self.the_port()
        profile, is_guess = self._choose_profile(archive)
        self._check_record()
        return LinkChoice(
            port,
            profile,
            self.baud or 0,
            self.record,
            self.stop_running,
            is_guess=is_guess,
            is_named=bool(self.profile),
        )

    @property
    def many(self) -> bool:
        """Whether more than one board is meant."""
        return self.lent is None and (self.all_boards or len(self.ports) > 1)

    def choices(self, archive: Archive) -> list[LinkChoice]:
        """How to reach each of the boards meant, found before any port is opened.

        Raises UsageError where there are none, or an option suits only one board.
        """
        from hostlink.cli.many import known_ports
        from hostlink.errors import UsageError

        if self.record is not None:
            raise UsageError("--record writes down one wire: name one --port.")
        ports = self.ports or known_ports(self, archive)
        each = [dataclasses.replace(self, port=port, ports=()) for port in ports]
        return [desk.link_choice(archive) for desk in each]

    def _check_record(self) -> None:
        """Never write over a file that is there without consent."""
        from hostlink.errors import RefusedError

        if self.record is not None and self.record.is_file() and not self.yes:
            raise RefusedError(
                f"{self.record} exists already.",
                kept="It was not changed, and the port was not opened.",
                advice="Name another file, or repeat with --yes to replace it.",
            )


def _option(*names: str, **settings: Any) -> Callable[[F], F]:
    return click.option(*names, **settings)


class Whole(click.IntRange):
    """A whole number in a range, called so when it is none. Its help tells the range in words."""

    name = "whole number"

    def _describe_range(self) -> str:
        return ""


class Number(click.FloatRange):
    """A number in a range, of which the help tells in words."""

    def _describe_range(self) -> str:
        return ""


_ARCHIVE = [
    _option(
        "--archive",
        "archive_path",
        type=click.Path(path_type=Path, dir_okay=False),
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
# Taken as often as it is given, so that a second one is refused and not heeded in silence.
_PORT = _option(
    "--port",
    "ports",
    multiple=True,
    envvar="HOSTLINK_PORT",
    metavar="PORT",
    help="A device, a board's label, or practice:// for the practice board.",
)
_LINK = [
    _PORT,
    _option(
        "--baud",
        type=Whole(50, 4_000_000),
        default=None,
        envvar="HOSTLINK_BAUD",
        metavar="BAUD",
        help="Speed in baud, 50 to 4000000, in place of the profile's.",
    ),
    _option(
        "--record",
        type=click.Path(path_type=Path, dir_okay=False),
        help="Write everything that passes on the wire to a file.",
    ),
    _option(
        "--stop-running",
        is_flag=True,
        help="Interrupt a program that is running (its variables may be lost).",
    ),
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
_YES = [_option("--yes", is_flag=True, envvar="HOSTLINK_YES", help="Answer yes to what is asked.")]
_KEYS = {
    "ports",
    "all_boards",
    "profile",
    "baud",
    "archive_path",
    "record",
    "stop_running",
    "json",
    "quiet",
    "yes",
}


def shared(
    *,
    port: bool = False,
    link: bool = False,
    many: bool = False,
    profile: bool = False,
    json: bool = False,
    yes: bool = False,
) -> Callable[[F], F]:
    """Give a command the shared options it needs; they reach it as one Desk, its first argument.

    port: a command that only names a port. link: one that talks to a board. many: one with a link
    that can work on several boards at once.
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
            chosen = {key: kwargs.pop(key) for key in list(kwargs) if key in _KEYS}
            lent = ctx.obj if isinstance(ctx.obj, Lent) else None
            if lent is not None:
                refuse_given_twice(ctx)
                chosen["quiet"] = chosen["quiet"] or lent.quiet
            if "ports" in chosen:
                _choose_ports(ctx, chosen, many=many)
            desk = Desk(**chosen, lent=lent)
            resolve_ports(desk)
            return function(desk, *args, **kwargs)

        command.__name__ = function.__name__
        command.__doc__ = function.__doc__
        decorated: Any = command
        for option in reversed(wanted):
            decorated = option(decorated)
        if hasattr(function, "__click_params__"):
            decorated.__click_params__ = [*decorated.__click_params__, *function.__click_params__]
        return decorated  # type: ignore[no-any-return]

    return decorate


def refuse_given_twice(ctx: click.Context) -> None:
    """Refuse, in a line of `together`, what only the opening of port or archive can heed."""
    once = {"ports", "all_boards", "baud", "record", "stop_running", "archive_path"}
    if any(option.name == "record" for option in ctx.command.params):
        once.add("profile")  # it talks to the board, and by one profile
    for option in ctx.command.params:
        name = option.name or ""
        if (
            name in once
            and ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
        ):
            raise click.UsageError(f"{option.opts[0]} is given once, to `together` itself.")


def _choose_ports(ctx: click.Context, chosen: dict[str, Any], *, many: bool) -> None:
    """Several --port, one, or none: the first is the port of a command for one board."""
    ports = chosen["ports"] = tuple(dict.fromkeys(chosen["ports"]))
    chosen["port"] = ports[0] if ports else None
    if not many:
        if len(ports) > 1:
            raise click.UsageError("This command works with one board: give one --port.")
        return
    given = ctx.get_parameter_source("ports") is click.core.ParameterSource.COMMANDLINE
    if chosen["all_boards"] and given:
        raise click.UsageError("--all means every board here, and --port means some: choose one.")


def ignore(event: Event) -> None:
    """For jobs whose events nobody shows."""
