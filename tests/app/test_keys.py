"""Keys as real terminals send them, which is not how a test presses them."""

from __future__ import annotations

import random
from typing import Any

import pytest
from textual._xterm_parser import XTermParser
from textual.binding import Binding
from textual.events import Key, Paste
from textual.widgets import Input

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


def feed(app: Any, *keys: tuple[str, str | None]) -> None:
    """Give the app keys all at once, as a slow line or a busy terminal does."""
    for key, character in keys:
        app.post_message(Key(key, character))


def test_what_is_typed_behind_a_key_goes_where_that_key_leads(stage: Any, wait: Any) -> None:
    """Ctrl+F and a word in one read: the word is searched for, and not in the listing."""

    async def story(pilot: Any, app: Any) -> None:
        before = app.desk.editor.text
        feed(app, ("ctrl+f", None), *((one, one) for one in "tide"), ("escape", None), ("x", "x"))
        await wait(pilot, lambda: app.desk.query_one("#find").value or app.focused.id == "find")
        await pilot.pause()
        assert app.desk.editor.text == before
        # Escape in a search with words goes to an empty one first; so x is searched for.
        assert app.desk.query_one("#find").value == "x"

    stage.play(story, opens="shipped:TIDE", port="")


def test_what_is_typed_behind_a_key_waits_for_the_screen_that_it_opens(
    stage: Any, wait: Any
) -> None:
    """A name typed before the question for it is drawn is the answer."""

    async def story(pilot: Any, app: Any) -> None:
        feed(app, *(("1", "1"), ("0", "0"), ("space", " "), ("ctrl+s", None)))
        feed(app, *((one, one) for one in "lamp"), ("enter", None), ("2", "2"))
        await wait(pilot, lambda: "Kept as LAMP@1." in app.said)
        await wait(pilot, lambda: app.desk.editor.text == "10 2")

    stage.play(story, port="")


def test_bunches_of_keys_are_typed_in_order_and_in_their_place(stage: Any, wait: Any) -> None:
    """Seeded bursts: letters for the listing, letters for the search, in one read each."""
    choose = random.Random(18)

    async def story(pilot: Any, app: Any) -> None:
        find = app.desk.query_one("#find")
        typed = ""
        for _ in range(60):
            here = "".join(choose.choice("ABCDEF") for _ in range(choose.randrange(6)))
            there = "".join(choose.choice("uvwxyz") for _ in range(1 + choose.randrange(5)))
            typed += here
            letters = [(one.lower(), one) for one in here]
            feed(app, *letters, ("ctrl+f", None), *((one, one) for one in there))
            await wait(pilot, lambda there=there: find.value == there)
            assert app.desk.editor.text == typed
            feed(app, ("escape", None), ("escape", None))
            await wait(pilot, lambda: app.focused is app.desk.editor)
            await pilot.press("ctrl+end")

    stage.play(story, port="")


def test_a_paste_behind_a_key_waits_as_what_is_typed_does(stage: Any, wait: Any) -> None:
    """A letter, a paste and a letter for a question that is not drawn yet come in their order."""

    async def story(pilot: Any, app: Any) -> None:
        app.post_message(Key("ctrl+o", None))
        app.post_message(Key("a", "a"))
        app.post_message(Paste("b"))
        app.post_message(Key("c", "c"))
        await wait(pilot, lambda: app.screen.query(Input) and app.screen.query_one(Input).value)
        await wait(pilot, lambda: len(app.screen.query_one(Input).value) == 3)
        assert app.screen.query_one(Input).value == "abc"

    stage.play(story, port="")


def test_a_letter_behind_the_down_key_goes_to_where_that_leads(stage: Any, wait: Any) -> None:
    """Down leaves the line to search by for the list below it."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("ctrl+f", "t")
        feed(app, ("down", None), ("x", "x"))
        await wait(pilot, lambda: app.focused is not app.desk.query_one("#find"))
        await pilot.pause()
        assert app.desk.query_one("#find").value == "t"

    stage.play(story, port="")
