"""Choosing a file or folder: the line completes, the list shows folders, the mouse works."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from hostlink.app.screens.choosing import ChoosePath
from hostlink.app.screens.filling import Fill
from hostlink.app.widgets.paths import matching_paths
from hostlink.app.widgets.rows import Rows


@pytest.fixture
def class_folder(stage: Any) -> Path:
    """A folder with listings, a folder in it, and files of other kinds."""
    folder: Path = stage.folder
    (folder / "evening" / "one").mkdir(parents=True)
    (folder / "evening" / "lamp10.bas").write_text("10 PRINT 10\n")
    (folder / "evening" / "lamp2.bas").write_text("10 PRINT 2\n")
    (folder / "evening" / "notes.pdf").write_text("")
    (folder / "evening" / ".hidden.bas").write_text("")
    return folder


@pytest.mark.usefixtures("class_folder")
def test_folders_come_first_and_numbers_are_ordered_as_numbers() -> None:
    """Only files of the wanted kinds; hidden ones where a dot is typed; none of no folder."""
    assert matching_paths("evening/", (".bas",)) == ["one/", "lamp2.bas", "lamp10.bas"]
    assert matching_paths("evening/LAMP", (".bas",)) == ["lamp2.bas", "lamp10.bas"]
    assert matching_paths("evening/.") == [".hidden.bas"]
    assert "evening/" in matching_paths("")
    assert (
        matching_paths("nowhere/")
        == matching_paths("a\0/")
        == matching_paths("x" * 5000 + "/")
        == []
    )


def test_a_home_folder_is_listed(class_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """~ is what it is everywhere else."""
    monkeypatch.setenv("HOME", str(class_folder))
    assert matching_paths("~/eve") == ["evening/"]


@pytest.mark.usefixtures("class_folder")
def test_tab_completes_and_the_list_opens_folders(stage: Any, wait: Any) -> None:
    """Tab adds what is certain; Down and Enter go into a folder, then take a file."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+o")
        await wait(pilot, lambda: isinstance(app.screen, ChoosePath))
        line = app.screen.query_one("#answer")
        await pilot.press(*"eve", "tab")
        assert line.value == "evening/"
        await pilot.press("l", "tab")
        assert line.value == "evening/lamp"
        assert [one.key for one in app.screen.query_one(Rows).entries] == [
            "lamp2.bas",
            "lamp10.bas",
        ]
        await pilot.press(*["backspace"] * 12, "down")
        assert app.screen.query_one(Rows).has_focus
        rows = app.screen.query_one(Rows)
        rows.cursor = [one.key for one in rows.entries].index("evening/")
        await pilot.press("enter")
        await wait(pilot, lambda: rows.key == "one/")
        await pilot.press("down", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == "10 PRINT 2\n"

    stage.play(story, port="")


@pytest.mark.usefixtures("class_folder")
def test_a_file_is_chosen_with_the_mouse(stage: Any, wait: Any) -> None:
    """A click marks a row, a second one on it takes it."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+o")
        await wait(pilot, lambda: isinstance(app.screen, ChoosePath))
        app.screen.query_one("#answer").value = "evening/"
        rows = app.screen.query_one(Rows)
        await wait(pilot, lambda: len(rows.entries) == 3)
        await pilot.click("#places", offset=(6, 3))
        await pilot.click("#places", offset=(6, 3))
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == "10 PRINT 10\n"

    stage.play(story, port="")


@pytest.mark.usefixtures("class_folder")
def test_tab_completes_a_file_name_among_other_lines(stage: Any, wait: Any) -> None:
    """As it does where nothing else is asked for; where it adds nothing, it goes on."""

    async def story(pilot: Any, app: Any) -> None:
        lines = [("to", "to", ""), ("which", "which", "")]
        app.push_screen(Fill("Where?", lines, hint="", path="to"))
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        line = app.screen.query_one("#fill-to")
        await pilot.press(*"eve", "tab")
        assert (line.value, app.focused) == ("evening/", line)
        line.value = "evening/nothing"
        await pilot.press("tab")
        assert app.focused is app.screen.query_one("#fill-which")
        assert line.value == "evening/nothing"

    stage.play(story, port="")
