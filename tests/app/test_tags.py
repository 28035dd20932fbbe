"""Tags and notes of a program, and two listings compared, in the app."""

from __future__ import annotations

from typing import Any

from hostlink.app.screens.compare import CompareScreen
from hostlink.app.screens.dialogues import ErrorDialogue
from hostlink.app.screens.filling import Fill


async def _fill(pilot: Any, app: Any, wait: Any, **values: str) -> None:
    await pilot.press("enter")
    await wait(pilot, lambda: isinstance(app.screen, Fill))
    for key, value in values.items():
        app.screen.query_one(f"#fill-{key}").value = value
    await pilot.press("enter")


def test_tags_are_put_on_and_taken_off_and_a_note_is_kept(
    stage: Any, wait: Any, find_action: Any
) -> None:
    """What stands in the line afterwards are the tags; the search finds the program by them."""
    stage.keep("LAMP", "10 PRINT 1")
    stage.archive.tag("LAMP", "old", "Light")

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "tags")
        await _fill(pilot, app, wait, tags="light evening", note="for the lamp")
        await wait(pilot, lambda: "LAMP has the tags" in app.said[-1])
        app.desk.shelf.search("evening")
        assert app.desk.shelf.query_one("#programs").key == "LAMP"
        await find_action(pilot, app, "tags")
        await _fill(pilot, app, wait, tags="x" * 41)
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))

    stage.play(story, port="", opens="LAMP")
    program = stage.archive.program("LAMP")
    assert {tag.casefold() for tag in program.tags} == {"light", "evening"}
    assert program.note == "for the lamp"


def test_rules_that_a_note_silences_stay_silent(stage: Any, wait: Any, find_action: Any) -> None:
    """They are not shown with the note, and are there whether it is changed or left."""
    stage.keep("LAMP", "10 PRINT 1")
    stage.archive.note("LAMP", "for the lamp\nsilence: open-quote")

    async def story(pilot: Any, app: Any) -> None:
        for tags, note in (("a", "for the lamp"), ("a", "for the lamps")):
            await find_action(pilot, app, "tags")
            await pilot.press("enter")
            await wait(pilot, lambda: isinstance(app.screen, Fill))
            assert app.screen.query_one("#fill-note").value == "for the lamp"
            app.screen.query_one("#fill-tags").value = tags
            app.screen.query_one("#fill-note").value = note
            app.said.clear()
            await pilot.press("enter")
            await wait(pilot, lambda: app.said)

    stage.play(story, port="", opens="LAMP")
    assert stage.archive.program("LAMP").note == "for the lamps\nsilence: open-quote"
    assert len(stage.archive.notes("LAMP")) == 2


def test_without_a_program_there_is_nothing_to_tag(stage: Any, wait: Any, find_action: Any) -> None:
    """The archive is empty: that is said."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "tags")
        await pilot.press("enter")
        await wait(pilot, lambda: app.said and "no program yet" in app.said[-1])

    stage.play(story, port="")


def test_any_two_listings_are_compared(stage: Any, wait: Any, find_action: Any, shown: Any) -> None:
    """A program with a file; what is not there is told."""
    stage.keep("LAMP", "10 PRINT 1")
    (stage.folder / "lamp.bas").write_text("10 PRINT 1\n20 END\n")

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "compare two")
        await _fill(pilot, app, wait, b="lamp.bas")
        await wait(pilot, lambda: isinstance(app.screen, CompareScreen))
        assert [line.number for line in app.screen.comparison.added] == [20]
        assert "LAMP revision 1" in shown(app)
        await pilot.press("escape")
        await find_action(pilot, app, "compare two")
        await _fill(pilot, app, wait, b="nowhere")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "nowhere" in app.screen.error.what

    stage.play(story, port="", opens="LAMP")


def test_listings_to_compare_are_chosen_from_the_list(
    stage: Any, wait: Any, find_action: Any
) -> None:
    """Programs at first, with rescues; a program's revisions once its name stands in the line."""
    stage.keep("LAMP", "10 PRINT 1")
    stage.keep("LAMP", "10 PRINT 2")
    stage.keep("TOWER", "10 PRINT 3")

    async def story(pilot: Any, app: Any) -> None:
        def offered() -> list[str]:
            return [one.key for one in app.screen.query_one("#places").entries]

        await find_action(pilot, app, "compare two")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await wait(pilot, lambda: offered() == ["LAMP", "LAMP@2", "LAMP@1"])
        await pilot.press("tab", "down", "enter")
        await wait(pilot, lambda: app.screen.query_one("#fill-b").value == "LAMP")
        await wait(pilot, lambda: offered() == ["LAMP", "LAMP@2", "LAMP@1"])
        await pilot.press("down", "down", "down", "enter")
        await wait(pilot, lambda: app.screen.query_one("#fill-b").value == "LAMP@1")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, CompareScreen))

    stage.play(story, port="", opens="LAMP")


def test_tags_are_chosen_from_those_of_other_programs(
    stage: Any, wait: Any, find_action: Any
) -> None:
    """The most frequent first; one that stands in the line already is not offered again."""
    stage.keep("TOWER", "10 PRINT 3")
    stage.keep("LAMP", "10 PRINT 1")
    stage.archive.tag("LAMP", "light")
    stage.archive.tag("TOWER", "light", "evening")

    async def story(pilot: Any, app: Any) -> None:
        def offered() -> list[str]:
            return [one.key for one in app.screen.query_one("#places").entries]

        await find_action(pilot, app, "tags")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await wait(pilot, lambda: offered() == ["evening"])
        await pilot.press("down", "up")  # from the top of the list back to its line
        assert app.focused.id == "fill-tags"
        await pilot.press("tab")
        await wait(pilot, lambda: app.focused.id == "fill-note" and not offered())
        await pilot.press("shift+tab", "end", "down", "enter")
        await wait(pilot, lambda: app.screen.query_one("#fill-tags").value == "light evening ")
        await pilot.press("enter")
        await wait(pilot, lambda: app.said and "LAMP has the tags" in app.said[-1])

    stage.play(story, port="", opens="LAMP")
    assert set(stage.archive.program("LAMP").tags) == {"light", "evening"}
