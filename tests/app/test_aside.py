"""Work with files beside the app: its errors are shown, and the app goes on."""

from __future__ import annotations

from typing import Any

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
