"""What the command line can do is found in the app, or the app tells where it is."""

from __future__ import annotations

from typing import Any

import click
import pytest
from textual.binding import Binding

from hostlink.app.desk.desk import Desk
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.firmware import FirmwareScreen
from hostlink.app.screens.palette import TYPED
from hostlink.app.screens.revisions import RevisionsScreen
from hostlink.app.screens.stored import StoredScreen
from hostlink.cli.entry import COMMANDS, cli

REACHED: dict[str, tuple[Any, str]] = {
    "boards": (Desk, "boards"),
    "meet": (BoardsScreen, "meet"),
    "survey": (BoardsScreen, "survey"),
    "load": (Desk, "load"),
    "save": (Desk, "save"),
    "run": (Desk, "run"),
    "console": (Desk, "console"),
    "restart": (Desk, "restart"),
    "stored": (Desk, "stored"),
    "store": (StoredScreen, "store"),
    "recall": (StoredScreen, "recall"),
    "backup": (Desk, "backup"),
    "putback": (Desk, "put-back"),
    "firmware review": (Desk, "firmware"),
    "firmware history": (Desk, "firmware"),
    "firmware write": (FirmwareScreen, "write"),
    "review": (Desk, "findings"),
    "mend": (Desk, "mend"),
    "renumber": (Desk, "renumber"),
    "shrink": (Desk, "shrink"),
    "sheet": (Desk, "sheet"),
    "card": (Desk, "card"),
    "keep": (Desk, "keep"),
    "give": (Desk, "give"),
    "programs": (Desk, "find"),
    "find": (Desk, "find"),
    "show": (Desk, "open"),
    "history": (Desk, "history"),
    "compare": (Desk, "compare-board"),
    "retire": (RevisionsScreen, "retire"),
    "return": (RevisionsScreen, "retire"),
}


def commands() -> dict[str, click.Command]:
    """Every command, those of groups with the group's name before theirs."""
    found: dict[str, click.Command] = {}
    for name in COMMANDS:
        command = cli.get_command(click.Context(cli), name)
        assert command is not None
        if isinstance(command, click.Group):
            found |= {f"{name} {inner}": each for inner, each in command.commands.items()}
        else:
            found[name] = command
    return found


def test_every_command_is_an_action_or_is_told() -> None:
    """Each command has its action on a screen, or stands in the palette as the command it is."""
    told = {command.removeprefix("hostlink ").partition(" --")[0] for _, command in TYPED}
    assert set(commands()) - {"practice"} == set(REACHED) | told
    for screen, action in REACHED.values():
        bound = [each for each in screen.BINDINGS if isinstance(each, Binding)]
        assert action in {each.id or each.action for each in bound}, (screen, action)


@pytest.mark.parametrize("command", [command for _, command in TYPED])
def test_what_the_palette_tells_is_there(command: str) -> None:
    """The command, and an option that is named with it, are such."""
    name, _, option = command.removeprefix("hostlink ").partition(" --")
    options = {each for param in commands()[name].params for each in param.opts}
    assert not option or f"--{option}" in options


def test_the_palette_tells_where_exporting_is(stage: Any, find_action: Any) -> None:
    """Typing a word of something that only the command line does shows the command."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "archive export")

    stage.play(story)
