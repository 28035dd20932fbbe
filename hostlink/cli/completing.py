"""Complete ports, labels, programs and profiles when Tab is pressed in a shell.

Only archives are opened, for reading; an error prints nothing and completes nothing.
"""

from __future__ import annotations

import contextlib
import os
import shlex
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

import click
from click.shell_completion import CompletionItem

from hostlink.cli.names import COMPLETING
from hostlink.errors import HostlinkError

Named = tuple[str, str]
"""A value, and what it is."""


def with_names(command: click.Command) -> None:
    """Let Tab complete those parameters of a command that name something."""
    for param in command.params:
        find = _BY_PARAMETER.get(param.name or "")
        if find is not None:
            setattr(param, "shell_complete", _completer(find))  # noqa: B010 - it is a method


def _completer(
    find: Callable[[click.Context], Iterator[Named]],
) -> Callable[[click.Context, str], list[CompletionItem]]:
    def complete(ctx: click.Context, begun: str) -> list[CompletionItem]:
        found: list[Named] = []
        with contextlib.suppress(HostlinkError, OSError):
            found += find(ctx)
        items = [
            CompletionItem(value, help=what)
            for value, what in dict(found).items()
            if value.casefold().startswith(begun.casefold()) and _can_be_typed(value)
        ]
        if not items and find in (_listings, _profiles):
            items.append(CompletionItem(begun, type="file"))  # a file may be meant
        return items

    return complete


def _can_be_typed(value: str) -> bool:
    """Return whether the shell will read a completed value as one word."""
    return not os.environ.get(COMPLETING, "").startswith("bash") or shlex.quote(value) == value


def _ports(ctx: click.Context) -> Iterator[Named]:
    from hostlink.board.port.ports import usb_ports

    for board in _boards(ctx):
        yield board, "label"
    for identity in usb_ports():
        yield identity.port, identity.chip
    yield "practice://", "practice board"


def _boards(ctx: click.Context) -> Iterator[str]:
    from hostlink.archive import Archive

    for file in _archives(ctx):
        with Archive.open(file, create=False, read_only=True) as archive:
            yield from (board.label for board in archive.boards() if board.label)


def _programs(ctx: click.Context) -> Iterator[Named]:
    from hostlink.archive.programs import Programs

    for file in _archives(ctx):
        with Programs.open(file) as archive:
            yield from ((each.name, each.title) for each in archive.programs(retired=None))


def _listings(ctx: click.Context) -> Iterator[Named]:
    from hostlink.jobs.listing_source import shipped_programs

    yield from ((name, each.title) for name, each in shipped_programs().items())
    yield from _programs(ctx)


def _profiles(_: click.Context) -> Iterator[Named]:
    from hostlink.board.profile.file import shipped_profiles, user_profiles

    names: Iterable[str] = (*user_profiles(), *shipped_profiles())
    yield from ((name, "profile") for name in names)


def _archives(ctx: click.Context) -> list[Path]:
    from hostlink.cli.context import CommonOptions
    from hostlink.cli.port_choice import label_archives

    common = CommonOptions(archive_path=ctx.params.get("archive_path"))
    return [file for file in label_archives(common) if file.exists()]


_BY_PARAMETER: dict[str, Callable[[click.Context], Iterator[Named]]] = {
    "ports": _ports,
    "profile": _profiles,
    "what": _listings,
    "a": _listings,
    "b": _listings,
    "program": _programs,
    "programs": _programs,
}
