"""What the command line can do is found in the app, or the app tells where it is."""

from __future__ import annotations

from typing import Any

import click
import pytest
from textual.binding import Binding

from hostlink.app.actions.action import GROUPS
from hostlink.app.actions.table import BY_ID
from hostlink.app.desk.desk import Desk
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.firmware import FirmwareScreen
from hostlink.app.screens.palette import TYPED, Help, likeness
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
    "class": (Desk, "class"),
    "putback": (Desk, "put-back"),
    "firmware review": (Desk, "firmware"),
    "firmware history": (Desk, "firmware-history"),
    "firmware write": (FirmwareScreen, "write"),
    "review": (Desk, "findings"),
    "mend": (Desk, "mend"),
    "renumber": (Desk, "renumber"),
    "shrink": (Desk, "shrink"),
    "adapt": (Desk, "adapt"),
    "sheet": (Desk, "sheet"),
    "card": (Desk, "card"),
    "booklet": (Desk, "publish"),
    "site": (Desk, "publish"),
    "keep": (Desk, "keep"),
    "give": (Desk, "give"),
    "programs": (Desk, "find"),
    "find": (Desk, "find"),
    "show": (Desk, "open"),
    "history": (Desk, "history"),
    "runs": (RevisionsScreen, "printed"),
    "compare": (Desk, "compare-two"),
    "retire": (RevisionsScreen, "retire"),
    "return": (RevisionsScreen, "retire"),
    "note": (Desk, "tags"),
    "tag": (Desk, "tags"),
    "archive export": (Desk, "export"),
    "archive import": (Desk, "import"),
    "archive duplicate": (Desk, "duplicate"),
    "archive prove": (Desk, "prove"),
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
        names = {name for each in bound for name in (each.id, each.action)}
        assert action in names, (screen, action)


@pytest.mark.parametrize("command", [command for _, command in TYPED])
def test_what_the_palette_tells_is_there(command: str) -> None:
    """The command, and an option that is named with it, are such."""
    name, _, option = command.removeprefix("hostlink ").partition(" --")
    options = {each for param in commands()[name].params for each in param.opts}
    assert not option or f"--{option}" in options


def test_the_palette_tells_what_only_the_command_line_does(stage: Any, find_action: Any) -> None:
    """Typing a word of something that only the command line does shows the command."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "over one port")

    stage.play(story)


@pytest.mark.one_in(3)
@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("stop", "interrupt the program"),
        ("upload", "load into the board"),
        ("send", "load into the board"),
        ("download", "save from the board"),
        ("reset", "restart the board"),
        ("connect", "boards"),
        ("eeprom", "back up the board"),
        ("flash", "firmware"),
        ("diff", "compare with the board"),
        ("older", "revisions"),
        ("print", "write a listing sheet"),
        ("pack", "give listings out"),
        ("exit", "leave"),
        ("fix", "mend the listing"),
        ("too long", "make it smaller"),
        ("undo", "undo the last change"),
        ("redo", "redo the undone change"),
        ("step by step", "step through the program"),
        ("quiet", "only listing and console"),  # the names of [keys]
        ("history", "revisions"),
    ],
)
def test_an_action_is_found_by_what_it_means(
    stage: Any, find_action: Any, said: str, meant: str
) -> None:
    """A word that people use for it comes before letters that happen to be in another's name."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, said, meant)

    stage.play(story, port="")


def test_a_word_of_the_name_counts_before_a_synonym_and_that_before_the_explanation() -> None:
    """Letters scattered over a name are no answer."""
    load = ("Load into the board", "Send the listing", "upload")
    assert likeness("boa", *load) == 4
    assert likeness("upl board", *load) == 3
    assert likeness("listing", *load) == 2
    assert likeness("ldb", *load) == 0
    assert likeness("Cross-reference", "Cross-reference", "", "") == 4
    assert likeness("+", "Cross-reference", "", "") == 0
    assert likeness("lo", "Send it", "", "", name="load") == 4
    assert likeness("Cross-ref", "Cross-reference", "", "") == 4
    assert likeness("-", *load) == 0


@pytest.mark.parametrize("word", ["undo", "redo", "cut", "copy", "paste"])
def test_the_keys_of_a_text_are_found_by_what_they_do(word: str) -> None:
    """They are those of any editor, and stand nowhere else."""
    found = [one for one in BY_ID.values() if likeness(word, one.words, one.tooltip, one.also)]
    assert any("Ctrl+" in one.tooltip for one in found)


def test_the_palette_marks_the_words_that_answer(stage: Any, find_action: Any) -> None:
    """And no letters elsewhere in the name, where a synonym answered."""

    async def story(pilot: Any, app: Any) -> None:
        def marked() -> list[str]:
            prompt = app.screen.query_one("CommandList").get_option_at_index(0).prompt
            return [prompt.plain[span.start : span.end] for span in prompt.spans if span.end < 30]

        await find_action(pilot, app, "loa", "load into")
        assert "Loa" in marked()
        await find_action(pilot, app, "upload", "load into")
        assert not {"Lo", "L", "load"} & set(marked())

    stage.play(story, port="")


def test_each_action_has_words_that_people_look_for_it_by() -> None:
    """In small letters, and its group is one of those that are shown."""
    for action in BY_ID.values():
        assert action.also, action.id
        assert action.also == action.also.lower()
        assert action.group in GROUPS


def test_help_and_palette_are_in_groups_by_what_one_wants_to_do(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Each group is named once in the help, in the same order in both."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("f1")
        await wait(pilot, lambda: isinstance(app.screen, Help))
        rows = app.screen.query_one("#keys").content.plain.split("\n")
        assert [row for row in rows if row in GROUPS] == list(GROUPS)
        order = [rows.index(row) for row in rows if "Keep in the archive" in row or "  F7 " in row]
        assert [rows[at][2:4] for at in order] == ["Ct", "F7"]  # as in the table of actions
        await pilot.press("escape", "f2")
        await wait(pilot, lambda: "Load into the board" in shown(app))
        assert "Work with the board" in shown(app)

    stage.play(story, port="")
