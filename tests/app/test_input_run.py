"""A program run in the app with its answers from a file."""

from __future__ import annotations

from typing import Any

from hostlink.app.console import Transcript
from hostlink.app.screens.dialogues import ErrorDialogue
from hostlink.app.screens.filling import Fill

ASKS = {10: b"INPUT N", 20: b"PRINT N*2", 30: b"END"}


async def _fill(pilot: Any, app: Any, wait: Any, find_action: Any, **values: str) -> None:
    await find_action(pilot, app, "input file")
    await pilot.press("enter")
    await wait(pilot, lambda: isinstance(app.screen, Fill))
    for key, value in values.items():
        app.screen.query_one(f"#fill-{key}").value = value
    await pilot.press("enter")


def test_the_answers_come_from_the_file_and_the_output_to_the_console(
    stage: Any, wait: Any, find_action: Any, do: Any, hold: Any
) -> None:
    """Answers that were not asked for are counted; the output is in the named file too."""
    (stage.folder / "answers.txt").write_text("21\n5\n")

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(ASKS))
        await _fill(pilot, app, wait, find_action, input="answers.txt", output="out.txt")
        await wait(pilot, lambda: any("The program has ended" in said for said in app.said))
        assert "Not asked for: 1 answer." in app.said[-1]
        await wait(pilot, lambda: "42" in app.desk.query_one(Transcript).text)

    stage.play(story)
    assert "42" in (stage.folder / "out.txt").read_text()


def test_a_program_that_asks_for_more_is_stopped_and_told(
    stage: Any, wait: Any, find_action: Any, do: Any, hold: Any, shown: Any
) -> None:
    """Without a further answer the run ends; the program stays in memory."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(ASKS))
        await _fill(pilot, app, wait, find_action)
        await wait(pilot, lambda: "there is no more input" in shown(app))

    stage.play(story, size=(120, 40))


def test_what_cannot_be_run_is_told_before_anything_is_sent(
    stage: Any, wait: Any, find_action: Any
) -> None:
    """A file that is not there, a time that is none, an output that is there already."""
    (stage.folder / "there.txt").write_text("")

    async def story(pilot: Any, app: Any) -> None:
        for values, said in (
            ({"input": "nowhere.txt"}, "nowhere.txt cannot be read"),
            ({"seconds": "soon"}, '"soon" is not a time'),
            ({"output": "there.txt"}, "there.txt already exists"),
        ):
            await _fill(pilot, app, wait, find_action, **values)
            await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
            assert said in app.screen.error.what
            assert app.screen.error.kept == "Nothing was run."
            await pilot.press("enter")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story)
