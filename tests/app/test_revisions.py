"""Revisions: history, chart, comparing, restoring, and the board against the archive."""

from __future__ import annotations

from typing import Any

from hostlink.app.screens.compare import CompareRow, CompareScreen, aligned, folded
from hostlink.app.screens.line_origins import OriginsScreen
from hostlink.app.screens.revisions import RevisionsScreen
from hostlink.app.widgets.rows import Rows
from hostlink.archive import Archive
from hostlink.listing import Listing, Rules, compare


def _three(stage: Any) -> None:
    stage.keep("LAMP", "10 PRINT 1", "20 END")
    stage.keep("LAMP", "10 PRINT 12", "20 END", note="longer [bold]note[/]")
    stage.keep("LAMP", "10 PRINT 123", "20 END")


def test_two_revisions_are_compared_with_the_changed_characters_marked(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Marked first against third: one line changed, two characters marked in the new one."""
    _three(stage)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        assert "longer [bold]note[/]" in shown(app)
        await pilot.press("home", "n", *"mine", "enter")
        await wait(pilot, lambda: stage.archive.revision("LAMP@3").note == "mine")
        await pilot.press("n", "backspace", "enter")  # all of it is selected
        await wait(pilot, lambda: not stage.archive.revision("LAMP@3").note)
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("home", "space", "c")
        await pilot.pause()
        assert isinstance(app.screen, RevisionsScreen)  # there is nothing to compare it with
        assert app._notifications
        await pilot.press("end", "space", "c")
        await wait(pilot, lambda: isinstance(app.screen, CompareScreen))
        assert not app._notifications  # none lies over this screen
        text = shown(app)
        assert "LAMP revision 1 against LAMP revision 3" in text
        assert "1 line changed" in text
        content = app.screen.query_one("#lines").content
        marked = "".join(
            content.plain[span.start : span.end] for span in content.spans if "reverse" in str(span)
        )
        assert marked == "23"
        assert "‹ 10 PRINT 1\n› 10 PRINT 123\n  20 END" in content.plain
        assert {"keyword", "number"} <= {
            str(span.style).partition("$listing-")[2] for span in content.spans
        }

    stage.play(story, port="", opens="LAMP", size=(120, 40))


def test_a_revision_of_another_computer_is_named_in_full(stage: Any, wait: Any, shown: Any) -> None:
    """Two archives gave the number 2; the row of the other's says how it is called here."""
    stage.keep("LAMP", "10 PRINT 1")
    with Archive.open(stage.folder / "other.sqlite3") as other:
        other.merge_file(stage.archive.path)
        stage.keep("LAMP", "10 PRINT 2")
        mine, stage.archive = stage.archive, other
        stage.keep("LAMP", "10 PRINT 3")
        stage.archive = mine
        mine.merge_file(other.path)
        named = f"LAMP@2/{other.uuid[:8]}"

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        assert shown(app).count("LAMP@2") == 1 and named in shown(app)

    stage.play(story, port="", opens="LAMP", size=(120, 40))


def test_each_line_shows_the_revision_it_came_from(stage: Any, wait: Any) -> None:
    """O on the newest revision: the changed line is its own, the other one is the first's."""
    _three(stage)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("o")
        await wait(pilot, lambda: isinstance(app.screen, OriginsScreen))
        cells = [entry.cells for entry in app.screen.query_one(Rows).entries]
        assert [(row[0], row[3]) for row in cells] == [("3", "10 PRINT 123"), ("1", "20 END")]
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))

    stage.play(story, port="", opens="LAMP")


def test_restoring_keeps_an_older_revision_as_the_newest(stage: Any, wait: Any) -> None:
    """Nothing is lost: revision 1 is there again as revision 4, made from it."""
    _three(stage)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("end", "r")
        await wait(pilot, lambda: "Kept as LAMP@4." in app.said)

    stage.play(story, port="", opens="LAMP")
    history = stage.archive.history("LAMP")
    assert history[3].sha256 == history[0].sha256
    assert history[3].parent == "LAMP@1"


def test_a_program_is_retired_and_put_back(stage: Any, wait: Any, shown: Any) -> None:
    """T takes it out of the list; it is still found by a line of it, said to be retired; and T
    there puts it back."""
    _three(stage)

    async def story(pilot: Any, app: Any) -> None:
        rows = app.desk.shelf.query_one("#programs", Rows)
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("t")
        await wait(pilot, lambda: "LAMP: 3 revisions, retired" in shown(app))
        assert "nothing was deleted" in app.said[-1]
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "LAMP" not in [entry.key for entry in rows.entries]
        await pilot.press("escape", "a", *"lamp")
        await wait(pilot, lambda: [entry.key for entry in rows.entries][:1] == ["LAMP@3"])
        assert "(retired)" in shown(app)
        await pilot.press("down", "escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("t", "escape")
        await wait(pilot, lambda: app.screen is app.desk)
        await wait(pilot, lambda: [entry.key for entry in rows.entries][:1] == ["LAMP"])

    stage.play(story, port="", opens="LAMP")
    assert not stage.archive.program("LAMP").retired
    told = [event.job for event in stage.archive.events(program="LAMP")]
    assert told[:2] == ["return", "retire"]


def test_a_revision_is_opened_or_loaded_from_the_list(stage: Any, wait: Any, shown: Any) -> None:
    """Enter opens it in the editor; the load key loads exactly that revision."""
    _three(stage)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("end", "enter")
        await wait(pilot, lambda: app.desk.editor.text.startswith("10 PRINT 1\n"))
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("end", "up", "ctrl+l")
        await wait(pilot, lambda: any("LAMP@2 is on the board" in said for said in app.said))
        await wait(pilot, lambda: "holds LAMP revision 2" in shown(app))

    stage.play(story, opens="LAMP")


def test_the_board_is_compared_with_a_revision(
    stage: Any, wait: Any, type_text: Any, is_settled: Any
) -> None:
    """After a line was typed at the board, just that line is found to differ."""
    _three(stage)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+l")
        await wait(pilot, lambda: any("proven" in said for said in app.said))
        await pilot.press("ctrl+t")
        await type_text(pilot, "15 PRINT 4\n")
        await wait(pilot, lambda: is_settled(app))
        app.desk.action_work("compare-board")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, CompareScreen))
        assert [line.typed for line in app.screen.comparison.added] == ["15 PRINT 4"]
        assert app.screen.comparison.same_count == 2

    stage.play(story, opens="LAMP")


def test_each_screen_goes_back_to_the_one_before(stage: Any, wait: Any, shown: Any) -> None:
    """From the archive to the revisions, to the comparison with the board, and the same way back;
    the cursor is where it was.
    """
    _three(stage)

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "a", "down")
        await wait(pilot, lambda: app.focused is not None and app.focused.id == "programs")
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        await pilot.press("down", "b")
        await wait(pilot, lambda: isinstance(app.screen, CompareScreen))
        assert "LAMP revision 2 against the practice board" in shown(app)
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        assert app.screen.query_one(Rows).key == "LAMP@2"
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.focused.id == "programs"

    stage.play(story)


def _rows(old: str, new: str) -> list[CompareRow]:
    first, second = Listing.from_text(old), Listing.from_text(new)
    return aligned(first, second, compare(first, second, Rules()))


def test_two_listings_are_aligned_by_line_number() -> None:
    """Each line stands once, at its place, with the listings that have it."""
    rows = _rows("10 LET A=1\n20 PRINT A\n40 END\n", "10 LET A=1\n20 PRINT B\n30 LET B=2\n40 END\n")
    assert [(row.side, row.line.number) for row in rows] == [
        ("both", 10),
        ("first", 20),
        ("second", 20),
        ("second", 30),
        ("both", 40),
    ]


def test_characters_are_marked_only_in_lines_that_are_alike() -> None:
    """One letter of a line is marked; a line with other words is only shown twice."""
    alike = _rows('10 PRINT "HIGH"\n', '10 PRINT "HUGH"\n')
    assert [row.marks for row in alike] == [((11, 12),), ((11, 12),)]
    other = _rows('10 PRINT "HIGH"\n', "10 FOR I=1 TO 4\n")
    assert [row.marks for row in other] == [(), ()]


def test_runs_of_equal_lines_are_folded() -> None:
    """Two stay beside each difference, none at the ends; a run of two is not worth it."""
    old = "".join(f"{number} REM\n" for number in range(10, 200, 10))
    new = old.replace("100 REM\n", "100 END\n")
    found = folded(_rows(old, new))
    assert [row if isinstance(row, int) else row.line.number for row in found] == [
        *(7, 80, 90, 100, 100, 110, 120, 7)
    ]
    short = _rows("10 REM\n20 REM\n30 END\n", "10 REM\n20 REM\n30 STOP\n")
    assert folded(short) == short
