"""An archive that cannot be written, and one that another window writes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hostlink.app.console import Transcript
from hostlink.archive import Archive


def test_with_a_read_only_archive_a_board_is_attached_and_its_program_run(
    stage: Any, wait: Any, shown: Any, type_text: Any, is_settled: Any
) -> None:
    """What could not be kept is said; a load names the reason, and the board goes on working."""
    stage.keep("TIDE", "10 PRINT 5")
    with Archive.open(stage.archive.path, read_only=True) as archive:
        stage.archive, writable = archive, stage.archive

        async def story(pilot: Any, app: Any) -> None:
            await wait(pilot, lambda: "holds no program" in shown(app))
            assert any("The archive is read-only" in said for said in app.said)
            assert not any("loads the listing" in said for said in app.said)
            assert "Archive: 1 program, read-only" in shown(app)
            await pilot.press("ctrl+t")
            await type_text(pilot, "10 PRINT 6*7\n")
            await wait(pilot, lambda: is_settled(app) and app.boards.current.at_prompt)
            app.desk.console.run()
            await wait(pilot, lambda: " 42" in app.desk.query_one(Transcript).text)
            await wait(pilot, lambda: is_settled(app) and app.boards.current.at_prompt)
            await wait(pilot, lambda: app.said[-1] == "The program has ended.")
            app.desk.readings.look()
            await wait(pilot, lambda: "a program that is not in the archive" in shown(app))
            await pilot.press("ctrl+l")
            await wait(pilot, lambda: "read-only" in app.said[-1])
            await wait(pilot, lambda: app.screen is not app.desk)
            words = " ".join(shown(app).split())
            assert "Nothing on the board was changed." in words
            assert "was not touched" not in words
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk and is_settled(app))
            assert app.boards.current.at_prompt

        stage.play(story, opens="TIDE")
        stage.archive = writable
    assert stage.archive.boards() == []


def test_that_the_archive_is_read_only_is_told_without_a_listing_too(stage: Any, wait: Any) -> None:
    """In the last line of the desk, once the board is attached."""
    with Archive.open(stage.archive.path, read_only=True) as archive:
        stage.archive, writable = archive, stage.archive

        async def story(pilot: Any, app: Any) -> None:
            words = "is read-only, so programs can only be run"
            await wait(pilot, lambda: any(words in said for said in app.said))

        stage.play(story)
        stage.archive = writable


def test_a_program_that_another_window_keeps_appears(stage: Any, wait: Any, shown: Any) -> None:
    """Without a key, and without a word in the search being lost."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.to_archive()
        await wait(pilot, lambda: app.focused is app.desk.query_one("#find"))
        await pilot.press("l", "a", "m")
        here: Path = app.archive.path
        with Archive.open(here) as other:
            stage.archive, own = other, stage.archive
            stage.keep("LAMP", "10 PRINT 1")
            stage.archive = own
        await wait(pilot, lambda: "LAMP" in shown(app))
        assert app.desk.query_one("#find").value == "lam"

    stage.play(story, port="")
