"""The workshop in the app: every action by its key, nothing taken or written unasked."""

from __future__ import annotations

from typing import Any

import pytest
from textual import events

from hostlink.app.screens.checking import CheckScreen
from hostlink.app.screens.dialogues import Ask, AskText, ErrorDialogue
from hostlink.app.screens.filling import Fill
from hostlink.app.screens.findings import FindingsScreen
from hostlink.app.screens.references import ReferencesScreen
from hostlink.app.screens.renumbering import RenumberScreen
from hostlink.app.screens.rewriting import RewriteScreen
from hostlink.app.widgets.rows import Rows
from hostlink.board.profile.file import find_profile
from hostlink.listing import Listing, measure
from hostlink.listing.renumber import renumber
from hostlink.listing.shrinking.shrink import shrink

RULES = find_profile("practice").rules
LAMP = "5 REM LAMP\n7 LET A = 1\n9 PRINT A\n11 GOTO 7\n"
BIG = "".join(f'{n} PRINT "{"X" * 37}"\n' for n in range(10, 220, 10))  # 21 of 48: 9 bytes over


def cells(app: Any, name: str) -> list[tuple[str, ...]]:
    """The rows of a list on the screen in front."""
    return [entry.cells for entry in app.screen.query_one(name, Rows).entries]


def test_each_level_shows_its_saving_before_it_is_taken(stage: Any, wait: Any) -> None:
    """The bytes beside each level are those that shrinking saves; Enter takes that level."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        await pilot.press("escape", "z")
        await wait(pilot, lambda: isinstance(app.screen, RewriteScreen))
        made = shrink(Listing.from_text(LAMP), RULES)
        told = [(row[0], row[1]) for row in cells(app, "#rewrites")]
        assert told == [(step.level, f"{step.saved:,}") for step in made.steps]
        assert app.focused.id == "rewrites"
        await pilot.press("down", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        taken = shrink(Listing.from_text(LAMP), RULES, "remarks")
        assert app.desk.editor.text == taken.listing.text()
        assert measure(Listing.from_text(app.desk.editor.text), RULES).total == taken.after

    stage.play(story, port="")


def test_lines_that_are_never_reached_are_a_row_of_their_own(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The row says which lines, and how the result was proven; Enter takes the listing without."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text("10 PRINT 1\n20 END\n30 PRINT 2\n40 GOTO 30\n")
        await pilot.press("escape", "z")
        await wait(pilot, lambda: isinstance(app.screen, RewriteScreen))
        assert cells(app, "#rewrites")[-1][0] == "unreached"
        await pilot.press("end")
        await wait(pilot, lambda: "Proven: both were run" in " ".join(shown(app).split()))
        assert "RUN 30 typed by hand would miss them" in " ".join(shown(app).split())
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == "10 PRINT1\n"

    stage.play(story, port="", size=(120, 40))


@pytest.mark.parametrize("name", ["shrink", "renumber"])
def test_a_text_taken_is_taken_back_by_ctrl_z_and_kept_by_nobody(
    stage: Any, wait: Any, name: str
) -> None:
    """The editor has the new text, the archive nothing; undoing brings the old text back."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        app.desk.action_work(name)
        await pilot.pause()
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk and app.desk.editor.text != LAMP)
        assert app.desk.sheet_pane.unkept
        assert app.said[-1].endswith("Nothing is kept yet.")
        await pilot.press("ctrl+z")
        await wait(pilot, lambda: app.desk.editor.text == LAMP)

    stage.play(story, port="")
    assert stage.archive.programs() == []


def test_leaving_the_workshop_leaves_the_text(stage: Any, wait: Any) -> None:
    """Escape, on each screen of the workshop, changes nothing."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        for name in (
            "shrink",
            "renumber",
            "references",
            "findings",
            "check-codes",
            "sheet",
            "card",
        ):
            app.desk.action_work(name)
            await wait(pilot, lambda: app.screen is not app.desk)
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk)
            assert app.desk.editor.text == LAMP

    stage.play(story, port="")
    assert not list(stage.folder.glob("*.html"))


def test_nothing_is_promised_to_fit_that_does_not(stage: Any, wait: Any, shown: Any) -> None:
    """Where every level together saves too little, no row says so, and the heading says by how
    much."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text("".join(f'{n} PRINT "{"X" * 60}"\n' for n in range(10, 30)))
        app.desk.workshop.shrink()
        await wait(pilot, lambda: isinstance(app.screen, RewriteScreen))
        await pilot.pause()
        assert "until it fits" not in {row[0] for row in cells(app, "#rewrites")}
        over = app.screen.rewrite.most.after - app.screen.rewrite.most.limit
        assert f"and still {over:,} bytes over at its smallest" in " ".join(shown(app).split())

    stage.play(story, port="", size=(120, 40))


def test_what_is_too_big_is_first_offered_to_be_made_to_fit(stage: Any, wait: Any) -> None:
    """Enter at once gives the listing that fits, with no line more changed than it takes."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(BIG)
        await pilot.press("escape", "z")
        await wait(pilot, lambda: isinstance(app.screen, RewriteScreen))
        assert cells(app, "#rewrites")[0][:2] == ("until it fits", "9")
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text.count('PRINT "') == 12  # 9 blanks out of 21 were enough
        assert app.desk.sheet_pane.checked.ledger.fits

    stage.play(story, port="")


def test_a_listing_that_cannot_be_smaller_says_so_at_once(stage: Any, wait: Any) -> None:
    """No screen to choose from where every choice is the same."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text("1 PRINT1\n")
        await pilot.press("escape", "z")
        await wait(pilot, lambda: any("No byte" in said for said in app.said))
        assert app.screen is app.desk

    stage.play(story, port="")


def test_new_numbers_are_shown_while_they_are_typed(stage: Any, wait: Any) -> None:
    """Start, step and range as typed; the outcome is what renumbering gives."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        app.desk.action_work("renumber")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, RenumberScreen))
        assert app.focused.id == "number-start"
        await pilot.press("end", "0", "tab", "backspace", "backspace", "5", "tab", "7")
        await pilot.pause()
        assert [row[:2] for row in cells(app, "#numbers")] == [
            ("5", "5"),
            ("7", "100"),
            ("9", "105"),
            ("11", "110"),
        ]
        await pilot.press("enter")
        await wait(pilot, lambda: app.screen is app.desk)
        wanted = renumber(Listing.from_text(LAMP), RULES, start=100, step=5, first=7)
        assert app.desk.editor.text == wanted.listing.text()

    stage.play(story, port="")


def test_numbers_that_make_no_sense_are_named_and_not_taken(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Letters in a field, a start outside the board's range: told, and Enter takes nothing."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        app.desk.action_work("renumber")
        await pilot.pause()
        await wait(pilot, lambda: isinstance(app.screen, RenumberScreen))
        await pilot.press("x", "enter")
        await pilot.pause()
        assert '"first new number" has to be a whole number' in shown(app)
        assert isinstance(app.screen, RenumberScreen)
        await pilot.press("backspace", *"0000", "enter")
        await pilot.pause()
        assert "outside 1 to 32767" in " ".join(shown(app).split())
        assert isinstance(app.screen, RenumberScreen)

    stage.play(story, port="")


def test_a_jump_that_cannot_follow_stops_renumbering_until_it_is_forced(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Each such jump is named; the safe answer has the focus; only the other one goes on."""
    odd = "5 GOSUB 10*A\n7 GOTO 99\n"

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(odd)
        app.desk.action_work("renumber")
        await pilot.pause()
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        assert app.focused.id == "answer-leave"
        for words in ("5 GOSUB 10*A", "computed when it runs", "there is no line 99"):
            assert words in shown(app)
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, RenumberScreen))
        assert app.desk.editor.text == odd
        await pilot.press("enter", "down", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == "10 GOSUB 10*A\n20 GOTO 99\n"

    stage.play(story, port="")


def test_the_cross_reference_leads_to_the_line(stage: Any, wait: Any, shown: Any) -> None:
    """Who names a line, where a variable is set and read; Enter puts the cursor there."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP + "13 GOTO 99\n")
        await pilot.press("escape", "x")
        await wait(pilot, lambda: isinstance(app.screen, ReferencesScreen))
        assert cells(app, "#lines") == [
            ("7", "GOTO in 11"),
            ("99", "GOTO in 13; there is no such line"),
        ]
        assert cells(app, "#variables") == [("A", "7", "9")]
        assert "Line 7 is named by GOTO in 11." in shown(app)
        await pilot.press("tab")
        await pilot.pause()
        assert "A is set in 7, and read in 9." in shown(app)
        await pilot.press("tab", "down", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.cursor_location[0] == 4
        await pilot.press("escape", "x", "tab", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.cursor_location[0] == 1

    stage.play(story, port="")


def test_a_rule_is_silenced_for_one_program_and_heard_again(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The note says so, the desk and the command line go by it; Space again takes it out."""
    stage.keep("ODD", "10 PRINT A", "20 END")
    stage.archive.note("ODD", "For the first evening.")

    async def story(pilot: Any, app: Any) -> None:
        assert "« variable never set" in shown(app)
        await pilot.press("escape", "i")
        await wait(pilot, lambda: isinstance(app.screen, FindingsScreen))
        assert cells(app, "#findings")[0][:3] == ("warning", "10", "variable never set")
        await pilot.press("space")
        await pilot.pause()
        assert cells(app, "#findings")[0][0] == "silenced"
        note = stage.archive.program("ODD").note
        assert note == "For the first evening.\nsilence: variable-never-set"
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "« variable never set" not in shown(app)
        await pilot.press("escape", "i", "space", "enter")
        await wait(pilot, lambda: app.screen is app.desk)
        assert "« variable never set" in shown(app)
        assert app.desk.editor.cursor_location[0] == 0

    stage.play(story, port="", opens="ODD", size=(120, 40))
    assert stage.archive.program("ODD").note == "For the first evening."


def test_a_listing_that_is_not_kept_has_no_note_to_silence_in(stage: Any, wait: Any) -> None:
    """It says what to do, and nothing is silenced."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text("10 PRINT A\n")
        await pilot.press("escape", "i")
        await wait(pilot, lambda: isinstance(app.screen, FindingsScreen))
        await pilot.press("space")
        await pilot.pause()
        assert cells(app, "#findings")[0][0] == "warning"
        assert any("Keep the listing first" in str(each.message) for each in app._notifications)

    stage.play(story, port="")


def test_without_a_listing_there_is_nothing_to_work_on(stage: Any, wait: Any) -> None:
    """An empty editor gets one clear sentence."""

    async def story(pilot: Any, app: Any) -> None:
        for name in ("shrink", "renumber", "references", "findings", "check-codes", "sheet"):
            app.desk.action_work(name)
            await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
            assert app.screen.error.what == "There is no numbered line in the editor."
            await pilot.press("enter")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")


def test_each_action_is_found_by_its_words(stage: Any, wait: Any, find_action: Any) -> None:
    """The palette and a word of it open the screen of the action."""
    screens: dict[str, type] = {
        "smaller": RewriteScreen,
        "renumber": RenumberScreen,
        "cross": ReferencesScreen,
        "every finding": FindingsScreen,
        "listing sheet": Fill,
        "check codes": CheckScreen,
        "card": AskText,
    }

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        for words, screen in screens.items():
            await find_action(pilot, app, words)
            await pilot.press("enter")
            await wait(pilot, lambda screen=screen: isinstance(app.screen, screen))
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")


def test_keys_pressed_faster_than_they_are_taken_keep_their_order(stage: Any, wait: Any) -> None:
    """Digits and Enter at once, as a terminal may hand them over: the digits count."""

    async def story(pilot: Any, app: Any) -> None:
        app.desk.editor.load_text(LAMP)
        for name, then, wanted in (
            ("renumber", (("end", None), ("0", "0"), ("enter", None)), "100 REM LAMP"),
            ("shrink", (("down", None), ("enter", None)), "110 LETA=1"),
        ):
            app.desk.action_work(name)
            await wait(pilot, lambda: app.screen is not app.desk)
            for key, character in then:
                app.post_message(events.Key(key, character))
            await wait(pilot, lambda: app.screen is app.desk)
            assert app.desk.editor.text.splitlines()[0] == wanted

    stage.play(story, port="")
