"""What commands share: the archive, the profile, the port, and stopping with Ctrl+C.

A `Desk` is made for each command from its options; `together` makes one and lends it to the
commands it runs, so that they work over one open port.
"""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from hostlink.cli.output import say

if TYPE_CHECKING:
    from hostlink.archive import Archive
    from hostlink.board.profile import Profile
    from hostlink.jobs.events import Emit, Event
    from hostlink.jobs.session import Session

F = TypeVar("F", bound=Callable[..., Any])


@dataclass
class Lent:
    """An open session with its archive, lent by `together` to the commands it runs."""

    session: Session
    archive: Archive


@dataclass
class Desk:
    """The choices that commands share, as given by options or environment."""

    port: str | None = None
    profile: str | None = None
    baud: int | None = None
    archive_path: Path | None = None
    record: Path | None = None
    stop_running: bool = False
    json: bool = False
    quiet: bool = False
    yes: bool = False
    lent: Lent | None = None
    _stopped: list[bool] = field(default_factory=list)

    @contextlib.contextmanager
    def archive(self, *, create: bool = True, read_only: bool = False) -> Iterator[Archive]:
        """The archive, open for as long as the block lasts."""
        if self.lent is not None:
            yield self.lent.archive
            return
        from hostlink.archive import Archive, archive_path

        path = self.archive_path or archive_path()
        with Archive.open(path, create=create, read_only=read_only) as opened:
            yield opened

    def the_profile(self, archive: Archive | None = None) -> Profile:
        """The profile named, else the board's known one, else the careful one."""
        if self.lent is not None and self.profile is None:
            return self.lent.session.profile
        from hostlink.board.profile_file import find_profile

        if self.profile is not None:
            return find_profile(self.profile)
        if self.port is None or self.port.startswith("practice:"):
            return find_profile("practice")
        known = self._known_profile(archive)
        if known:
            return find_profile(known)
        say(
            "No --profile was named: using the careful one, tiny. It is slow but assumes little.",
            quiet=self.quiet,
        )
        return find_profile("tiny")

    def _known_profile(self, archive: Archive | None) -> str:
        """The profile that this board was used with before, "" if it is new."""
        from hostlink.board.ports import identity_of

        identity = identity_of(self.port or "")
        for board in archive.boards() if archive is not None else ():
            same_chip = (board.vid, board.pid) == (identity.vid, identity.pid)
            same = (
                board.serial == identity.serial
                if identity.serial
                else (board.location == identity.location)
            )
            if same_chip and same:
                return board.profile
        return ""

    def the_port(self) -> str:
        """The port named, else the only board plugged in. Raises UsageError if unclear."""
        if self.port:
            return self.port
        from hostlink.board.ports import usb_ports
        from hostlink.errors import UsageError

        found = usb_ports()
        if len(found) == 1:
            return found[0].port
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
            session.emit = session.dialogue.emit = emit
            yield session
            return
        from hostlink.jobs.session import LinkChoice, Session

        self.port = self.the_port()
        choice = LinkChoice(
            self.port, self.the_profile(archive), self.baud or 0, self.record, self.stop_running
        )
        with self._stoppable(), Session(choice, emit, lambda: bool(self._stopped)) as session:
            yield session

    @contextlib.contextmanager
    def _stoppable(self) -> Iterator[None]:
        """Ctrl+C asks the job to stop in good order; a second one stops at once."""

        def stop(number: int, frame: object) -> None:  # noqa: ARG001 - the signal's signature
            if self._stopped:
                raise KeyboardInterrupt
            self._stopped.append(True)

        try:
            before = signal.signal(signal.SIGINT, stop)
        except ValueError:  # not the main thread: whoever calls handles stopping
            yield
            return
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, before)


def _option(*names: str, **settings: Any) -> Callable[[F], F]:
    return click.option(*names, **settings)


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
        help="The kind of board: a shipped profile's name, or a TOML file.",
    ),
]
_LINK = [
    _option(
        "--port", envvar="HOSTLINK_PORT", help="A device, or practice:// for the practice board."
    ),
    _option(
        "--baud",
        type=click.IntRange(50, 4_000_000),
        default=None,
        envvar="HOSTLINK_BAUD",
        help="Speed, in place of the profile's.",
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
_JSON = [_option("--json", is_flag=True, envvar="HOSTLINK_JSON", help="Print JSON.")]
_YES = [_option("--yes", is_flag=True, envvar="HOSTLINK_YES", help="Answer yes to what is asked.")]
_KEYS = {
    "port",
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
    *, link: bool = False, profile: bool = False, json: bool = False, yes: bool = False
) -> Callable[[F], F]:
    """Give a command the shared options it needs; they reach it as one Desk, its first argument."""
    wanted = [
        *(_LINK if link else []),
        *(_PROFILE if link or profile else []),
        *(_JSON if json else []),
        *(_YES if yes else []),
        *_ARCHIVE,
    ]

    def decorate(function: F) -> F:
        @click.pass_context
        def command(ctx: click.Context, *args: Any, **kwargs: Any) -> Any:
            chosen = {key: kwargs.pop(key) for key in list(kwargs) if key in _KEYS}
            lent = ctx.obj if isinstance(ctx.obj, Lent) else None
            if lent is not None and (chosen.get("port") or chosen.get("archive_path")):
                given = ctx.get_parameter_source("port"), ctx.get_parameter_source("archive_path")
                if click.core.ParameterSource.COMMANDLINE in given:
                    raise click.UsageError("--port and --archive are given once, to `together`.")
            return function(Desk(**chosen, lent=lent), *args, **kwargs)

        command.__name__ = function.__name__
        command.__doc__ = function.__doc__
        decorated: Any = command
        for option in reversed(wanted):
            decorated = option(decorated)
        if hasattr(function, "__click_params__"):
            decorated.__click_params__ = [*decorated.__click_params__, *function.__click_params__]
        return decorated  # type: ignore[no-any-return]

    return decorate


def ignore(event: Event) -> None:
    """For jobs whose events nobody shows."""
