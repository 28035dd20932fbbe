"""Work with files beside the app: its errors are shown, and the app goes on."""

from __future__ import annotations

import re
import threading
from pathlib import Path
from typing import Any

from hostlink import app as package
from hostlink.app.aside import aside
from hostlink.app.screens.dialogues import ErrorDialogue


def test_a_fault_in_the_work_is_shown_and_the_app_goes_on(stage: Any, wait: Any) -> None:
    """An error that is none of hostlink's own is no traceback."""

    def work() -> None:
        raise ZeroDivisionError("no")

    async def story(pilot: Any, app: Any) -> None:
        aside(app, work, done=lambda _: None)
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "Something went wrong inside hostlink" in app.said[-1]

    stage.play(story)


def test_only_the_newest_work_of_a_name_is_shown(stage: Any, wait: Any) -> None:
    """A result that comes late does not replace a newer one, and neither does an error."""

    async def story(pilot: Any, app: Any) -> None:
        held, shown = threading.Event(), []

        def work() -> str:
            held.wait(60)
            raise ZeroDivisionError

        aside(app, work, done=shown.append, newest="list")
        aside(app, lambda: "new", done=shown.append, newest="list")
        await wait(pilot, lambda: shown)
        held.set()
        await app.workers.wait_for_complete()
        await pilot.pause()
        assert shown == ["new"]
        assert app.screen is app.desk

    stage.play(story)


def test_threads_of_the_app_begin_in_one_place() -> None:
    """Else a worker's error is lost, or two answers race; the terminal's watch has no answer."""
    begins = re.compile(r"run_worker\(|@work\b|Thread\(")
    files = Path(package.__file__).parent.rglob("*.py")
    assert {path.name for path in files if begins.search(path.read_text("utf-8"))} == {
        "aside.py",
        "terminal.py",
    }
