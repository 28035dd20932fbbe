"""Keys as real terminals send them, which is not how a test presses them."""

from __future__ import annotations

from typing import Any

import pytest
from textual._xterm_parser import XTermParser
from textual.binding import Binding
from textual.events import Key

from hostlink.app.desk.actions import ACTIONS
from hostlink.app.desk.desk import Desk
from hostlink.app.findings import FindingsScreen

ALT = [
    key
    for binding in Desk.BINDINGS
    if isinstance(binding, Binding)
    for key in binding.key.split(",")
    if key.startswith("alt+")
]


def sent(key: str) -> list[Key]:
    """What becomes of Alt and a letter: terminals send Escape, then the letter (common practice, no
    source)."""
    parser = XTermParser()
    events = [*parser.feed(f"\x1b{key[-1]}"), *parser.feed("")]
    return [event for event in events if isinstance(event, Key)]


@pytest.mark.parametrize("key", ALT)
def test_every_alt_key_arrives_as_itself(key: str) -> None:
    """Some letters never do: Escape and b is how terminals send Ctrl and the left arrow."""
    assert [event.key for event in sent(key)] == [key]


def test_every_action_of_the_desk_has_a_name_of_its_own_and_works(stage: Any) -> None:
    """Settings can name it, and what it leads to is there: each opens, says or moves something."""
    assert len({action.id for action in ACTIONS}) == len(ACTIONS)

    async def story(pilot: Any, app: Any) -> None:
        for action in ACTIONS:
            said, stack, focus = len(app.said), len(app.screen_stack), app.focused
            await app.run_action(action.binding.action, default_namespace=app.desk)
            await pilot.pause()
            moved = (len(app.said), len(app.screen_stack), app.focused) != (said, stack, focus)
            assert moved or action.id == "new", action.id
            while app.screen is not app.desk:
                app.pop_screen()
                await pilot.pause()
            app.set_focus(None)

    stage.play(story, port="")


def test_no_key_of_the_desk_is_taken_by_a_line_to_type_in(stage: Any) -> None:
    """In the editor, the line to find by and the console's, each key does what the desk says."""

    async def story(pilot: Any, app: Any) -> None:
        keys = [each.key for each in Desk.BINDINGS if isinstance(each, Binding)]
        keys = [key for key in keys if key != "escape"]  # goes back from each to the listing
        for into in ("ctrl+f", "ctrl+t", "escape"):
            await pilot.press(into)
            await pilot.pause()
            active = app.screen.active_bindings
            assert {key: active[key].node for key in keys} == dict.fromkeys(keys, app.desk), (
                app.focused
            )

    stage.play(story, opens="shipped:TIDE")


def test_an_alt_key_in_the_editor_acts_and_writes_nothing(stage: Any, wait: Any) -> None:
    """It comes with its letter, which the editor would take for typing."""

    async def story(pilot: Any, app: Any) -> None:
        before = app.desk.editor.text
        assert app.focused is app.desk.editor
        (event,) = sent("alt+v")
        app.post_message(event)
        await wait(pilot, lambda: isinstance(app.screen, FindingsScreen))
        assert app.desk.editor.text == before

    stage.play(story, opens="shipped:TIDE")
