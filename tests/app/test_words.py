"""Keys, words and themes: every action can be found, nothing is read as markup, colour is extra."""

from __future__ import annotations

import random
from typing import Any

import pytest
from textual.binding import Binding
from textual.color import Color
from textual.screen import Screen

from hostlink.app.application import DeskApp
from hostlink.app.console import ConsolePane, Transcript
from hostlink.app.desk.desk import Desk
from hostlink.app.screens.backups import BackupsScreen
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.checking import CheckScreen
from hostlink.app.screens.dialogues import Ask, AskText, ErrorDialogue
from hostlink.app.screens.filling import Fill
from hostlink.app.screens.findings import FindingsScreen
from hostlink.app.screens.firmware import FirmwareScreen
from hostlink.app.screens.mending import MendScreen
from hostlink.app.screens.palette import Help, actions, key_words
from hostlink.app.screens.references import ReferencesScreen
from hostlink.app.screens.renumbering import RenumberScreen
from hostlink.app.screens.rescues import RescuesScreen
from hostlink.app.screens.revisions import RevisionsScreen
from hostlink.app.screens.rewriting import RewriteScreen
from hostlink.app.screens.settings import SettingsScreen
from hostlink.app.screens.several_boards import SeveralScreen
from hostlink.app.screens.stored import StoredScreen
from hostlink.app.screens.surveying import SurveyScreen
from hostlink.app.sheet import Sheet
from hostlink.app.themes import NAMES, THEMES
from hostlink.errors import HostlinkError

SCREENS: list[type[Screen[Any]]] = [
    Desk,
    BackupsScreen,
    BoardsScreen,
    CheckScreen,
    FindingsScreen,
    FirmwareScreen,
    MendScreen,
    ReferencesScreen,
    RenumberScreen,
    RescuesScreen,
    RevisionsScreen,
    SettingsScreen,
    SeveralScreen,
    RewriteScreen,
    StoredScreen,
    SurveyScreen,
]
HOSTILE = [
    "[/bold]",
    "A[5]",
    "[red]",
    "[@click=app.quit]x[/]",
    "\\[",
    "$A[",
    "[link=x]y",
    "{}",
    "\x1b[2J",
    "\x1b]0;t\x07",
    "\u202e",
    "\ud800",
    "a\tb",
    "e\u0301",
    "漢字",
]


def _bindings(screen: Any) -> list[Binding]:
    found = [one for one in screen.BINDINGS if isinstance(one, Binding)]
    return [one for one in found if one.show]


@pytest.mark.parametrize("screen", [*SCREENS, DeskApp])
def test_every_action_has_a_key_words_and_an_explanation(screen: Any) -> None:
    """The palette and the help are made of them, so none may be wanting."""
    found = _bindings(screen)
    assert found
    for binding in found:
        assert binding.description
        assert binding.tooltip
        assert hasattr(screen, f"action_{binding.action.partition('(')[0]}")
    keys = [binding.key for binding in found]
    assert len(keys) == len(set(keys))
    function_keys = {key for key in keys if key.startswith("f") and key[1:].isdigit()}
    assert function_keys <= {f"f{n}" for n in range(1, 10)}  # F10 and on: terminals take some


def test_the_help_is_made_of_the_bindings_of_the_screen(stage: Any, wait: Any) -> None:
    """Each shown action of the desk stands in its help with its key."""

    async def story(pilot: Any, app: Any) -> None:
        wanted = actions(app.desk)
        await pilot.press("f1")
        await wait(pilot, lambda: isinstance(app.screen, Help))
        text = app.screen.query_one("#keys").content.plain
        for binding in wanted:
            assert key_words(binding.key) in text
            assert binding.description in text
        assert len(wanted) >= len(_bindings(Desk))
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, port="")


@pytest.mark.one_in(4)
@pytest.mark.parametrize(
    "box",
    [
        Ask("Which one?", [("leave", "Leave it"), ("take", "Take it")]),
        AskText("What is it called?"),
        Fill("Some lines", [("one", "one", "")], hint="Enter takes it."),
        ErrorDialogue(HostlinkError("It failed.")),
    ],
    ids=lambda box: type(box).__name__,
)
def test_help_over_a_box_shows_the_keys_of_the_screen_behind(
    stage: Any, wait: Any, shown: Any, box: Any
) -> None:
    """And says how the box is closed; F2 refuses in a sentence."""

    async def story(pilot: Any, app: Any) -> None:
        app.push_screen(box)
        await wait(pilot, lambda: app.screen is box)
        await pilot.press("f1")
        await wait(pilot, lambda: isinstance(app.screen, Help))
        text = app.screen.query_one("#keys").content.plain
        assert all(binding.description in text for binding in actions(app.desk))
        assert "Escape closes the box" in " ".join(shown(app).split())
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is box)
        await pilot.press("f2")
        await wait(pilot, lambda: bool(app._notifications))
        (told,) = app._notifications
        assert "close this box first" in told.message
        assert app.screen is box

    stage.play(story, port="")


def test_an_action_is_found_by_its_words_and_done(stage: Any, wait: Any, find_action: Any) -> None:
    """Typing "settings" into the palette and Enter opens the settings."""

    async def story(pilot: Any, app: Any) -> None:
        await find_action(pilot, app, "settings")
        await pilot.press("enter")
        await wait(pilot, lambda: isinstance(app.screen, SettingsScreen))

    stage.play(story, port="")


def test_the_mouse_does_what_the_keys_do(stage: Any, wait: Any) -> None:
    """A click chooses a program, and a second one on it opens it."""
    stage.keep("LAMP", "10 PRINT 1")

    async def story(pilot: Any, app: Any) -> None:
        await pilot.click("#programs", offset=(6, 2))
        await pilot.click("#programs", offset=(6, 2))
        await wait(pilot, lambda: app.desk.editor.text.strip() != "")
        assert (
            app.desk.sheet_pane.sheet.name
            == app.desk.shelf.query_one("#programs").entries[1].cells[0]
        )

    stage.play(story, port="")


@pytest.mark.one_in(2)
@pytest.mark.parametrize(("first", "more"), [(0, 2), (2, 14)])
def test_hostile_text_is_shown_everywhere_as_it_is_and_obeyed_nowhere(
    stage: Any, shown: Any, first: int, more: int
) -> None:
    """Markup, control sequences, odd characters, in all places that show foreign text."""
    odd = "[]/\\=@#$\"'abc \x00\x1b"
    seeds = range(20 + first, 20 + first + more)
    parts = [] if first else [*HOSTILE]
    parts += ["".join(random.Random(seed).choices(odd, k=30)) for seed in seeds]

    async def story(pilot: Any, app: Any) -> None:
        for text in parts:
            safe = text.encode("utf-8", "replace").decode("utf-8")
            app.desk.sheet_pane.show_sheet(Sheet(), f"10 REM {safe}\n20 GOTO {safe}")
            app.tell(text)
            app.desk.query_one(Transcript).add([(text, False), (text, True)])
            app.desk.query_one(ConsolePane).show([], text, prints=False)
            app.desk.shelf.search(safe)
            app.notify(text, markup=False)
            for screen in (
                ErrorDialogue(HostlinkError(text, kept=text, advice=text)),
                Ask(text, [("a", "Leave"), ("b", text)], why=text),
                AskText(text, safe.replace("\n", " ")),
            ):
                app.push_screen(screen)
                await pilot.pause()
                screen.dismiss()
                await pilot.pause()
        app.push_screen(ErrorDialogue(HostlinkError("A[5] [red]B[/]")))
        await pilot.pause()
        text = shown(app)
        assert "A[5] [red]B[/]" in text
        assert "\x1b" not in text

    stage.play(story, port="")


def test_hostile_listings_are_only_text_in_the_workshop(stage: Any, wait: Any, shown: Any) -> None:
    """Every screen that works on the listing shows foreign text and obeys none of it."""
    rows = [f"{10 * at} REM {text}\n" for at, text in enumerate(HOSTILE, 1)]
    text = "".join(rows).encode("utf-8", "replace").decode("utf-8") + "8000 GOSUB A[5]\n7 GOTO 5\n"
    plain = "".join(one if " " <= one <= "~" or one == "\n" else "?" for one in text)

    async def story(pilot: Any, app: Any) -> None:
        for name in ("shrink", "renumber", "references", "findings", "check-codes", "sheet"):
            app.desk.editor.load_text(plain if name in ("check-codes", "sheet") else text)
            app.desk.action_work(name)
            await wait(pilot, lambda: app.screen is not app.desk)
            await pilot.press("down", "down")
            await pilot.pause()
            assert "\x1b" not in shown(app)
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk)
        lines = [(f"k{at}", text, plain) for at, text in enumerate(HOSTILE)]
        app.push_screen(Fill(HOSTILE[0], lines, hint=HOSTILE[1]))
        await pilot.pause()
        assert "[/bold]" in shown(app)

    stage.play(story, port="")


def test_hostile_names_and_notes_of_the_archive_are_only_text(
    stage: Any, wait: Any, shown: Any
) -> None:
    """Titles, notes and found lines with markup are shown as they are."""
    stage.keep("LAMP", '10 PRINT "[/b]A[5]"', note="[red]note[/]")
    stage.archive.note("LAMP", "[bold]")

    async def story(pilot: Any, app: Any) -> None:
        app.desk.shelf.search("A[5]")
        await pilot.pause()
        assert '[/b]A[5]"' in shown(app)
        await pilot.press("escape", "v")
        await wait(pilot, lambda: isinstance(app.screen, RevisionsScreen))
        assert "[red]note[/]" in shown(app)

    stage.play(story, port="", opens="LAMP", size=(120, 40))


def test_only_our_own_three_themes_are_there(stage: Any) -> None:
    """No bundled theme is left, and each of ours can be used, as can each variant."""

    async def story(pilot: Any, app: Any) -> None:
        assert set(app.available_themes) == {theme.name for theme in THEMES}
        for theme in THEMES:
            app.theme = theme.name
            await pilot.pause()
        for name in NAMES:
            app.use_theme(name)
            await pilot.pause()
            assert app.theme == name

    stage.play(story, port="")
    assert 'theme = "monochrome"' in (stage.folder / "settings.toml").read_text()


def test_no_color_means_no_colour_at_all(stage: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """With NO_COLOR every cell has the terminal's own colours, whatever theme is asked for."""
    monkeypatch.setenv("NO_COLOR", "")

    async def story(pilot: Any, app: Any) -> None:
        app.use_theme("light")
        await pilot.pause()
        assert app.theme == "monochrome"
        for strip in app.screen._compositor.render_strips():
            for segment in strip.apply_filter(app._plain, Color.parse("black")):
                style = segment.style
                assert style is None or style.color is None or style.color.is_default
                assert style is None or style.bgcolor is None or style.bgcolor.is_default

    stage.play(story, port="", opens="shipped:TIDE")


def test_without_colour_the_cursor_the_focus_and_findings_are_still_told(
    stage: Any, shown: Any
) -> None:
    """Signs and words: the row at the cursor, the line with a finding, the excess on the ruler."""
    stage.keep("LONG", *(f"{number} REM {'X' * 60}" for number in range(10, 180, 10)), "GOTO 5")

    async def story(pilot: Any, app: Any) -> None:
        app.use_theme("monochrome")
        await pilot.pause()
        text = shown(app)
        assert "▸ LONG" in text
        assert "╳" in text
        assert "bytes over" in text

    stage.play(story, port="", opens="LONG")
