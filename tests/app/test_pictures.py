"""Pictures of each screen as plain text, with a digest of its colours in each theme.

The text of a screen is the same in all themes, which is itself a rule: nothing is told by colour
alone. After a change that is meant, draw them anew and look at them before they are committed:

    HOSTLINK_DRAW=1 scripts/start.py --python -m pytest tests/app/test_pictures.py
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import importlib
import os
import pkgutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import textual
from pictures import NOON, picture_app
from textual import events
from textual.screen import Screen

from hostlink.app import screens
from hostlink.app.application import DeskApp
from hostlink.app.desk.desk import Desk
from hostlink.app.screens.backups import BackupsScreen
from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.checking import CheckScreen
from hostlink.app.screens.class_screen import ClassScreen
from hostlink.app.screens.compare import CompareScreen
from hostlink.app.screens.dialogues import Ask, AskText, ErrorDialogue
from hostlink.app.screens.findings import FindingsScreen
from hostlink.app.screens.firmware import FirmwareScreen
from hostlink.app.screens.line_origins import OriginsScreen
from hostlink.app.screens.meeting import MeetingScreen
from hostlink.app.screens.mending import MendScreen
from hostlink.app.screens.palette import Help
from hostlink.app.screens.references import ReferencesScreen
from hostlink.app.screens.renumbering import RenumberScreen
from hostlink.app.screens.rescues import RescuesScreen
from hostlink.app.screens.revisions import RevisionsScreen
from hostlink.app.screens.rewriting import RewriteScreen
from hostlink.app.screens.runs import RunsScreen
from hostlink.app.screens.settings import SettingsScreen
from hostlink.app.screens.several_boards import SeveralScreen
from hostlink.app.screens.stepping import StepScreen
from hostlink.app.screens.stored import StoredScreen
from hostlink.app.screens.surveying import SurveyScreen
from hostlink.app.screens.words_line import WordsLine
from hostlink.app.themes import MONOCHROME, THEMES
from hostlink.app.widgets.page import Page
from hostlink.archive import Archive, RunEnd, RunText
from hostlink.errors import LinkError

FOLDER = Path(__file__).parent / "pictures"
SIZES = ((80, 24), (120, 40))
MORE_SIZES = {
    "desk": ((200, 60), (60, 15), (40, 12)),
    "loaded": ((200, 60),),
    "compare": ((200, 60),),
    "quiet": ((200, 60),),
    "class": ((200, 60), (60, 15)),
}
NAMES = tuple(theme.name for theme in THEMES)
PAGE = "\u2022 10\u00a0PRINT \u201cHELLO\u201d\n\u2022 20 GOTO 10\n"
VECTORS = ":020000040000FA\n:100000000C9434000C943E000C943E000C943E0082\n:00000001FF\n"


async def opened(
    pilot: Any, app: Any, wait: Any, action: str, screen: type[Screen[Any]] = Screen
) -> None:
    """Do what has this name on the desk, and wait for the screen that it opens."""
    app.desk.action_work(action)
    await pilot.pause()
    await wait(pilot, lambda: len(app.screen_stack) == 2 and isinstance(app.screen, screen))


async def _desk(_: Any, __: Any, ___: Any) -> None:
    pass


async def _words(pilot: Any, _: Any, __: Any) -> None:
    await pilot.press("escape")


async def _loaded(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("ctrl+l")
    await wait(pilot, lambda: any("proven" in said for said in app.said))


async def _quiet(pilot: Any, app: Any, wait: Any) -> None:
    await _console(pilot, app, wait)
    app.desk.space.toggle_quiet()


async def _large_console(pilot: Any, app: Any, wait: Any) -> None:
    await _console(pilot, app, wait)
    app.desk.space.enlarge_console()


async def _over(pilot: Any, app: Any, wait: Any) -> None:
    app.desk.editor.load_text("".join(f"{n} REM {'X' * 60}\n" for n in range(10, 180, 10)))
    app.desk.editor.move_cursor((16, 0))
    await pilot.pause()
    app.desk.editor.insert("5 GOTO 77\n")
    await wait(pilot, lambda: app.desk.sheet_pane.checked.errors)
    app.desk.editor.move_cursor((16, 0))


async def _console(pilot: Any, app: Any, wait: Any) -> None:
    await _loaded(pilot, app, wait)
    await pilot.press("ctrl+t", *"PRINT", "space", *"6*7", "enter")
    await wait(
        pilot, lambda: app.boards.current.partial == "+ " and app.boards.current.busy is None
    )
    await wait(pilot, lambda: "42" in app.desk.query_one("#transcript").text)


async def _rescue(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("ctrl+t", *"10", "space", *"END", "enter")
    await wait(
        pilot, lambda: app.boards.current.partial == "+ " and app.boards.current.busy is None
    )
    await _loaded(pilot, app, wait)
    await wait(pilot, lambda: bool(app.desk.query_one("#jobs").display))


async def _mending(pilot: Any, app: Any, wait: Any) -> None:
    app.desk.editor.load_text("")
    app.desk.sheet_pane.sheet = type(app.desk.sheet_pane.sheet)()
    app.desk.editor.post_message(events.Paste(PAGE))
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _revisions(pilot: Any, app: Any, wait: Any) -> None:
    await _loaded(pilot, app, wait)
    app.desk.editor.insert("5 REM LONGER\n", (0, 0))
    await pilot.press("ctrl+s")
    await wait(pilot, lambda: "Kept as TIDE@2. Next: load it (Ctrl+L)." in app.said)
    await pilot.press("escape", "v")
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _compare(pilot: Any, app: Any, wait: Any) -> None:
    await _loaded(pilot, app, wait)
    app.desk.editor.replace("30 LET H=11", (2, 0), (2, 10))
    await opened(pilot, app, wait, "compare-board")


async def _class(pilot: Any, app: Any, wait: Any) -> None:
    boards = ("picture", "blue", "green&unplug_after_bytes=250", "red&program_bytes=300")
    seats = [
        f'[[learner]]\nname = "{name}"\nboard = "practice://{board.replace("&", "?")}'
        f'{"&" if "&" in board else "?"}time=virtual"\n'
        for name, board in zip(
            ("Ada Brook", "Ben Oak", "Cleo Reed", "Dan Moor"), boards, strict=True
        )
    ]
    text = 'title = "Tuesday evening"\nhand_out = "TIDE"\n' + "".join(seats)
    Path("class.toml").write_text(f'{text}[[learner]]\nname = "Eve Hill"\nboard = "Violet"\n')
    await opened(pilot, app, wait, "class")
    await pilot.press(*"class.toml", "enter")
    await wait(pilot, lambda: isinstance(app.screen, ClassScreen))
    await pilot.press("h")
    await wait(pilot, lambda: len(app.screen.tasks) == 4 and app.screen.is_at_rest)
    await pilot.press("g")
    await wait(pilot, lambda: app.screen.rows["Ben Oak"].saved and app.screen.is_at_rest)


async def _boards(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("escape", "d")
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _survey_question(pilot: Any, app: Any, wait: Any) -> None:
    await _boards(pilot, app, wait)
    await pilot.press("s")
    await wait(pilot, lambda: isinstance(app.screen, Ask))


async def _survey(pilot: Any, app: Any, wait: Any) -> None:
    await _survey_question(pilot, app, wait)
    await pilot.click("#answer-storing")
    await wait(pilot, lambda: isinstance(app.screen, SurveyScreen))


async def _surveyed(pilot: Any, app: Any, wait: Any) -> None:
    await _survey(pilot, app, wait)
    await pilot.press("escape")
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _stored(pilot: Any, app: Any, wait: Any) -> None:
    await _loaded(pilot, app, wait)
    await opened(pilot, app, wait, "stored", StoredScreen)
    await pilot.press("s")
    await wait(pilot, lambda: isinstance(app.screen, AskText))
    await pilot.press("enter")
    await wait(pilot, lambda: any("and read back" in said for said in app.said))
    await pilot.press("enter")
    await wait(pilot, lambda: app.boards.current.busy is None)


async def _store_question(pilot: Any, app: Any, wait: Any) -> None:
    await _stored(pilot, app, wait)
    await pilot.press("s")
    await wait(pilot, lambda: isinstance(app.screen, AskText))


async def _backups(pilot: Any, app: Any, wait: Any) -> None:
    await _stored(pilot, app, wait)
    await pilot.press("escape", "escape", "u")
    await wait(pilot, lambda: any("Kept as backup@1" in said for said in app.said))
    await wait(pilot, lambda: app.screen is app.desk)
    await pilot.press("escape", "p")
    await wait(pilot, lambda: isinstance(app.screen, BackupsScreen))
    await pilot.press("tab", "space")


async def _lost(pilot: Any, app: Any, wait: Any) -> None:
    await _loaded(pilot, app, wait)
    await wait(pilot, lambda: app.boards.current.busy is None)

    def restart(session: Any, _: Any) -> None:
        session.wire.port.machine.restart(session.wire.now())
        session.dialogue.listen_waking()

    app.boards.current.do("", restart, shown=False)
    await wait(pilot, lambda: app.desk.query_one("#asks").display)


async def _settings(pilot: Any, app: Any, wait: Any) -> None:
    await opened(pilot, app, wait, "settings")
    app.screen.query_one(".foot").update("(where they are kept)")


async def _help(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("f1")
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _question(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("escape", "e")
    await wait(pilot, lambda: isinstance(app.screen, Ask))


async def _trouble(pilot: Any, app: Any, wait: Any) -> None:
    app.show_error(
        LinkError("The board is silent.", kept="Its program.", advice="Check the cable.")
    )
    await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))


async def _firmware(pilot: Any, app: Any, wait: Any) -> None:
    Path("image.hex").write_text(VECTORS)
    await pilot.press("escape", "w", *"image.hex", "enter")
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _cautions(pilot: Any, app: Any, wait: Any) -> None:
    await _firmware(pilot, app, wait)
    await pilot.press("g")
    await wait(pilot, lambda: isinstance(app.screen, Ask))


ODD = """\
5 REM THE LAMP OF LANDING 4
20 LET A = 3
30 GOSUB 10*A
40 FOR I = 1 TO B
50 PRINT "THE LAMP OF LANDING FOUR IS NOW LIT FOR ALL"
60 IF A > 2 THEN GOTO 100
70 GOTO 90
80 PRINT A
90 END
"""


async def _shrinking(pilot: Any, app: Any, wait: Any) -> None:
    rows = (f"{n} REM LAMP NUMBER {n}\n{n + 5} LET A = {n} + A\n" for n in range(10, 310, 10))
    long = "".join(rows)
    app.desk.editor.load_text(long)
    await pilot.press("escape", "z")
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _renumbering(pilot: Any, app: Any, wait: Any) -> None:
    await opened(pilot, app, wait, "renumber")


async def _stopped(pilot: Any, app: Any, wait: Any) -> None:
    app.desk.editor.load_text(ODD)
    await _renumbering(pilot, app, wait)


async def _forced(pilot: Any, app: Any, wait: Any) -> None:
    await _stopped(pilot, app, wait)
    await pilot.press("enter")
    await wait(pilot, lambda: isinstance(app.screen, Ask))


async def _references(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("escape", "x")
    await wait(pilot, lambda: len(app.screen_stack) == 2)


async def _findings(pilot: Any, app: Any, wait: Any) -> None:
    app.desk.editor.load_text(ODD)
    await pilot.press("ctrl+s")
    await wait(pilot, lambda: "Kept as TIDE@1. Next: load it (Ctrl+L)." in app.said)
    await pilot.press("escape", "i")
    await wait(pilot, lambda: len(app.screen_stack) == 2)
    await pilot.press("space")
    await pilot.pause()


async def _sheet(pilot: Any, app: Any, wait: Any) -> None:
    with contextlib.chdir("/"):  # the dialogue names this folder
        await opened(pilot, app, wait, "sheet")


async def _whose(pilot: Any, app: Any, wait: Any) -> None:
    await opened(pilot, app, wait, "check-codes", Ask)


async def _checking(pilot: Any, app: Any, wait: Any) -> None:
    await _whose(pilot, app, wait)
    await pilot.press("down", "enter")
    await wait(pilot, lambda: len(app.screen_stack) == 2 and not isinstance(app.screen, Ask))
    await pilot.press(*"10 44", "enter")
    await pilot.pause()


async def _rescues(pilot: Any, app: Any, wait: Any) -> None:
    await _rescue(pilot, app, wait)
    await wait(pilot, lambda: app.boards.current.busy is None)
    await opened(pilot, app, wait, "rescues", RescuesScreen)


async def _origins(pilot: Any, app: Any, wait: Any) -> None:
    await _revisions(pilot, app, wait)
    await pilot.press("o")
    await wait(pilot, lambda: isinstance(app.screen, OriginsScreen))


async def _runs(pilot: Any, app: Any, wait: Any) -> None:
    await _revisions(pilot, app, wait)
    kept = app.archive.revision("TIDE@2")
    for end in (RunEnd(), RunEnd("error", "no such line", 20)):
        app.archive.keep_run(RunText(("TIDE", "11.5", "12")), end, seconds=2, revision=kept)
    await pilot.press("p")
    await wait(pilot, lambda: isinstance(app.screen, RunsScreen))
    await pilot.press("down", "space")


async def _stepping(pilot: Any, app: Any, wait: Any) -> None:
    await opened(pilot, app, wait, "step", StepScreen)
    await pilot.press("l", "l", "l")


async def _several(pilot: Any, app: Any, wait: Any) -> None:
    app.boards.attach("practice://second?time=virtual")
    await wait(
        pilot,
        lambda: (
            len(app.boards.by_port) == 2
            and all(b.busy is None for b in app.boards.by_port.values())
        ),
    )
    await opened(pilot, app, wait, "several", SeveralScreen)
    await pilot.press("space")


async def _meeting(pilot: Any, app: Any, wait: Any) -> None:
    await _boards(pilot, app, wait)
    await pilot.press("m")
    await wait(pilot, lambda: isinstance(app.screen, MeetingScreen))


SCENES: dict[str, Callable[..., Any]] = {
    name.strip("_"): scene
    for name, scene in list(globals().items())
    if name.startswith("_") and asyncio.iscoroutinefunction(scene)
}


@pytest.fixture
def draw(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    wait: Any,
    shown: Any,
    is_settled: Any,
) -> Callable[..., tuple[str, dict[str, str]]]:
    """Plays a scene at one size: its text, and by theme the digest of its styles."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setattr("hostlink.app.screens.boards.usb_ports", list)

    def play(scene: Callable[..., Any], size: tuple[int, int]) -> tuple[str, dict[str, str]]:
        texts: dict[str, str] = {}
        digests: dict[str, str] = {}

        async def run(archive: Archive) -> None:
            app = picture_app(archive, tmp_path, "picture")
            async with app.run_test(size=size) as pilot:
                await wait(pilot, lambda: app.boards.current and is_settled(app))
                await scene(pilot, app, wait)
                assert isinstance(app.screen, SHOWS.get(scene.__name__.strip("_"), Screen))
                for theme in NAMES:
                    app.theme = theme
                    app._plain.enabled = theme == MONOCHROME
                    digests[theme] = await _still(pilot, app)
                    rows = shown(app).split("\n")
                    texts[theme] = "\n".join(row.rstrip() for row in rows)
                    if folder := os.environ.get("HOSTLINK_SVG"):
                        name = f"{scene.__name__.strip('_')}-{size[0]}-{theme}.svg"
                        app.save_screenshot(name, folder)
                app.shut()

        with Archive.open(tmp_path / f"archive-{size[0]}.sqlite3", now=lambda: NOON) as archive:
            asyncio.run(run(archive))
        assert len(set(texts.values())) == 1, "a theme shows other text than the others"
        return texts[NAMES[0]], digests

    return play


async def _still(pilot: Any, app: DeskApp) -> str:
    """Let all that is under way happen until three looks see the same; return its digest."""
    seen: list[str] = []
    while len(seen) < 3 or len(set(seen[-3:])) > 1:
        assert len(seen) < 1000, "the screen never comes to rest"
        await pilot.pause()
        seen.append(_digest(app))
    return seen[-1]


def _digest(app: DeskApp) -> str:
    """A digest of every cell's style, in digits, since letters may spell a word."""
    styles = [
        f"{segment.style}*{len(segment.text)}"
        for strip in app.screen._compositor.render_strips()
        for segment in strip.simplify()
    ]
    digest = hashlib.sha256("\n".join(styles).encode()).digest()
    return f"{int.from_bytes(digest[:6], 'big'):015}"


# The scene that ends on each screen.
SHOWS: dict[str, type[Screen[Any]]] = {
    "desk": Desk,
    "backups": BackupsScreen,
    "boards": BoardsScreen,
    "checking": CheckScreen,
    "class": ClassScreen,
    "compare": CompareScreen,
    "findings": FindingsScreen,
    "firmware": FirmwareScreen,
    "help": Help,
    "meeting": MeetingScreen,
    "mending": MendScreen,
    "origins": OriginsScreen,
    "references": ReferencesScreen,
    "renumbering": RenumberScreen,
    "rescues": RescuesScreen,
    "revisions": RevisionsScreen,
    "runs": RunsScreen,
    "settings": SettingsScreen,
    "several": SeveralScreen,
    "shrinking": RewriteScreen,
    "stepping": StepScreen,
    "stored": StoredScreen,
    "survey": SurveyScreen,
    "words": WordsLine,
}


DRAWN = [(name, size) for name in SCENES for size in (*SIZES, *MORE_SIZES.get(name, ()))]


@pytest.mark.one_in(16)
@pytest.mark.parametrize(
    ("name", "size"), DRAWN, ids=[f"{name}-{size[0]}x{size[1]}" for name, size in DRAWN]
)
def test_each_screen_looks_as_it_was_looked_at(draw: Any, name: str, size: tuple[int, int]) -> None:
    """The text is exactly the kept one, and so are the styles.

    Those are textual's too: the tests' environment has the very version they were drawn with.
    """
    text, digests = draw(SCENES[name], size)
    path = FOLDER / f"{name}-{size[0]}x{size[1]}.txt"
    head = [f"textual {textual.__version__}"] + [f"{theme} {digests[theme]}" for theme in NAMES]
    if os.environ.get("HOSTLINK_DRAW"):
        FOLDER.mkdir(exist_ok=True)
        path.write_text("\n".join([*head, "", text, ""]), encoding="utf-8")
        pytest.skip("drawn anew, so nothing was compared")
    kept = path.read_text(encoding="utf-8").split("\n")
    assert text == "\n".join(kept[len(head) + 1 :]).removesuffix("\n")
    assert head == kept[: len(head)]


@pytest.mark.one_in(8)
@pytest.mark.parametrize("name", sorted(SCENES, key=lambda name: name != "help"))
def test_each_screen_outlives_a_window_of_a_few_cells(draw: Any, name: str) -> None:
    """As where a pane is dragged to its end, or a desktop makes room for another window."""

    async def squeezed(pilot: Any, app: Any, wait: Any) -> None:
        await SCENES[name](pilot, app, wait)
        for size in ((1, 1), (2, 2), (60, 1), (80, 24)):
            await pilot.resize_terminal(*size)
            await pilot.pause()

    draw(squeezed, (80, 24))


def test_every_kept_picture_belongs_to_a_scene() -> None:
    """A picture that nothing is compared with says nothing."""
    wanted = {f"{name}-{size[0]}x{size[1]}.txt" for name, size in DRAWN}
    assert {path.name for path in FOLDER.iterdir()} == wanted


def test_each_screen_has_a_picture() -> None:
    """One of its own: no screen is made without being looked at. Boxes are not screens."""
    made = {
        each
        for module in pkgutil.iter_modules(screens.__path__, f"{screens.__name__}.")
        for each in vars(importlib.import_module(module.name)).values()
        if isinstance(each, type) and issubclass(each, Page) and each is not Page
    }
    assert made <= set(SHOWS.values()), "draw them: the module's beginning says how"
    assert set(SHOWS) <= set(SCENES)
