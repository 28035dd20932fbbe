"""The archive exported, imported, duplicated and proven in the app."""

from __future__ import annotations

import sqlite3
from typing import Any

from hostlink.app.screens.choosing import ChoosePath
from hostlink.app.screens.dialogues import Ask, ErrorDialogue
from hostlink.app.screens.filling import Fill
from hostlink.archive import Archive


async def _start(pilot: Any, app: Any, wait: Any, find_action: Any, words: str, kind: Any) -> None:
    await find_action(pilot, app, words)
    await pilot.press("enter")
    await wait(pilot, lambda: isinstance(app.screen, kind))


def test_some_programs_are_exported_and_imported_elsewhere(
    stage: Any, wait: Any, find_action: Any, shown: Any
) -> None:
    """Into a new folder; an archive that lacks them takes them in, and says how many."""
    stage.keep("ONE", "10 PRINT 1")
    stage.keep("TWO", "10 PRINT 2")
    with Archive.open(stage.folder / "other.sqlite3") as other:
        stage.archive, mine = other, stage.archive

        async def import_it(pilot: Any, app: Any) -> None:
            await _start(pilot, app, wait, find_action, "import into", ChoosePath)
            app.screen.query_one("#answer").value = "missing"
            await pilot.press("enter")
            await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
            await pilot.press("escape")
            await wait(pilot, lambda: "Reading" not in shown(app))
            await _start(pilot, app, wait, find_action, "import into", ChoosePath)
            app.screen.query_one("#answer").value = "bag"
            await pilot.press("enter")
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert "New here: TWO (1 revision)." in shown(app)
            assert other.programs() == []
            await pilot.click("#answer-import")
            await wait(pilot, lambda: app.said[-1].startswith("Imported from"))
            assert "1 program, 1 revision" in app.said[-1]
            await _start(pilot, app, wait, find_action, "import into", ChoosePath)
            app.screen.query_one("#answer").value = "bag"
            await pilot.press("enter")
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert "The same text: TWO." in shown(app)
            assert not app.screen.query("#answer-import")

        async def export_it(pilot: Any, app: Any) -> None:
            await _start(pilot, app, wait, find_action, "export the archive", Fill)
            await pilot.press(*"bag")  # what is there is selected
            assert app.screen.query_one("#fill-folder").value == "bag"
            app.screen.query_one("#fill-programs").value = "two"
            app.screen.query_one("#fill-since").value = "2001-01-01"
            await pilot.press("enter")
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert "1 program and 1 revision" in " ".join(shown(app).split())

        stage.archive = mine
        stage.play(export_it, port="")
        stage.archive = other
        stage.play(import_it, port="")
        assert [one.name for one in other.programs()] == ["TWO"]
        stage.archive = mine


def test_an_export_that_cannot_be_is_told(stage: Any, wait: Any, find_action: Any) -> None:
    """A day that is none, a program that is not there: nothing is written."""
    stage.keep("ONE", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        for field, value, said in (
            ("since", "soon", '"soon" is not a date.'),
            ("programs", "NONE", "NONE"),
        ):
            await _start(pilot, app, wait, find_action, "export the archive", Fill)
            app.screen.query_one("#fill-folder").value = "bag"
            app.screen.query_one(f"#fill-{field}").value = value
            await pilot.press("enter")
            await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
            assert said in app.screen.error.what
            await pilot.press("enter")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")
    assert not (stage.folder / "bag").exists()


def test_the_archive_is_duplicated_and_proven(
    stage: Any, wait: Any, find_action: Any, shown: Any
) -> None:
    """The duplicate is a whole archive; a second one of the same name is refused."""
    stage.keep("ONE", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        for kind in (Ask, ErrorDialogue):
            await _start(pilot, app, wait, find_action, "duplicate the archive", ChoosePath)
            app.screen.query_one("#answer").value = "copy.sqlite3"
            await pilot.press("enter")
            await wait(pilot, lambda kind=kind: isinstance(app.screen, kind))
            await pilot.press("enter")
            await wait(pilot, lambda: app.screen is app.desk)
        await _start(pilot, app, wait, find_action, "prove the archive", Ask)
        assert ": clean." in " ".join(shown(app).split())
        assert "1 revision" in " ".join(shown(app).split())

    stage.play(story, port="")
    with Archive.open(stage.folder / "copy.sqlite3", create=False) as copy:
        assert [one.name for one in copy.programs()] == ["ONE"]


def test_what_can_be_made_anew_is_offered(
    stage: Any, wait: Any, find_action: Any, shown: Any
) -> None:
    """A search index that lost its content is a finding, and the answer mends it."""
    stage.keep("ONE", "10 PRINT 1")
    db = sqlite3.connect(stage.archive.path)
    index = db.execute(
        "SELECT name FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    ).fetchone()[0]
    db.execute(f'DROP INDEX "{index}"')
    db.commit()
    db.close()

    async def story(pilot: Any, app: Any) -> None:
        await _start(pilot, app, wait, find_action, "prove the archive", Ask)
        assert "1 finding" in " ".join(shown(app).split())
        await pilot.click("#answer-rebuild")
        await wait(pilot, lambda: isinstance(app.screen, Ask) and "clean" in app.screen.question)

    stage.play(story, port="", size=(120, 40))
    assert stage.archive.prove().clean
