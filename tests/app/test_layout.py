"""The desk at all sizes: what has room, what gives way, and where the focus is shown."""

from __future__ import annotations

from typing import Any
from unittest.mock import patch

import pytest

from hostlink.app.desk.sheet_pane import NOTHING_YET
from hostlink.app.screens.backups import BackupsScreen
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.dialogues import Ask
from hostlink.app.screens.filling import Fill
from hostlink.app.widgets.heading import HERE
from hostlink.app.widgets.rows import Entry, ListColumn, Rows, column_widths

TIDE = "shipped:TIDE"


def rows_with_costs(screen: str) -> list[str]:
    """Return the rows of the screen in which a line of TIDE stands."""
    return [row for row in screen.split("\n") if row.strip()[:2].isdigit()]


def test_the_listing_has_twelve_rows_at_80_by_24(stage: Any, shown: Any) -> None:
    """Twelve lines with their costs, and below them three programs of the archive."""

    async def story(_: Any, app: Any) -> None:
        assert app.desk.editor.size.height >= 12
        assert len(rows_with_costs(shown(app))) >= 12
        assert sum("shipped" in row for row in shown(app).split("\n")[13:]) >= 3

    stage.play(story, opens=TIDE)


@pytest.mark.one_in(3)
@pytest.mark.parametrize(("size", "rows"), [((60, 15), 8), ((40, 12), 5), ((80, 17), 10)])
def test_a_small_screen_shows_the_listing_or_the_band(
    stage: Any, wait: Any, shown: Any, size: tuple[int, int], rows: int
) -> None:
    """Below 18 rows the band is there while it is in use; Escape shows the listing again. A
    message takes two rows where it would be cut in one."""

    async def story(pilot: Any, app: Any) -> None:
        assert len(rows_with_costs(shown(app))) >= rows
        assert "Archive" not in shown(app) and "Console" not in shown(app)
        await pilot.press("escape", "a")
        await wait(pilot, lambda: "Archive: " in shown(app))
        assert "TWELFTHS" in shown(app) and "10 REM TIDE" not in shown(app)
        await pilot.press("ctrl+t")
        await wait(pilot, lambda: "Console: " in shown(app))
        await pilot.press(*"PRINT", "space", "7", "enter")
        await wait(pilot, lambda: "PRINT 7" in shown(app))
        await pilot.press("escape", "escape")
        await wait(pilot, lambda: "10 REM TIDE" in shown(app))
        assert app.desk.focused is app.desk.editor
        assert all(len(row) <= size[0] for row in shown(app).split("\n"))

    stage.play(story, opens=TIDE, size=size)


def test_a_cell_that_is_too_long_takes_the_empty_ones_behind_it(stage: Any, shown: Any) -> None:
    """A shipped program has no tags: its title is not cut at their column."""
    stage.keep("LAMP", "10 PRINT 1")
    stage.archive.tag("LAMP", "harbour", "evening")

    async def story(_: Any, app: Any) -> None:
        assert any("eveni" in row and "…" in row for row in shown(app).split("\n"))
        assert "Rule of twelfths" in shown(app)

    stage.play(story, port="", size=(120, 40))


def test_a_long_name_far_down_a_list_is_not_cut(stage: Any) -> None:
    """The columns are as wide as all rows need, however many there are."""

    async def story(pilot: Any, app: Any) -> None:
        rows = app.desk.query_one("#programs", Rows)
        cells = ("2", "100", "2031-09-03", "", "")
        entries = [Entry(f"P{n}", (f"P{n}", *cells)) for n in range(300)]
        name = "THE-LONGEST-NAME-OF-ALL"
        rows.show([*entries, Entry(name, (name, *cells))])
        rows.cursor = len(entries)
        await pilot.pause()
        assert name in rows.render_line(rows.size.height - 1).text

    stage.play(story)


@pytest.mark.parametrize(
    ("room", "widths"),
    [
        (60, [8, 3, 10, 20, 15]),  # all that is wanted
        (59, [8, 3, 10, 19, 15]),  # the widest gives way
        (43, [8, 3, 10, 8, 10]),
        (42, [8, 3, 10, 0, 15]),  # then the last extra column goes, and room is free again
        (33, [8, 3, 0, 0, 15]),
        (20, [8, 3, 0, 0, 8]),
    ],
)
def test_a_column_is_shortened_only_where_there_is_no_room(room: int, widths: list[int]) -> None:
    """Blanks between them counted; a column with nothing in it takes none."""
    columns = [
        ListColumn("program"),
        ListColumn("rev", right=True),
        ListColumn("kept", extra=True),
        ListColumn("tags", -1, extra=True),
        ListColumn("title", -1),
    ]
    assert column_widths(columns, [8, 3, 10, 20, 15], room) == widths


def test_a_long_note_does_not_push_every_extra_column_out() -> None:
    """Beyond what can be read at a glance, the note gives way to them."""
    columns = [ListColumn("rev"), ListColumn("from", extra=True), ListColumn("note", -1)]
    assert column_widths(columns, [3, 12, 300], 27) == [3, 12, 10]
    assert column_widths(columns, [3, 12, 300], 26) == [3, 0, 22]


def test_a_narrow_screen_keeps_the_state_of_both_tracks_in_words(stage: Any, shown: Any) -> None:
    """At 40 columns the words beside the tracks and the cost of a line are short, and not cut."""

    async def story(_: Any, app: Any) -> None:
        assert "390 free" in shown(app) and "empty" in shown(app)
        assert "  37 " in shown(app).split("\n")[4]

    stage.play(story, opens=TIDE, size=(40, 12))


@pytest.mark.one_in(3)
@pytest.mark.parametrize(("width", "text"), [(120, 49), (160, 72), (200, 76)])
def test_a_wide_screen_gives_what_the_listing_does_not_need_to_the_archive(
    stage: Any, shown: Any, width: int, text: int
) -> None:
    """The listing is at most 76 columns wide beside its costs; no track is longer than that."""

    async def story(_: Any, app: Any) -> None:
        pane = app.desk.editor
        assert text - 1 <= pane.size.width <= text
        assert app.desk.shelf.size.width >= 48
        assert max(row.count("━") + row.count("┄") for row in shown(app).split("\n")) <= 76

    stage.play(story, opens=TIDE, size=(width, 60))


def test_the_archive_shows_what_there_is_room_for(stage: Any, shown: Any) -> None:
    """Kept and tags stand where there is room; a name is whole while columns are empty."""
    name = "A-PROGRAM-WITH-A-LONG-NAME"
    stage.keep(name, "10 END")
    stage.archive.tag(name, "evening")

    async def wide(_: Any, app: Any) -> None:
        head = next(row for row in shown(app).split("\n") if "program" in row and "title" in row)
        assert all(word in head for word in ("rev", "bytes", "kept", "tags"))
        row = next(row for row in shown(app).split("\n") if name in row)
        assert "evening" in row and "20" in row

    async def narrow(_: Any, app: Any) -> None:
        assert name in shown(app)

    stage.play(wide, size=(200, 60))
    stage.play(narrow, size=(60, 24))


@pytest.mark.one_in(2)
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_the_console_can_be_made_large(
    stage: Any, wait: Any, find_action: Any, size: tuple[int, int]
) -> None:
    """It has more than half of the rows, and its usual place again after the second time."""

    async def story(pilot: Any, app: Any) -> None:
        console = app.desk.query_one("#console")
        await pilot.press("ctrl+t")
        await wait(pilot, lambda: console.has_focus_within)
        before = console.size.height
        await find_action(pilot, app, "large console")
        await pilot.press("enter")
        await wait(pilot, lambda: console.size.height > size[1] / 2)
        assert app.desk.focused.id == "console-line"
        await find_action(pilot, app, "large console")
        await pilot.press("enter")
        await wait(pilot, lambda: console.size.height == before)

    stage.play(story, size=size)


@pytest.mark.one_in(2)
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_the_screen_can_be_left_to_listing_and_console(
    stage: Any, wait: Any, shown: Any, find_action: Any, size: tuple[int, int]
) -> None:
    """What is said about them goes away, and comes back by the same action."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "only listing")
        await pilot.press("enter")
        await wait(pilot, lambda: "so far" not in shown(app))
        said = ("free", "Archive", "nothing wrong", "F1 help")
        assert not any(words in shown(app) for words in said)
        assert "10 REM TIDE" in shown(app) and "Console" in shown(app)
        await pilot.press("f5")
        await wait(pilot, lambda: "so far" in shown(app) and "390 free" in shown(app))

    stage.play(story, opens=TIDE, size=size)


def test_only_listing_and_console_on_a_low_screen_shows_the_listing(
    stage: Any, wait: Any, shown: Any
) -> None:
    """There is room for one of the two, and the keys go to the listing."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("f5")
        await wait(pilot, lambda: app.desk.has_class("-quiet"))
        await wait(pilot, lambda: "10 REM TIDE" in shown(app), 9)
        assert app.desk.focused is app.desk.editor
        await pilot.press("ctrl+t")
        await wait(pilot, lambda: f"{HERE}Console" in shown(app), 9)

    stage.play(story, opens=TIDE, size=(60, 15))


@pytest.mark.one_in(2)
@pytest.mark.parametrize("theme", ["dark", "monochrome"])
def test_one_heading_shows_where_the_focus_is(
    stage: Any, wait: Any, shown: Any, theme: str
) -> None:
    """It has a sign, and it is the heading of the part that has the focus."""

    async def story(pilot: Any, app: Any) -> None:
        app.use_theme(theme)
        for key, words in (("", "TIDE"), ("escape a", "Archive"), ("ctrl+t", "Console")):
            await pilot.press(*key.split())
            await wait(pilot, lambda words=words: f"{HERE}{words}" in marked(app))
            heads = [one for one in app.desk.query("Heading") if one.has_class("-here")]
            assert len(heads) == 1
            assert app.desk.focused in heads[0].parent.walk_children() or any(
                app.desk.focused in one.walk_children() for one in heads[0].ancestors[:2]
            )
        await pilot.press("escape", "escape")
        await wait(pilot, lambda: f"{HERE}the shipped TIDE" in shown(app))
        assert "▸ Console" not in shown(app) and "· TIDE" in shown(app)

    def marked(app: Any) -> str:
        return str(shown(app)).replace("the shipped ", "")

    stage.play(story, opens=TIDE, size=(120, 40))


def test_no_heading_has_the_sign_behind_the_palette(stage: Any, wait: Any, shown: Any) -> None:
    """The keys go to the palette; when it is closed they go where they went before."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await wait(pilot, lambda: f"{HERE}Console" in shown(app))
        await pilot.press("f2")
        await wait(pilot, lambda: app.screen is not app.desk)
        await wait(pilot, lambda: not app.desk.query("Heading.-here"))
        await pilot.press("escape")
        await wait(pilot, lambda: f"{HERE}Console" in shown(app))

    stage.play(story, opens=TIDE)


def test_a_question_that_waits_takes_no_row_of_the_listing(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The band gives its rows; where the console has the focus it keeps them."""

    async def story(pilot: Any, app: Any) -> None:
        with app.desk.questions.unasked(keys=-1):
            app.push_screen(Ask("The board lost its program. " * 3, [("leave", "Leave it")]))
        await wait(pilot, lambda: "F6 opens it" in " ".join(shown(app).split()))
        assert app.desk.editor.size.height >= 12
        assert len(rows_with_costs(shown(app))) >= 12
        await pilot.press("ctrl+t")
        await wait(pilot, lambda: app.desk.query_one("#transcript").size.height >= 3)

    stage.play(story, opens=TIDE)


def test_the_answers_of_a_box_begin_in_one_column(stage: Any, wait: Any, shown: Any) -> None:
    """A short one is not centred in its button; before the words are measured no row is more."""

    async def story(pilot: Any, app: Any) -> None:
        app.push_screen(Ask("Leave?", [("stay", "Stay"), ("leave", "Leave anyway")]))
        await wait(pilot, lambda: "Leave anyway" in shown(app))
        text = shown(app).split("\n")
        assert "Page Down shows more." not in shown(app)
        columns = {
            row.index(each) for each in ("Stay", "Leave anyway") for row in text if each in row
        }
        assert len(columns) == 1

    with patch.object(Ask, "_fit"):
        stage.play(story, port="")


def test_what_is_said_of_a_line_has_the_colour_of_an_error_only_where_it_is_one(
    stage: Any, wait: Any
) -> None:
    """Not the first sentence in an empty window, nor a warning where another line has an error."""

    async def story(pilot: Any, app: Any) -> None:
        said = app.desk.query_one("#finding")
        assert NOTHING_YET in str(said.content) and not said.has_class("-error")
        app.desk.editor.load_text('10 PRINT "A"\n20 GOTO 77\n30 GOSUB 10*A\n')
        await wait(pilot, lambda: app.desk.sheet_pane.checked.errors)
        app.desk.editor.move_cursor((1, 0))
        await wait(pilot, lambda: said.has_class("-error"))
        app.desk.editor.move_cursor((2, 0))
        await wait(pilot, lambda: not said.has_class("-error"))

    stage.play(story, port="")


@pytest.mark.parametrize("page", [BoardsScreen, BackupsScreen])
def test_a_list_shows_rows_on_the_smallest_screen(stage: Any, wait: Any, page: Any) -> None:
    """What is said of the row at the cursor gives way, and can be scrolled."""

    async def story(pilot: Any, app: Any) -> None:
        app.push_screen(page())
        await wait(pilot, lambda: isinstance(app.screen, page))
        await wait(pilot, lambda: app.screen.query(Rows).first().size.height)
        assert app.screen.query(Rows).first().size.height >= 3

    stage.play(story, port="", size=(40, 12))


@pytest.mark.one_in(3)
@pytest.mark.parametrize("size", [(40, 12), (60, 15), (80, 24)])
def test_all_words_of_a_box_can_be_read(
    stage: Any, wait: Any, shown: Any, find_action: Any, size: tuple[int, int]
) -> None:
    """What is asked for stays in sight; where the words do not fit Page Down shows more."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "input file")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await pilot.pause()
        asked = app.screen.query_one("#asked")
        seen = ""
        for _ in range(9):
            text = shown(app)
            assert all(f"│ {each}" in text for each in ("input", "seconds", "output"))
            seen += text
            hint = "Page Down shows more." in text
            assert hint == (asked.max_scroll_y > 0)
            await pilot.press("pagedown")
            await pilot.pause()
        words = {word.strip("│▁▂▃▄▅▆▇█ ") for word in seen.split()}
        assert {"answer", "interrupt", "shown", "completes", "folder", "cancels."} <= words
        assert str(stage.folder)[:20] in seen

    stage.play(story, size=size)


def test_a_foot_without_room_ends_with_the_way_to_the_help(
    stage: Any, wait: Any, shown: Any
) -> None:
    """No sentence is cut in its middle."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "d")
        await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
        await pilot.pause()
        assert shown(app).split("\n")[-1].strip() == "F1 shows all."
        await pilot.resize_terminal(80, 24)
        await wait(pilot, lambda: "A looks again. Escape goes back." in shown(app))

    stage.play(story, size=(40, 12))


def test_the_heading_of_a_narrow_console_tells_the_way_out(
    stage: Any, wait: Any, shown: Any
) -> None:
    """At 40 columns what Enter does is left out."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+t")
        await wait(pilot, lambda: "▸ Console: Escape twice leaves " in shown(app))

    stage.play(story, size=(40, 12))
