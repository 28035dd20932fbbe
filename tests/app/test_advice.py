"""What the jobs advise in commands is told in the app's keys."""

from __future__ import annotations

import ast
import dataclasses
import re
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import hostlink
from hostlink.advice import Advice, advice_text, join_advice
from hostlink.app.actions.action import key_words
from hostlink.app.actions.table import ACTIONS
from hostlink.app.screens.dialogues import ErrorDialogue
from hostlink.app.ways import KEYS, shown_error
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import COMMANDS
from hostlink.errors import LinkError
from hostlink.jobs.run.run_errors import failure
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.link.running import End

SOURCE = Path(hostlink.__file__).parent


BELOW = ("jobs", "board", "link", "archive", "firmware", "listing", "publish", "practice")


def texts() -> Iterator[tuple[str, str]]:
    """Each string in the source of the layers below that is no docstring, with its file."""
    for folder in BELOW:
        for path in (SOURCE / folder).rglob("*.py"):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            apart = {
                id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)
            }  # docstrings
            for node in ast.walk(tree):
                is_text = isinstance(node, ast.Constant) and isinstance(node.value, str)
                if is_text and id(node) not in apart:
                    yield path.name, node.value


def test_no_layer_below_names_a_command_or_an_option() -> None:
    """They say what helps; by which command or key is the interfaces' own matter."""
    # Pages, for whoever types from them.
    paper = (
        "page.py",
        "program.py",
        "sheet.py",
        "site.py",
        "booklet.py",
        "card.py",
        "class_page.py",
    )
    found = [
        (name, text)
        for name, text in texts()
        if name not in paper and re.search(r"`hostlink |(?<![-\w])--[a-z]{2,}", text)
    ]
    assert found == []


def test_each_key_that_is_advised_does_something() -> None:
    """Every key in the app's table of ways is one of its actions."""
    keys = {key_words(action.key) for action in ACTIONS}
    letters = {action.letter.upper() for action in ACTIONS if action.letter}
    for field in dataclasses.fields(KEYS):
        way = getattr(KEYS, field.name)
        said = way if isinstance(way, str) else way(*["x"] * way.__code__.co_argcount)
        assert "Alt" not in said
        for chord in re.findall(r"(?:Ctrl)\+[A-Z]", said):
            assert chord in keys, (field.name, chord)
        for letter in re.findall(r"Escape, then ([A-Z])", said):
            assert letter in letters, (field.name, letter)
        for words in re.findall("“([^”]+)”", said):
            assert words in {action.words for action in ACTIONS}, (field.name, words)


def test_what_the_app_has_no_key_for_is_said_to_be_a_command() -> None:
    """It can be typed in a terminal; the app takes its archive's file from the environment."""
    assert KEYS.say_chip.startswith("at the command line, with")
    assert KEYS.name_archive.startswith("with HOSTLINK_ARCHIVE")


def test_an_advice_is_told_in_the_terms_of_who_tells_it() -> None:
    """In commands, in keys, and without either where nobody knows who reads it."""
    advice: Advice = lambda by: f"List the ports {by.ports}, or load it {by.load('T@1')}."  # noqa: E731
    assert advice_text(advice, COMMANDS) == (
        "List the ports with `hostlink boards`, or load it with `hostlink load T@1`."
    )
    assert (
        advice_text(advice, KEYS)
        == "List the ports with Escape, then D, or load it with Ctrl+O, as T@1, then Ctrl+L."
    )
    assert advice_text(advice) == "List the ports, or load it."
    assert advice_text(join_advice("First.", "", advice)) == "First. List the ports, or load it."
    assert join_advice("One.", "Two.") == "One. Two."


def test_a_silent_board_is_told_with_keys(stage: Any, wait: Any, shown: Any) -> None:
    """Nothing comes back at any speed: the app says which key measures a board."""
    silent = "practice://x?time=virtual&stall_every_bytes=1&stall_s=100000"
    choice = LinkChoice(silent, find_profile("practice"), 1200)
    with pytest.raises(LinkError) as caught, open_session(choice, lambda _: None) as session:
        session.attach()
    assert "--baud" in caught.value.words(COMMANDS)
    error = shown_error(caught.value)
    assert "--" not in error.words()
    assert "Escape, then D, then S" in error.words()

    async def story(pilot: Any, app: Any) -> None:
        app.show_error(caught.value)
        await wait(pilot, lambda: isinstance(app.screen, ErrorDialogue))
        assert "Escape, then D, then S" in " ".join(shown(app).replace("│", " ").split())

    stage.play(story, port="")


@pytest.mark.parametrize(
    ("end", "words"),
    [
        (End.UNANSWERED, "in the file with its answers, or in the console after F9."),
        (End.LATE, "or more time with F2"),
    ],
)
def test_a_run_that_did_not_end_is_advised_in_keys(end: End, words: str) -> None:
    """No pipe and no option: the app has a file of answers, a limit in seconds, and a console."""
    core: Any = SimpleNamespace(end=end, row=b"HOW MANY?", is_quiet=True)
    advice = advice_text(failure(core, "RUN", 5.0, "latin-1", "It was stopped.").advice, KEYS)
    assert words in advice
    assert "pipe" not in advice
