"""Sheets, cards and check codes in the app: nothing written over unasked, wrong lines named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from textual.widgets import TextArea

from hostlink.app.screens.checking import CheckScreen
from hostlink.app.screens.dialogues import Ask, AskText, ErrorDialogue
from hostlink.app.screens.filling import Fill
from hostlink.app.widgets.rows import Rows
from hostlink.board.profile.file import find_profile
from hostlink.listing import Listing
from hostlink.listing.checkcodes import codes_of
from hostlink.publish.sheet_file import read_sheet

RULES = find_profile("practice").rules
LAMP = "5 REM LAMP\n7 LET A = 1\n9 PRINT A\n11 GOTO 7\n"


def cells(app: Any, name: str) -> list[tuple[str, ...]]:
    """The rows of a list on the screen in front."""
    return [entry.cells for entry in app.screen.query_one(name, Rows).entries]


def test_a_sheet_is_written_where_it_was_asked_for(
    stage: Any, wait: Any, shown: Any, type_text: Any
) -> None:
    """File, title and the rest are asked; the sheet reads back; an older file stays unless told."""
    stage.keep("LAMP", *LAMP.splitlines())
    stage.archive.note("LAMP", "It blinks.\n\nMind the lamp.\nsilence: computed-jump")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.action_work("sheet")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        assert app.focused.value == "lamp.html"
        await pilot.press("tab")
        await type_text(pilot, "Landing lamp")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert str(stage.folder / "lamp.html") in app.said[-1]
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        Path("lamp.html").rename("first.html")
        Path("lamp.html").write_text("mine")
        app.desk.action_work("sheet")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await pilot.press("enter")
        await wait(pilot, lambda: "already exists" in shown(app))
        assert app.focused.id == "answer-leave"
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert Path("lamp.html").read_text() == "mine"
        app.desk.action_work("sheet")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await pilot.press("enter")
        await wait(pilot, lambda: "already exists" in shown(app))
        await pilot.press("down", "enter")
        await wait(pilot, lambda: "is written to" in shown(app))

    stage.play(story, port="", opens="LAMP")
    for name in ("first.html", "lamp.html"):
        read = read_sheet(Path(name).read_text(encoding="utf-8"), name=name)
        assert read.text == LAMP
        assert read.details.notes == "It blinks.\n\nMind the lamp."
    assert "Landing lamp" in Path("first.html").read_text(encoding="utf-8")


def test_a_page_that_cannot_be_written_is_told_in_a_sentence(stage: Any, wait: Any) -> None:
    """No folder, a name too long, a folder in place of a file, a home that nobody has."""

    async def story(pilot: Any, app: Any) -> None:
        for name in ("nowhere/x.html", "x" * 300, "/", ".", "~nobody-of-this-name/x"):
            app.desk.workshop.card()
            await wait(pilot, lambda: isinstance(app.screen, AskText))
            app.screen.query_one("#answer").value = name
            await pilot.press("enter")
            await wait(pilot, lambda: not isinstance(app.screen, AskText))
            if isinstance(app.screen, Ask):
                await pilot.press("down", "enter")
            await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
            says = "is a folder" if name in ("/", ".") else "cannot be written"
            assert says in app.screen.error.what
            await pilot.press("enter")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")


def test_the_card_is_that_of_the_current_profile(stage: Any, wait: Any) -> None:
    """With another profile another card; the name offered says which."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.action_work("card")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, AskText))
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Ask))

    stage.play(story, port="", profile="palo-alto")
    assert "PRINT SIZE" in (stage.folder / "palo-alto-card.html").read_text(encoding="utf-8")


def test_typed_codes_tell_the_wrong_line_while_they_are_typed(
    stage: Any, wait: Any, type_text: Any, shown: Any
) -> None:
    """A right code, a wrong one, the whole; a row not finished yet is no fault."""
    codes = codes_of(Listing.from_text(LAMP), RULES)
    slip = LAMP.replace("PRINT A", "PRINT B")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(slip)
        app.desk.action_work("check-codes")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        assert app.focused.id == "codes"
        await type_text(pilot, f"5 {codes.lines[5]}\n9")
        await pilot.pause()
        assert "1 line right, 0 wrong, 0 missing, 3 without a code" in shown(app)
        await type_text(pilot, f" {codes.lines[9]}\nall {codes.whole}\n12 12")
        await pilot.pause()
        assert "1 line right, 1 wrong, 1 missing" in shown(app)
        words = [row[0].strip() for row in cells(app, "#checked")]
        assert [word for word in words[:7] if word != "perhaps"] == [
            *("wrong", "wanted", "missing", "wanted")
        ]
        offered = [row[2] for row in cells(app, "#checked") if row[0] == "perhaps"]
        assert "9 PRINT A   (B was typed for A)" in offered
        assert f"not {codes.whole}" in " ".join(shown(app).split())
        app.screen.query_one(TextArea).text = "5 444\n9 12"
        await pilot.pause()
        assert "The codes, row 1" in shown(app)

    stage.play(story, port="")


def test_a_mistyped_number_of_a_code_is_not_a_missing_line(
    stage: Any, wait: Any, type_text: Any, shown: Any
) -> None:
    """The code of the whole shows that the listing is right: no row has another word."""
    codes = codes_of(Listing.from_text(LAMP), RULES)

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        app.desk.action_work("check-codes")
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        await type_text(pilot, f"6 {codes.lines[5]}\nall {codes.whole}\n")
        await pilot.pause()
        assert f"6 {codes.lines[5]} (there is no line 6)" in " ".join(shown(app).split())
        assert {row[0].strip() for row in cells(app, "#checked")} <= {"right", ""}

    stage.play(story, port="")


def test_an_offered_line_takes_the_place_of_the_wrong_one(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Enter on what the line may have been puts it into the listing; Ctrl+Z takes it back."""
    codes = codes_of(Listing.from_text(LAMP), RULES)
    slip = LAMP.replace("REM LAMP", "REM LMP")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(slip)
        app.desk.action_work("check-codes")
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        rows = [f"{number} {code}" for number, code in codes.lines.items()]
        app.screen.query_one(TextArea).text = "\n".join([*rows, f"ALL {codes.whole}"])
        await pilot.pause()
        assert [row[::2] for row in cells(app, "#checked")[:3]] == [
            ("wrong", "5 REM LMP"),
            ("  wanted", "is the code that was typed for it"),
            ("perhaps", "5 REM LAMP   (A was left out)"),
        ]
        await pilot.press("tab", "down", "down", "enter")
        await wait(pilot, lambda: not isinstance(app.screen, CheckScreen))
        assert app.desk.editor.text == LAMP
        assert "The line is now 5 REM LAMP" in " ".join(shown(app).split())
        app.desk.action_work("check-codes")  # the codes are still there
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        assert app.screen.query_one(TextArea).text.startswith(rows[0])
        assert "4 lines right, 0 wrong" in shown(app)
        await pilot.press("escape")
        await wait(pilot, lambda: not isinstance(app.screen, CheckScreen))
        await pilot.press("ctrl+z")
        assert app.desk.editor.text == slip

    stage.play(story, port="")


def test_a_sheet_file_tells_which_lines_of_the_board_are_wrong(
    stage: Any, wait: Any, type_text: Any, is_settled: Any, shown: Any
) -> None:
    """Typed at the board with a slip: its wrong line is named, with the line as it should be."""
    from hostlink.jobs.publishing import write_sheet

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        material = app.desk.sheet_pane.sheet.as_material(LAMP, app.boards.profile)
        write_sheet(
            Path("lamp.html"), material, app.boards.profile, material.details, replace=False
        )
        for line in LAMP.replace("PRINT A", "PRINT AA").splitlines():
            app.desk.console.type_line(line)
            await wait(pilot, lambda: is_settled(app))
        app.desk.action_work("check-codes")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.focused.id == "answer-leave"
        await pilot.press("down", "down", "enter")
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        await pilot.press("shift+tab")
        await type_text(pilot, "lamp.html\n")
        await wait(pilot, lambda: app.screen.verdict is not None)
        assert "3 lines right, 1 wrong, 0 missing; all lines together have" in shown(app)
        first, second = cells(app, "#checked")[:2]
        assert (first[0], first[2]) == ("wrong", "9 PRINT AA")
        assert (second[0].strip(), second[2]) == ("wanted", "9 PRINT A")

    stage.play(story)


def test_a_file_that_is_no_sheet_is_refused_and_the_codes_stay(
    stage: Any, wait: Any, type_text: Any
) -> None:
    """What happened, what was not lost; the codes typed before are still there."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        Path("no.html").write_text("<!DOCTYPE html>")
        app.desk.action_work("check-codes")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        await type_text(pilot, "5 12")
        await pilot.press("shift+tab")
        await type_text(pilot, "no.html\n")
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "not a listing sheet" in app.screen.error.what
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, CheckScreen))
        assert app.screen.query_one(TextArea).text == "5 12"

    stage.play(story, port="")


def test_a_character_without_a_code_is_named(stage: Any, wait: Any) -> None:
    """Check codes are for 32 to 126; anything else is told and no screen opens."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text('10 PRINT "\u00e9"\n')
        app.desk.action_work("check-codes")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "U+00E9" in app.screen.error.what

    stage.play(story, port="")


@pytest.mark.parametrize("action", ["give", "publish"])
def test_the_programs_to_write_can_be_chosen_from_a_list(
    stage: Any, wait: Any, action: str
) -> None:
    """As wherever programs are asked for."""
    stage.keep("LAMP", "10 END")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.action_work(action)
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, Fill))
        await pilot.press("tab", "down", "enter")
        await wait(pilot, lambda: app.screen.query_one("#fill-programs").value == "LAMP ")

    stage.play(story, port="")
