"""A folder or zip file of listings taken in, and programs given out, in the app."""

from __future__ import annotations

import zipfile
from typing import Any

from hostlink.app.screens.dialogues import Ask, AskText, ErrorDialogue
from hostlink.app.screens.filling import Fill


def test_a_folder_is_kept_after_an_answer_that_says_so(
    stage: Any, wait: Any, type_text: Any, shown: Any
) -> None:
    """What it holds and what is left out is said first; Escape keeps nothing."""
    folder = stage.folder / "class"
    folder.mkdir()
    (folder / "one.bas").write_text("10 PRINT 1\n")
    (folder / "two.txt").write_text("10 PRINT 2\n")
    (folder / "bad.bas").write_text("10 PRINT \u00e9\n", encoding="utf-8")
    (folder / "notes.md").write_text("not a listing")

    async def story(pilot: Any, app: Any) -> None:
        for answer in ("escape", "down"):
            await pilot.press("ctrl+o")
            await wait(pilot, lambda: isinstance(app.screen, AskText))
            await type_text(pilot, "class\n")
            await wait(pilot, lambda: isinstance(app.screen, Ask))
            assert app.focused.id == "answer-leave"
            for words in ("class holds 2 listings", "bad.bas", "U+00E9", "1 other file"):
                assert words in " ".join(shown(app).split())
            await pilot.press(answer)
            await pilot.pause()
            if answer == "escape":
                assert stage.archive.programs() == []
        await pilot.press("enter")
        await wait(pilot, lambda: "2 listings kept, 0 already in the archive." in app.said)

    stage.play(story, port="")
    assert [program.name for program in stage.archive.programs()] == ["ONE", "TWO"]


def test_an_empty_folder_holds_nothing_to_keep(
    stage: Any, wait: Any, type_text: Any, shown: Any
) -> None:
    """The box says so, and nothing of what would become of listings."""
    (stage.folder / "class").mkdir()

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+o")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await type_text(pilot, "class\n")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert "class holds 0 listings." in " ".join(shown(app).split())
        assert "becomes a revision" not in shown(app)

    stage.play(story, port="")


def test_programs_are_given_out_and_taken_in_again(stage: Any, wait: Any, type_text: Any) -> None:
    """As one zip; a second time only after an answer; taken in again they are known already."""
    stage.keep("ONE", "10 PRINT 1")
    stage.keep("TWO", "10 PRINT 2")

    async def story(pilot: Any, app: Any) -> None:
        for ended in (
            lambda: any("2 listings written" in said for said in app.said),
            lambda: isinstance(app.screen, Ask),
        ):
            app.desk.action_work("give")
            await pilot.pause()
            await wait(pilot, lambda: isinstance(app.screen, Fill))
            await pilot.press("enter")
            await wait(pilot, ended)
        assert app.focused.id == "answer-leave"
        await pilot.press("down", "enter")
        await wait(pilot, lambda: sum("2 listings written" in said for said in app.said) == 2)
        app.desk.action_work("give")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await pilot.press("tab", *"one TWO none", "enter")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        await pilot.press("ctrl+o")
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await type_text(pilot, "listings.zip\n")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("down", "enter")
        await wait(pilot, lambda: "0 listings kept, 2 already in the archive." in app.said)

    stage.play(story, port="")
    with zipfile.ZipFile(stage.folder / "listings.zip") as opened:
        assert opened.namelist() == ["one.bas", "two.bas"]
        assert opened.read("two.bas") == b"10 PRINT 2\n"


def test_what_cannot_be_written_is_told_in_a_sentence(stage: Any, wait: Any) -> None:
    """No program to give, a folder that cannot be made, a home that nobody has."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.action_work("give")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "holds no program" in app.screen.error.what
        await pilot.press("enter")
        (stage.folder / "file").write_text("")
        for place in ("file/folder", "~nobody-of-this-name/x.zip", "x" * 300):
            app.desk.action_work("give")
            await pilot.pause()
            await wait(pilot, lambda: isinstance(app.screen, Fill))
            app.screen.query_one("#fill-file").value = place
            app.screen.query_one("#fill-programs").value = "shipped:TIDE"
            await pilot.press("enter")
            await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
            assert "cannot be" in app.screen.error.what
            await pilot.press("enter")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")


def test_programs_are_published_as_a_booklet_or_a_site(stage: Any, wait: Any) -> None:
    """By the name that is given: a file that ends in .html, replaced after an answer; a folder."""
    stage.keep("ONE", "10 PRINT 1")
    stage.keep("TWO", "10 PRINT 2")

    async def story(pilot: Any, app: Any) -> None:
        async def publish(name: str, programs: str = "") -> None:
            app.desk.action_work("publish")
            await wait(pilot, lambda: isinstance(app.screen, Fill))
            app.screen.query_one("#fill-file").value = name
            app.screen.query_one("#fill-programs").value = programs
            await pilot.press("enter")

        await publish("class.html")
        await wait(pilot, lambda: any("booklet of 2 programs" in said for said in app.said))
        await publish("class.html", "TWO")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("down", "enter")
        await wait(pilot, lambda: any("booklet of 1 program " in said for said in app.said))
        await publish("web", "ONE")
        await wait(pilot, lambda: any("The site of 1 program is in" in said for said in app.said))
        (stage.folder / "web" / "index.html").unlink()
        await publish("web")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "holds other files" in app.screen.error.what

    stage.play(story, port="")
    assert "10 PRINT 1" not in (stage.folder / "class.html").read_text(encoding="utf-8")
    assert [path.name for path in (stage.folder / "web").iterdir()] == ["one.html"]
