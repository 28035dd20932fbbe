"""An app of the test's own: a folder, an archive, a practice board on a virtual clock."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from textual._compositor import Compositor
from textual._context import visible_screen_stack
from textual.css.stylesheet import Stylesheet
from textual.pilot import Pilot
from textual.widgets import Input, OptionList

from hostlink.app.actions.table import use_keys
from hostlink.app.application import DeskApp
from hostlink.archive import Archive, Content, Kept, Origin

BOARD = "practice://class?time=virtual"
TIDE = "shipped:TIDE"
Story = Callable[[Pilot[None], DeskApp], Awaitable[None]]


DRAW_UPDATE = Compositor.render_update
DRAW_STRIPS = Compositor.render_strips
PARSE_RULES = Stylesheet._parse_rules
PARSED: dict[Any, Any] = {}


def draw_strips(compositor: Compositor, *given: Any) -> Any:
    """Draw the whole screen, the screens behind a modal one too."""
    if compositor.root is not None:  # else nothing is laid out yet
        visible_screen_stack.set(compositor.root.app._background_screens)
    return DRAW_STRIPS(compositor, *given)


@pytest.fixture(autouse=True)
def fewer_frames(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out the frames that nobody looks at, and parse each style sheet once for all tests.

    Without a terminal textual draws up to 60 frames a second and throws them away, which took a
    third of the time of these tests. `until` draws one in their place whenever it has waited, so
    that what a widget raises while it is drawn comes out.
    """

    def no_frame(compositor: Compositor, full: bool = False, **options: Any) -> Any:
        if full:
            return DRAW_UPDATE(compositor, full=True, **options)
        compositor._dirty_regions.clear()
        return None

    def parse_once(sheet: Stylesheet, *given: Any, **named: Any) -> Any:
        key = (frozenset(sheet._variables.items()), given, tuple(named.items()))
        if key not in PARSED:
            PARSED[key] = PARSE_RULES(sheet, *given, **named)
        return PARSED[key]

    monkeypatch.setattr(Compositor, "render_update", no_frame)
    monkeypatch.setattr(Compositor, "render_strips", draw_strips)
    monkeypatch.setattr(Stylesheet, "_parse_rules", parse_once)


@pytest.fixture(autouse=True)
def _no_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let boxes that open by themselves take keys at once, as a person who has waited sees them."""
    monkeypatch.setattr("hostlink.app.desk.questions.EARLY_S", 0.0)


@dataclass
class Stage:
    """Where an app plays: its archive and folder, and how a story is told on it."""

    archive: Archive
    folder: Path

    def play(
        self,
        story: Story,
        *,
        port: str = BOARD,
        opens: str = "",
        size: tuple[int, int] = (80, 24),
        **options: Any,
    ) -> DeskApp:
        """Run the app, let the story happen, close it; whatever is raised inside comes out."""
        app = DeskApp(self.archive, port=port, opens=opens, **options)

        async def run() -> None:
            async with app.run_test(size=size) as pilot:
                await until(pilot, lambda: app.begun)
                if port:
                    await until(pilot, lambda: asked(app) or (app.boards.current and settled(app)))
                try:
                    await story(pilot, app)
                except AssertionError as error:
                    error.add_note(f"said: {app.said}\n{screen_text(app)}")
                    raise
                finally:
                    app.shut()

        asyncio.run(run())
        return app

    def keep(self, name: str, *lines: str, note: str = "") -> Kept:
        """Keep a listing in the archive."""
        text = "".join(line + "\n" for line in lines)
        content = Content(text.encode(), text, text, "practice", "latin-1", len(text))
        return self.archive.keep(name, content, Origin("edit", note=note))


@pytest.fixture
def stage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, _ready_archives: None
) -> Iterator[Stage]:
    monkeypatch.chdir(tmp_path)
    for name in ("PORT", "PROFILE", "BAUD", "ARCHIVE"):
        monkeypatch.delenv(f"HOSTLINK_{name}", raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setenv("HOSTLINK_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "profiles"))
    monkeypatch.setattr("hostlink.app.screens.boards.usb_ports", list)
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        yield Stage(archive, tmp_path)
    use_keys({})


def asked(app: DeskApp) -> bool:
    """Whether something stands in front of the desk."""
    return len(app.screen_stack) > 1


def settled(app: DeskApp) -> bool:
    """Whether no board has a job under way."""
    return all(each.busy is None for each in app.boards.by_port.values())


async def until(pilot: Pilot[None], is_so: Callable[[], Any], seconds: float = 180.0) -> None:
    """Let the app go on until something is so; the test fails where it never is.

    To look takes a quarter of the time at most: some draw the whole screen for it.
    """
    loop = asyncio.get_running_loop()
    end = loop.time() + seconds
    while True:
        began = loop.time()
        if is_so():
            break
        looked = loop.time()
        assert looked < end, "it did not happen in time"
        await pilot.pause(max(0.01, 3 * (looked - began)))
    await pilot.pause()
    if pilot.app.is_running:
        pilot.app.screen._compositor.render_strips()


def screen_text(app: DeskApp) -> str:
    """What stands on the screen, row by row."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip) for strip in strips)


@pytest.fixture
def wait() -> Callable[..., Awaitable[None]]:
    """`until`, for tests."""
    return until


@pytest.fixture
def shown() -> Callable[[DeskApp], str]:
    """`screen_text`, for tests."""
    return screen_text


@pytest.fixture
def is_settled() -> Callable[[DeskApp], bool]:
    """`settled`, for tests."""
    return settled


@pytest.fixture
def type_text() -> Callable[..., Awaitable[None]]:
    """Types text key by key."""

    async def press(pilot: Pilot[None], text: str) -> None:
        names = {" ": "space", "\n": "enter"}
        await pilot.press(*(names.get(one, one) for one in text))

    return press


@pytest.fixture
def find_action() -> Callable[..., Awaitable[None]]:
    """Opens the palette, types words there, and waits until an action stands first that has them
    in its name, or has what is meant there."""

    def first(app: DeskApp) -> str:
        found = app.screen.query("CommandList").results(OptionList)
        return next(
            (str(each.get_option_at_index(0).prompt) for each in found if each.option_count), ""
        )

    async def find(pilot: Pilot[None], app: DeskApp, words: str, meant: str = "") -> None:
        await pilot.press("f2")
        await until(pilot, lambda: bool(app.screen.query(Input)))
        app.screen.query_one(Input).value = words
        await until(pilot, lambda: (meant or words) in first(app).lower())

    return find


@pytest.fixture
def hold() -> Callable[..., Any]:
    """Makes a job that has lines in the board's memory and EEPROM, as if they had been there."""

    def make(memory: dict[int, bytes], **stored: dict[int, bytes]) -> Any:
        def work(session: Any, _: Any) -> None:
            basic = session.wire.port.machine.basic
            basic._state.memory.replace(memory)
            basic.eeprom.clear()
            basic.eeprom.update(stored)

        return work

    return make


@pytest.fixture
def held() -> Callable[..., Any]:
    """A job that tells what memory and EEPROM of the practice board hold."""

    def work(session: Any, _: Any) -> Any:
        basic = session.wire.port.machine.basic
        return dict(basic.lines), {name: dict(lines) for name, lines in basic.eeprom.items()}

    return work


@pytest.fixture
def do() -> Callable[..., Awaitable[Any]]:
    """Has a job done on the current board, and gives its answer."""

    async def done(pilot: Pilot[None], app: DeskApp, work: Any) -> Any:
        assert app.boards.current is not None
        job = app.boards.current.do("", work, shown=False)
        await until(pilot, lambda: job.ended)
        assert job.error is None
        return job.result

    return done


@pytest.fixture
def start_app(terminal: Any, tmp_path: Path) -> Callable[..., None]:
    """Starts hostlink in the real terminal, all that it keeps in the test's folder.

    The shell outlives it and tells its status; tmux itself at times does not. Its process id is in
    the file `pid`. more: further variables of the environment.
    """
    places = {
        "HOSTLINK_ARCHIVE": "archive.sqlite3",
        "HOSTLINK_PRACTICE": "practice",
        "HOSTLINK_SETTINGS": "settings.toml",
    }

    def start(*words: str, **more: str) -> None:
        variables = [f"{name}={tmp_path / file}" for name, file in places.items()]
        variables += [f"{name}={value}" for name, value in more.items()]
        inner = f'echo $$ > "{tmp_path}/pid"; exec "$0" -m hostlink "$@"'
        terminal.start(
            *(80, 24),
            *("env", "-u", "NO_COLOR", "-u", "HOSTLINK_PORT", *variables),
            *("sh", "-c", 'sh -c "$0" "$@"; echo "ended with status $?"; exec cat', inner),
            *(sys.executable, *words),
        )

    return start
