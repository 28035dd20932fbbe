"""Keys as real terminals send them, which is not how a test presses them."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import pytest
from textual._xterm_parser import XTermParser
from textual.binding import Binding
from textual.events import Key, Paste
from textual.message import Message
from textual.widgets import Input

from hostlink.app.actions.app_actions import EVERYWHERE
from hostlink.app.actions.table import ACTIONS, BY_ID, BY_LETTER
from hostlink.app.desk.desk import Desk
from hostlink.app.escape_keys import separate_escapes, separated
from hostlink.app.screens.findings import FindingsScreen
from hostlink.app.screens.palette import Help
from hostlink.app.screens.settings import SettingsScreen
from hostlink.app.screens.words_line import WordsLine, words_in_line, words_that_fit

PLACES = ("editor", "programs", "find", "console-line", "transcript")


def read_at_once(text: str) -> Iterator[Message]:
    """What Textual makes of characters that a terminal delivers in one read."""
    separate_escapes()
    parser = XTermParser()
    yield from parser.feed(text)
    yield from parser.feed("")


def keys_of(text: str) -> list[Key]:
    """The keys in one read, as the app takes them."""
    events = [event for event in read_at_once(text) if isinstance(event, Key)]
    return [key for event in events for key in separated(event)]


def feed(app: Any, text: str) -> None:
    """Give the app characters in one read, as a slow line or a busy terminal does."""
    for event in read_at_once(text):
        app.post_message(event)


@pytest.mark.parametrize("code", [9, 12, 13, *range(32, 127)])
def test_escape_and_a_key_in_one_read_are_two_keys(code: int) -> None:
    """Whatever the second is, except what begins a terminal's own sequences (ECMA-48, 5.3)."""
    character = chr(code)
    keys = keys_of(f"\x1b{character}")
    if character not in "[O]P_^X":
        (alone,) = keys_of(character)
        assert [key.key for key in keys] == ["escape", alone.key]
        assert keys[1].character in (alone.character, None)
        assert not alone.is_printable or keys[1].character == character


@pytest.mark.parametrize("sent", ["1;:u", "97:65;5u", "1;1:3A", "1114112;1u", "9" * 20 + ";1u"])
def test_a_key_report_that_cannot_be_read_is_ignored(sent: str) -> None:
    """Nothing of it is typed, and the key after it counts."""
    assert [key.key for key in keys_of(f"\x1b[{sent}x")] == ["x"]


@pytest.mark.parametrize(
    ("sent", "keys"),
    [
        ("\x1b[108;3u", [("escape", "\x1b"), ("l", "l")]),
        ("\x1b[44;3u", [("escape", "\x1b"), ("comma", ",")]),
        ("\x1b[1;3D", [("alt+left", None)]),
        ("\x1b[108;5u", [("ctrl+l", None)]),
    ],
)
def test_alt_and_a_character_in_a_newer_protocol_are_two_keys_too(
    sent: str, keys: list[tuple[str, str | None]]
) -> None:
    """Some terminals name the modifier: CSI code ; modifiers u. Other keys stay as they are."""
    assert [(key.key, key.character) for key in keys_of(sent)] == keys


def test_every_action_of_the_desk_has_a_name_of_its_own_and_works(stage: Any) -> None:
    """Settings can name it, and what it leads to is there: each opens, says or moves something."""
    assert len(BY_ID) == len(ACTIONS) + len(EVERYWHERE)

    unseen = ("new", "select-all", "undo", "redo", "plot")  # where the listing is empty

    async def story(pilot: Any, app: Any) -> None:
        def seen() -> tuple[object, ...]:
            classes = frozenset(app.desk.classes)
            return len(app.said), len(app.screen_stack), app.focused, classes

        for action in ACTIONS:
            before = seen()
            await app.run_action(action.binding.action, default_namespace=app.desk)
            await pilot.pause()
            assert seen() != before or action.id in unseen, action.id
            while app.screen is not app.desk:
                app.pop_screen()
                await pilot.pause()
            app.set_focus(None)

    stage.play(story, port="")


def test_each_word_has_a_letter_of_its_own_that_stands_in_it() -> None:
    """One letter means one action, it can be marked, and nothing has a letter but no word."""
    worded = [action for action in BY_ID.values() if action.word or action.letter]
    assert len({action.letter for action in worded}) == len(worded)
    assert all(action.letter in action.word for action in worded)
    assert not {"alt"} & {part for action in BY_ID.values() for part in action.key.split("+")}


def test_no_key_is_one_that_terminals_or_programs_around_them_take() -> None:
    """Those of tmux and screen, those that are other keys, those that editors' terminals keep."""
    taken = {f"ctrl+{letter}" for letter in "abefhijkmnpw"}
    assert not {action.key for action in BY_ID.values()} & taken


def test_no_key_of_the_desk_is_taken_by_a_line_to_type_in(stage: Any) -> None:
    """In the editor, the line to find by and the console's, each key does what the desk says."""

    async def story(pilot: Any, app: Any) -> None:
        keys = [each.key for each in Desk.BINDINGS if isinstance(each, Binding)]
        for place in PLACES:
            await go_to(pilot, app, place)
            active = app.screen.active_bindings
            assert {key: active[key].node for key in keys} == dict.fromkeys(keys, app.desk), place

    stage.play(story, opens="shipped:TIDE")


async def go_to(pilot: Any, app: Any, place: str) -> None:
    """Give a widget of the desk the focus."""
    app.desk.show_band("console" if place in ("console-line", "transcript") else "shelf")
    await pilot.pause()
    wanted = app.desk.editor if place == "editor" else app.desk.query_one(f"#{place}")
    wanted.focus()
    await pilot.pause()
    assert app.focused is wanted


@pytest.mark.one_in(3)
@pytest.mark.parametrize("place", PLACES)
def test_escape_and_a_letter_do_what_the_word_says_wherever_one_is(
    stage: Any, wait: Any, place: str
) -> None:
    """One after the other or in one read, with small letters or capitals; nothing is typed."""

    async def story(pilot: Any, app: Any) -> None:
        before = app.desk.editor.text
        await go_to(pilot, app, place)
        for at_once in (False, True):
            for letter in ("i", "I"):
                if at_once:
                    feed(app, f"\x1b{letter}")
                else:
                    await pilot.press("escape")
                    assert isinstance(app.screen, WordsLine)
                    await pilot.press(letter)
                await wait(pilot, lambda: isinstance(app.screen, FindingsScreen))
                await pilot.press("escape")
                await wait(pilot, lambda: app.screen is app.desk)
        assert app.desk.editor.text == before
        assert not app.desk.query_one("#find").value
        assert not app.desk.query_one("#console-line").value

    stage.play(story, opens="shipped:TIDE", port="")


@pytest.mark.one_in(4)
@pytest.mark.parametrize("key", ["j", "b", "1", "space", "enter", "up", "tab", "ctrl+y"])
def test_a_key_that_means_nothing_closes_the_words_and_types_nothing(stage: Any, key: str) -> None:
    """The listing is as before, and the focus where it was."""

    async def story(pilot: Any, app: Any) -> None:
        before = app.desk.editor.text
        await pilot.press("escape", key)
        await pilot.pause()
        assert app.screen is app.desk
        assert app.focused is app.desk.editor
        assert app.desk.editor.text == before

    stage.play(story, opens="shipped:TIDE", port="")


def test_escape_twice_goes_to_the_listing_from_anywhere(stage: Any) -> None:
    """A search that was begun has ended then."""

    async def story(pilot: Any, app: Any) -> None:
        for place in PLACES:
            await go_to(pilot, app, place)
            if place == "find":
                await pilot.press("x")
            await pilot.press("escape", "escape")
            await pilot.pause()
            assert app.focused is app.desk.editor
            assert not app.desk.query_one("#find").value

    stage.play(story, port="")


def test_a_key_with_ctrl_works_while_the_words_are_shown(stage: Any, wait: Any) -> None:
    """It does what it always does, and the line is closed."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape", "ctrl+t")
        await wait(pilot, lambda: app.focused is app.desk.query_one("#console-line"))
        await pilot.press("escape", "f1")
        await wait(pilot, lambda: isinstance(app.screen, Help))

    stage.play(story, port="")


def test_a_second_key_that_comes_too_late_does_nothing(stage: Any, wait: Any) -> None:
    """Two keys may reach the line on a busy computer; the first one counts."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape")
        for letter in "iq":
            app.screen.post_message(Key(letter, letter))
        await wait(pilot, lambda: isinstance(app.screen, FindingsScreen))

    stage.play(story, opens="shipped:TIDE", port="")


def test_a_paste_while_the_words_are_shown_goes_to_the_listing(stage: Any, wait: Any) -> None:
    """It is not lost with the line."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape")
        app.post_message(Paste("10 END"))
        await wait(pilot, lambda: app.desk.editor.text == "10 END")

    stage.play(story, port="")


@pytest.mark.parametrize("width", [38, 58, 78, 118, 198])
def test_as_many_words_are_shown_as_fit_and_always_the_palette(width: int) -> None:
    """Groups stay together, each has its first word before another has its second."""
    shown = words_that_fit(width)
    assert len(words_in_line(shown)) <= width
    assert BY_ID["every-action"] in shown
    assert {action.id for action in shown} >= {"load", "keep"}
    assert width < 198 or {action.id for action in shown} == {
        action.id for action in BY_LETTER.values()
    }


def test_a_word_is_done_by_a_click_and_a_click_elsewhere_closes(
    stage: Any, wait: Any, shown: Any
) -> None:
    """The words at the bottom row of the screen, where they are read."""

    async def story(pilot: Any, app: Any) -> None:
        await pilot.press("escape")
        row = shown(app).split("\n")[-1]
        await pilot.click(offset=(row.index("review") + 2, 23))
        await wait(pilot, lambda: isinstance(app.screen, FindingsScreen))
        await pilot.press("escape", "escape")
        await wait(pilot, lambda: isinstance(app.screen, WordsLine))
        await pilot.click(offset=(5, 8))
        await wait(pilot, lambda: app.screen is app.desk)

    stage.play(story, opens="shipped:TIDE", port="")


def test_what_may_be_alt_and_a_letter_is_not_typed_when_it_closes_a_screen(
    stage: Any, wait: Any
) -> None:
    """In front of the desk Escape goes back; a letter behind it is told, not typed. A digit is."""

    async def story(pilot: Any, app: Any) -> None:
        before = app.desk.editor.text
        app.desk.screens.settings()
        await wait(pilot, lambda: isinstance(app.screen, SettingsScreen))
        feed(app, "\x1bl")
        await wait(pilot, lambda: "Escape and l came as one key; l was not typed." in app.said)
        assert app.screen is app.desk
        assert app.desk.editor.text == before
        app.desk.screens.settings()
        await wait(pilot, lambda: isinstance(app.screen, SettingsScreen))
        feed(app, "\x1b5 ")
        await wait(pilot, lambda: app.desk.editor.text == f"5 {before}")

    stage.play(story, opens="shipped:TIDE", port="")


def test_a_character_that_the_board_lacks_is_not_typed(stage: Any, wait: Any) -> None:
    """Alt and l in a stock xterm is an i with a grave accent, in UTF-8; it is told."""

    async def story(pilot: Any, app: Any) -> None:
        feed(app, f"10 REM {chr(ord('l') | 0x80)}x")
        await wait(pilot, lambda: app.desk.editor.text == "10 REM x")
        assert "The board has no ì (U+00EC); it was not typed." in app.said[-1]

    stage.play(story, port="")


def test_what_is_typed_behind_a_key_goes_where_that_key_leads(stage: Any, wait: Any) -> None:
    """Escape, a and a word in one read: the word is searched for, and not in the listing."""

    async def story(pilot: Any, app: Any) -> None:
        before = app.desk.editor.text
        feed(app, "\x1batide\x1bax")
        await wait(pilot, lambda: app.desk.query_one("#find").value == "tidex")
        assert app.desk.editor.text == before

    stage.play(story, opens="shipped:TIDE", port="")


def test_what_is_typed_behind_a_key_waits_for_the_screen_that_it_opens(
    stage: Any, wait: Any
) -> None:
    """A name typed before the question for it is drawn is the answer."""

    async def story(pilot: Any, app: Any) -> None:
        feed(app, "10 \x13lamp\r2")
        await wait(pilot, lambda: "Kept as LAMP@1." in app.said)
        await wait(pilot, lambda: app.desk.editor.text == "10 2")

    stage.play(story, port="")


@pytest.mark.slow
def test_bunches_of_keys_are_typed_in_order_and_in_their_place(stage: Any, wait: Any) -> None:
    """Seeded bursts in one read each: letters for the listing, for the search, for the console.

    scripts/bench.py app tries 1,000.
    """
    choose = random.Random(18)

    async def story(pilot: Any, app: Any) -> None:
        await try_bunches(pilot, app, choose, 25, wait)

    stage.play(story, port="")


async def try_bunches(pilot: Any, app: Any, choose: random.Random, count: int, wait: Any) -> None:
    """Feed bunches, and see after each what stands in listing, search and console."""
    lines = {name: app.desk.query_one(f"#{name}", Input) for name in ("find", "console-line")}
    ways = {"find": "\x1ba", "console-line": "\x1bc"}
    typed = ""
    for _ in range(count):
        here = "".join(choose.choice("ABCDEF 0123456789") for _ in range(choose.randrange(9)))
        there = "".join(choose.choice("uvwxyz0123456789") for _ in range(1 + choose.randrange(9)))
        place = choose.choice(tuple(ways))
        typed += here
        feed(app, f"{here}{ways[place]}{there}")
        await wait(pilot, lambda place=place, there=there: lines[place].value == there)
        assert app.desk.editor.text == typed
        lines[place].value = ""
        feed(app, "\x1b\x1b")
        await wait(pilot, lambda: app.focused is app.desk.editor)


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
        await pilot.press("escape", "a", "t")
        feed(app, "\x1b[Bx")
        await wait(pilot, lambda: app.focused is not app.desk.query_one("#find"))
        await pilot.pause()
        assert app.desk.query_one("#find").value == "t"

    stage.play(story, port="")
