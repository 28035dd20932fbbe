"""A command group that suggests similar commands, never truncates help, and shows examples."""

from __future__ import annotations

import os
from copy import copy

import click

from hostlink.cli.names import COMPLETING
from hostlink.words import nearest


class Group(click.Group):
    """A group that lists commands in the order added, with complete help lines."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Return the names of the commands in the order in which they were added."""
        return list(self.commands)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return the command of this name, with the examples that its help shows."""
        found = self.find_command(ctx, cmd_name)
        if found is None:
            return None
        from hostlink.cli.help_map import examples
        from hostlink.cli.output import as_called

        command = copy(found)  # its help depends on how hostlink was called
        root = f"{ctx.find_root().command_path} "  # may be several words
        command.epilog = as_called(examples(f"{ctx.command_path} {cmd_name}".removeprefix(root)))
        command.help = as_called(found.help or "")
        command.params = [copy(param) for param in found.params]
        for option in command.params:
            if isinstance(option, click.Option):
                option.help = as_called(option.help or "")
        if COMPLETING in os.environ:
            from hostlink.cli.completing import with_names

            with_names(command)
        return command

    def find_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Return the command of this name as it was added; None if there is none."""
        return super().get_command(ctx, name)

    def help_lines(self) -> list[tuple[str, str]]:
        """Return each command with its one line of help."""
        return [
            (name, (each.help or "").partition("\n\n")[0].replace("\n", " "))
            for name, each in self.commands.items()
        ]

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that the arguments name; suggest similar ones for an unknown name."""
        known = self.list_commands(ctx)
        if args and args[0] not in known and not args[0].startswith("-"):
            near = ["--help"] if args[0] == "help" else nearest(args[0], known)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            ctx.fail(f'There is no command "{args[0]}".{hint}')
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands with their complete help lines."""
        with formatter.section("Commands"):
            formatter.write_dl(self.help_lines())
