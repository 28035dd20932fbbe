"""The keys of the screens other than the desk, and of the editor, can be changed too."""

from __future__ import annotations

import importlib
import pkgutil
from pathlib import Path
from typing import Any

import pytest
from textual.binding import Binding
from textual.dom import DOMNode

import hostlink.app
from hostlink.app.actions.screen_keys import BY_NAME
from hostlink.app.actions.table import BY_ID
from hostlink.app.application import DeskApp
from hostlink.app.desk.desk import Desk
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.dialogues import AskText
from hostlink.app.screens.palette import Help
from hostlink.app.screens.words_line import WordsLine
from hostlink.app.settings import read_settings
from hostlink.app.ways import KEYS


@pytest.mark.parametrize(
    "table",
    [
        '"boards.detach" = "s"\n"boards.survey" = "d"',
        '"boards.detach" = "h"',
        '"mending.fold" = "right"\n"mending.unfold" = "left"',
        '"mending.turn" = "left"\n"mending.fold" = "space"',
        '"revisions.load" = "l"\n"revisions.note" = "ctrl+l"',
        '"listing.start" = "ctrl+end"\n"listing.end" = "ctrl+home"',
        '"stored.store" = "f5"\n"boards.survey" = "f5"',
    ],
)
def test_keys_of_other_screens_can_be_letters_and_can_be_exchanged(
    tmp_path: Path, table: str
) -> None:
    """Two screens may use the same key, which the desk has too."""
    path = tmp_path / "settings.toml"
    path.write_text(f"[keys]\n{table}\n")
    read = read_settings(path)
    assert read.fault == ""
    assert read.usable_keys == read.keys != {}


def test_a_key_of_ones_own_on_another_screen(stage: Any, wait: Any, shown: Any) -> None:
    """O and L change places on the boards, S becomes F5: keys, foot, body and help have them."""
    table = '[keys]\n"boards.other" = "l"\n"boards.label" = "o"\n"boards.survey" = "f5"\n'
    (stage.folder / "settings.toml").write_text(table)

    async def story(pilot: Any, app: Any) -> None:
        app.desk.screens.boards()
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.pause()
        assert "D detaches, O labels, M tests" in shown(app)
        assert "answers, F5 surveys" in shown(app)
        assert "last survey: none; F5 surveys it" in shown(app)
        assert "L names another port" in " ".join(shown(app).split())
        await pilot.press("l")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.press("f1")
        await wait(pilot, lambda: isinstance(app.screen, Help))
        assert "  L            Another port" in app.screen.query_one("#keys").content.plain

    stage.play(story, port="", size=(120, 40))


def test_a_key_of_ones_own_in_the_editor(stage: Any, wait: Any) -> None:
    """A function key, and one with Ctrl that the editor had for something else."""
    (stage.folder / "settings.toml").write_text(
        '[keys]\n"listing.start" = "ctrl+a"\n"listing.end" = "f10"\n'
    )

    async def story(pilot: Any, app: Any) -> None:
        editor = app.desk.editor
        await wait(pilot, lambda: editor.document.line_count > 3)
        await pilot.press("f10")
        await wait(pilot, lambda: editor.cursor_location == editor.document.end)
        await pilot.press("ctrl+a")
        await wait(pilot, lambda: editor.cursor_location == (0, 0))

    stage.play(story, port="", opens="shipped:TIDE")


def test_sentences_and_hints_name_the_keys_of_ones_own(stage: Any, wait: Any, shown: Any) -> None:
    """On the desk, in advice, in the help; and the usual keys again in the next app."""
    (stage.folder / "settings.toml").write_text(
        '[keys]\nload = "f10"\nhelp = "ctrl+p"\nwords = "f12"\n"boards.survey" = "f5"\n'
    )

    async def story(pilot: Any, app: Any) -> None:
        assert "No board is attached. F12, then D shows the boards" in shown(app)
        assert "F12 shows words for all jobs    Ctrl+P help" in shown(app)
        assert KEYS.load("TIDE") == "with Ctrl+O, as TIDE, then F10"
        assert KEYS.survey == "with F12, then D, then F5"
        assert KEYS.put_back("backup@1") == "with F12, then P, backup@1"
        await pilot.press("f12")
        await wait(pilot, lambda: isinstance(app.screen, WordsLine))
        await pilot.press("escape", "ctrl+p")
        await wait(pilot, lambda: isinstance(app.screen, Help))
        assert "F12 opens a line of words" in " ".join(shown(app).split())

    stage.play(story, port="")
    (stage.folder / "settings.toml").unlink()

    async def usual(_: Any, app: Any) -> None:
        assert "No board is attached. Escape, then D shows the boards" in shown(app)
        assert KEYS.load("TIDE") == "with Ctrl+O, as TIDE, then Ctrl+L"

    stage.play(usual, port="")


def _own_keys() -> dict[type, list[Binding]]:
    """Return what each class of the app binds itself, without the desk and the app."""
    for module in pkgutil.walk_packages(hostlink.app.__path__, "hostlink.app."):
        importlib.import_module(module.name)
    found: dict[type, list[Binding]] = {}
    todo: list[type] = [DOMNode]
    while todo:
        todo += (node := todo.pop()).__subclasses__()
        if node.__module__.startswith("hostlink.app.") and node not in (Desk, DeskApp, WordsLine):
            bindings = vars(node).get("BINDINGS", ())
            found[node] = [each for each in bindings if isinstance(each, Binding)]
    return found


def test_every_key_of_a_screen_is_in_the_table_or_is_one_that_stays() -> None:
    """Each name is bound by one class, to a method that there is; what has no name stays."""
    stays = {"escape", "enter", "tab", "up", "down", "left", "right", "left,up", "right,down"}
    stays |= {"pageup", "pagedown", "home", "end"}
    names: list[str] = []
    for node, bindings in _own_keys().items():
        for binding in bindings:
            if binding.id is None:
                assert binding.key in stays, f"{node.__name__} binds {binding.key} without a name"
                continue
            if binding.id in BY_ID:  # one of the desk, which works in front of it too
                continue
            names.append(binding.id)
            assert binding.key == BY_NAME[binding.id]
            assert hasattr(node, f"action_{binding.action.partition('(')[0]}")
    assert sorted(names) == sorted(BY_NAME)
