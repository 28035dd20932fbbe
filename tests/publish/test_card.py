"""The card of a board: everything the profile knows that a user at the keyboard needs."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.publish.card import card
from hostlink.publish.page import key_name

SHIPPED = ("practice", "tiny", "palo-alto", "ecma-55")


@pytest.mark.parametrize("name", SHIPPED)
def test_a_card_names_every_word_limit_and_command(name: str) -> None:
    """All statements, functions, commands, messages, and the limits, for each shipped profile."""
    profile = find_profile(name)
    body = card(profile).split("<body>")[1]
    text = " ".join(html.unescape(re.sub("<[^>]*>", " ", body)).split())
    rules = profile.rules
    for word in (
        *rules.language.statements,
        *rules.language.functions,
        *(word.strip() for word in profile.commands.error_words),
        profile.commands.list,
        profile.commands.free_memory,
        "no limit known" if name == "ecma-55" else f"{rules.language.largest_number:,}",
        f"{rules.form.last_line:,}",
        f"{profile.talk.baud} baud",
    ):
        assert word in text, word


def test_a_card_warns_where_opening_the_port_loses_the_program() -> None:
    """A board that restarts when the port is opened says so on its card, with the caution."""
    assert "a restart loses the program" in card(find_profile("tiny"))
    assert "a restart loses the program" not in card(find_profile("practice"))


def test_a_card_tells_of_capitals_in_remarks_and_of_a_stored_program() -> None:
    """In remarks too on one kind of board, whose stored program has no name."""
    told = " ".join(html.unescape(re.sub("<[^>]*>", " ", card(find_profile("capital")))).split())
    assert "small letters become capitals outside quoted text Limits" in told
    assert "what is stored ELIST" in told
    assert "become capitals outside quoted text and remarks" in card(find_profile("token"))


def test_hostile_text_in_a_profile_stays_text() -> None:
    """A profile may come from anybody."""
    bad = "<script>alert(1)</script>"
    profile = find_profile("practice")
    commands = replace(profile.commands, run=bad, error_words=(bad,))
    page = card(replace(profile, title=bad, about=bad, commands=commands))
    assert "<script" not in page
    assert page.count("&lt;script&gt;") >= 4


@pytest.mark.parametrize(
    ("key", "name"),
    [
        (b"\x03", "Ctrl+C"),
        (b"\x15", "Ctrl+U"),
        (b"\x08", "Backspace"),
        (b"\x7f", "Delete (7F hex)"),
        (b"\x1b", "Escape"),
        (b"}", "}"),
        (b"\x1bA", "Escape then A"),
        (b" ", "the blank"),
    ],
)
def test_keys_are_named_as_people_press_them(key: bytes, name: str) -> None:
    """Control codes 1 to 26 are Ctrl and a letter (ECMA-48; common practice for keyboards)."""
    assert key_name(key) == name
