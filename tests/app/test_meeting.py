"""How far a board answers, in the app: the steps, and a restart only after the question."""

from __future__ import annotations

from typing import Any

from hostlink.app.screens.boards import BoardsScreen
from hostlink.app.screens.dialogues import Ask
from hostlink.app.screens.meeting import MeetingScreen

BARE = b"\xff" * 32_768


async def to_meeting(pilot: Any, app: Any, wait: Any) -> None:
    await pilot.press("escape", "d")
    await wait(pilot, lambda: isinstance(app.screen, BoardsScreen))
    await pilot.press("m")
    await wait(pilot, lambda: isinstance(app.screen, MeetingScreen))


def test_the_board_at_the_cursor_is_met(stage: Any, wait: Any, shown: Any) -> None:
    """All steps and who it is; R is not offered where nothing more would be told."""

    async def story(pilot: Any, app: Any) -> None:
        await to_meeting(pilot, app, wait)
        text = " ".join(shown(app).split())
        assert "8 What does it hold? yes" in text
        assert (
            "This board has no label yet. It talks at 57600 baud like a board of kind practice"
            in text
        )
        assert text.endswith(
            "Give it a label with Escape, then D, then L. "
            "Escape goes back to the desk; press the keys named above there."
        )
        await pilot.press("r")
        assert isinstance(app.screen, MeetingScreen)
        await pilot.press("escape")
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story)


def test_a_silent_board_is_restarted_only_after_the_question(
    stage: Any, wait: Any, shown: Any, do: Any
) -> None:
    """R asks; the safe answer leaves it; the other one finds the chip and its blank flash."""

    async def story(pilot: Any, app: Any) -> None:
        await do(pilot, app, lambda session, _: session.wire.port.machine.hold_flash(BARE))
        await to_meeting(pilot, app, wait)
        assert "5 Does something answer? no" in " ".join(shown(app).split())
        await pilot.press("r")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("escape")
        await wait(pilot, lambda: isinstance(app.screen, MeetingScreen))
        await pilot.press("r")
        await wait(pilot, lambda: isinstance(app.screen, Ask))
        await pilot.press("down", "enter")
        await wait(pilot, lambda: "The chip is alive" in shown(app))
        assert "ATmega328P, its flash is blank" in " ".join(shown(app).split())

    stage.play(story)
