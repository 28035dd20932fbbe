"""The app draws the numbers that a program prints beside its console, and lists its runs."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hostlink.app.console import ConsolePane
from hostlink.app.screens.choosing import ChoosePath
from hostlink.app.screens.revisions import RevisionsScreen
from hostlink.app.screens.runs import RunsScreen
from hostlink.app.widgets.number_plot import NumberPlot
from hostlink.archive import RunEnd, RunText

RISES = {10: b"LET A=100", 20: b"PRINT A,A*2", 30: b"LET A=A+100", 40: b"IF A<900 THEN 20"}


def _drawn(app: Any) -> str:
    return str(app.desk.query_one(NumberPlot).render())


def test_numbers_are_drawn_while_a_program_runs(
    stage: Any, wait: Any, find_action: Any, do: Any, hold: Any
) -> None:
    """Shown by the palette, beside the console; a run begins anew, and it is put away again."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(RISES))
        await find_action(pilot, app, "draw the numbers")
        await pilot.press("enter")
        await wait(pilot, lambda: app.desk.query(NumberPlot))
        assert _drawn(app) == "No numbers have been printed yet."
        for _ in range(2):
            await pilot.press("f9")
            await wait(pilot, lambda: "across: column 1" in _drawn(app))
            await wait(pilot, lambda: app.desk.query_one(NumberPlot)._numbers.shown.rows == 8)
        plot, console = app.desk.query_one(NumberPlot), app.desk.query_one(ConsolePane)
        assert plot.region in console.region and plot.size.height > 8
        assert plot.region.right == console.region.right
        assert "* column 2   across: column 1" in _drawn(app) and "1000 ┤" in _drawn(app)
        await find_action(pilot, app, "draw the numbers")
        await pilot.press("enter")
        await wait(pilot, lambda: not app.desk.query(NumberPlot))

    stage.play(story)


def test_what_stands_in_the_console_is_drawn_too(
    stage: Any, wait: Any, find_action: Any, do: Any, hold: Any
) -> None:
    """The drawing was asked for after the run; on a wide screen it stands above the console."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, hold(RISES))
        await pilot.press("f9")
        await wait(pilot, lambda: "800" in app.desk.query_one("#transcript").text)
        await find_action(pilot, app, "draw the numbers")
        await pilot.press("enter")
        await wait(pilot, lambda: app.desk.query(NumberPlot))
        await wait(pilot, lambda: app.desk.query_one(NumberPlot).size.height > 8)
        assert "across: column 1" in _drawn(app)
        plot, transcript = app.desk.query_one(NumberPlot), app.desk.query_one("#transcript")
        assert plot.region.bottom <= transcript.region.y

    stage.play(story, size=(120, 40))


def test_the_runs_of_a_program_are_shown_from_its_revisions(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The newest first, with how each ended; what the one at the cursor printed stands beside."""
    kept = stage.keep("LAMP", "10 PRINT 1", "20 END").revision
    stage.archive.keep_run(RunText(("FIRST [b]ON[/b]",)), RunEnd(), seconds=1, revision=kept)
    stage.archive.keep_run(
        RunText(("A", "Z"), 99, 1), RunEnd("error", "no such line", 20), seconds=2, revision=kept
    )

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("p")
        await wait(pilot, lambda: isinstance(app.screen, RunsScreen))
        await wait(pilot, lambda: "error in line 20: no such line" in shown(app))
        assert "LAMP: 2 runs" in shown(app)
        assert "(99 bytes printed here were not kept.)" in shown(app)
        await pilot.press("down")
        await wait(pilot, lambda: "FIRST [b]ON[/b]" in shown(app))
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))

    stage.play(story, port="", opens="LAMP", size=(120, 40))


def test_two_runs_are_compared_and_one_is_written_down(
    stage: Any, wait: Any, shown: Any, tmp_path: Path
) -> None:
    """The marked run with the one at the cursor, the older first; numbers as CSV or as SVG."""
    kept = stage.keep("LAMP", "10 PRINT 1").revision
    for rows in (("1", "2", "GO"), ("1", "3", "GO"), ("NONE",)):
        stage.archive.keep_run(RunText(rows), RunEnd(), seconds=1, revision=kept)

    async def story(pilot: Any, app: Any) -> None:
        app.push_screen(RunsScreen("LAMP"))
        await wait(pilot, lambda: isinstance(app.screen, RunsScreen))
        await pilot.press("f")
        await wait(pilot, lambda: "run@3 printed no numbers." in shown(app))
        await wait(pilot, lambda: not isinstance(app.screen, RunsScreen))
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, RunsScreen))
        await pilot.press("down", "space", "down", "c")
        await wait(pilot, lambda: "run@1 against run@2: They differ." in shown(app))
        assert "-2" in shown(app) and "+3" in shown(app)
        for name in ("n.csv", "n.SVG", "n.csv"):
            await pilot.press("f")
            await wait(pilot, lambda: isinstance(app.screen, ChoosePath))
            app.screen.query_one("#answer").value = str(tmp_path / name)
            await pilot.press("enter")
            await wait(pilot, lambda: not isinstance(app.screen, ChoosePath))
        await wait(pilot, lambda: "already exists" in shown(app))

    stage.play(story, port="", opens="LAMP", size=(120, 40))
    assert (tmp_path / "n.csv").read_text("utf-8").split() == ["printed", "1", "2"]
    assert (tmp_path / "n.SVG").read_text("utf-8").startswith("<svg")
