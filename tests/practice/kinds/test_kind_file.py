"""Kinds as files: each can be read, each fault is named, and nothing is lost on the way back."""

from __future__ import annotations

import dataclasses
import json
from importlib.resources import files

import pytest

from hostlink.errors import UsageError
from hostlink.practice.complaint import Reason
from hostlink.practice.kind import ERRORS, WORDS, BoardKind, Messages
from hostlink.practice.kind_file import (
    find_kind,
    kind_from_data,
    kind_names,
    kind_to_data,
    read_kind,
)


def test_the_kinds_are_there_and_each_says_what_it_is() -> None:
    """Each is named as its file, has a title of its own, and says where its values are from."""
    assert kind_names()[0] == "practice"
    kinds = [find_kind(name) for name in kind_names()]
    assert [kind.name for kind in kinds] == kind_names()
    assert len({kind.title for kind in kinds}) == len(kinds)
    assert all(kind.title and kind.about and kind.source for kind in kinds)


def test_kinds_are_data_alone() -> None:
    """The folder holds files of values and no code."""
    folder = files("hostlink.practice").joinpath("kinds")
    assert all(each.name.endswith(".toml") for each in folder.iterdir())


def test_the_practice_board_is_what_nothing_else_is_said_of() -> None:
    """Its file changes no manner: they are the defaults."""
    own, plain = find_kind("practice"), BoardKind()
    words = ("title", "about", "source")
    assert dataclasses.replace(own, **{key: getattr(plain, key) for key in words}) == plain


@pytest.mark.parametrize("name", kind_names())
def test_a_kind_survives_the_way_through_json(name: str) -> None:
    """As it is kept beside a board of that kind."""
    kind = find_kind(name)
    assert kind_from_data(name, json.loads(json.dumps(kind_to_data(kind)))) == kind


def test_every_complaint_has_words_on_the_practice_board() -> None:
    """And every statement has an entry for its words."""
    assert {reason for reason, _ in ERRORS} == set(Reason)
    assert len({meaning for meaning, _ in WORDS}) == len(WORDS)


def test_an_unknown_kind_is_told_with_the_known_ones() -> None:
    """So that a slip can be seen."""
    with pytest.raises(UsageError, match='called "kapital"') as caught:
        find_kind("kapital")
    assert "capital" in caught.value.advice
    with pytest.raises(UsageError):
        find_kind("../kinds/capital")


@pytest.mark.parametrize(
    ("toml", "says"),
    [
        ("[board", "not TOML"),
        ('title = "x"', r"no table \[title\]"),
        ("board = 1", r"board must be a table"),
        ("[speed]", r"no table \[speed\]"),
        ("[board]\ntitle = 1", "must be text"),
        ("[talk]\nbauds = 1", r"\[talk\] has no key bauds"),
        ('[talk]\nbaud = "fast"', "whole number"),
        ("[talk]\nbaud = true", "whole number"),
        ("[talk]\nbaud = 1.5", "whole number"),
        ("[talk]\nreceive_buffer = -1", "0 to"),
        ("[talk]\nbaud = 3", "must be 50 or more"),
        ("[talk]\nline_ms = -1", "from 0 to"),
        ("[talk]\nline_ms = nan", "from 0 to"),
        ('[talk]\nline_ms = "1"', "must be a number"),
        ("[talk]\necho = 1", "must be true or false"),
        ('[talk]\nline_end = ""', "cannot be empty"),
        ('[talk]\nprompt = "\u20ac"', "above 255"),
        ('[talk]\ntoo_long = "rings"', "dropped or ends or gives-up"),
        ('[storage]\ncase = "Upper"', "kept or statements or all"),
        ('[storage]\nkeywords = "LET"', "list of texts"),
        ('[storage]\nkeywords = ["LET"]', 'for the form "tokens"'),
        ('[storage]\nblanks = "squeezed"', 'with the form "tokens" only'),
        ("[storage]\nfirst_line = 9\nlast_line = 3", "in this order"),
        ("[storage]\nlast_line = 70000", "from 0 to 65535"),
        ('[storage]\nrow = "{text}"', r"row must hold \{number\} and \{text\}"),
        ('[storage]\nrow = "{number:x>5} {text}"', "row must hold"),
        ("[storage]\nrow_width = 5", "20 or more"),
        ('[storage]\nform = "tokens"\ntoken_bytes = { LET = "x" }', "token_bytes of LET"),
        ("[storage]\ntoken_bytes = 3", "table of word to bytes"),
        ('[messages]\ngreeting = "{name}"', r"may hold \{end\}, \{free\}, .* and not \{name\}"),
        ('[messages]\ngreeting = "{free"', "cannot be read"),
        ('[messages]\ngreeting = "{free!r}"', "only without a format"),
        ('[messages]\ndone_after = ["LIST"]', "done_after knows no LIST"),
        ('[messages]\nerrors = "x"', "has no key errors"),
        ('[errors]\nrange = "x"', "must have the key puzzled"),
        ('[errors]\npuzzled = "{missing}"', r"and not \{missing\}"),
        ('[errors]\nwrong = "x"', r"\[errors\] has no key wrong"),
        ('[words]\nlist = "LIST"', "list of texts"),
        ("[words]\nlist = []", "list must have a word"),
        ("[words]\nstore = []", "store must have a word"),
        ('[words]\ncat = ["CAT"]', r"\[words\] has no key cat"),
        ('[language]\nfree = "size?"', "free must be like"),
        ('[eeprom]\nslots = "two"', "named or one or none"),
    ],
)
def test_what_makes_no_sense_is_named(toml: str, says: str) -> None:
    """Each slip is told with its table and key."""
    with pytest.raises(UsageError, match=says) as caught:
        read_kind(toml, "red")
    assert 'kind of practice board "red"' in caught.value.what


@pytest.mark.parametrize(
    "name", [each.name for each in dataclasses.fields(Messages) if each.type == "str"]
)
def test_every_message_names_only_fields_that_it_has(name: str) -> None:
    """One with another field could not be said; the mark is no template and may be any text."""
    toml = f'[messages]\n{name} = "{{other}}"'
    if name == "mark":
        assert read_kind(toml, "red").messages.mark == "{other}"
        return
    with pytest.raises(UsageError, match=rf"{name} may hold .* and not \{{other\}}"):
        read_kind(toml, "red")


def test_all_faults_are_told_at_once() -> None:
    """Nobody mends a file one message at a time."""
    with pytest.raises(UsageError) as caught:
        read_kind('[talk]\nbauds = 1\n[storage]\ncase = "x"\n[words]\nrun = []', "red")
    for part in ("bauds", "case", "run must have a word"):
        assert part in caught.value.what
