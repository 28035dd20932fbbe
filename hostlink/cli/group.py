"""A command group that suggests similar commands and never truncates their help."""

from __future__ import annotations

import click


class Group(click.Group):
    """A group that lists commands in the order added, with complete help lines."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        """Return the names of the commands in the order in which they were added."""
        return list(self.commands)

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
            import difflib  # only faults need it

            near = difflib.get_close_matches(args[0], known, 2)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            ctx.fail(f'There is no command "{args[0]}".{hint}')
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """Write the list of commands with their complete help lines."""
        with formatter.section("Commands"):
            formatter.write_dl(self.help_lines())
