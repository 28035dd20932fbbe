"""`practice --kinds`, and boards of a kind in other commands."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from hostlink.practice.kind_file import kind_names

Hostlink = Callable[..., Any]


def test_the_kinds_are_shown_as_a_table(hostlink: Hostlink) -> None:
    """Each kind with its title, and how a board of it is named."""
    done = hostlink("practice", "--kinds")
    assert done.status == 0
    rows = done.out.splitlines()
    assert rows[0].split() == ["kind", "title"]
    assert [row.split()[0] for row in rows[1:]] == kind_names()
    assert "practice://NAME?kind=KIND" in done.err


def test_the_kinds_are_a_list_of_objects_in_json(hostlink: Hostlink) -> None:
    """With the name and the title of each."""
    done = hostlink("practice", "--kinds", "--json")
    kinds = json.loads(done.out)
    assert [kind["kind"] for kind in kinds] == kind_names()
    assert all(kind["title"] and kind["about"] for kind in kinds)
    assert done.err == ""


def test_an_unknown_kind_is_wrong_use(hostlink: Hostlink) -> None:
    """The message names the kinds there are."""
    done = hostlink("save", "TIDE", "--port", "practice://class?kind=kapital&time=virtual")
    assert done.status == 2
    assert "kapital" in done.err
    assert "capital" in done.err.split("Known:")[1]


def test_a_board_of_another_kind_is_refused(hostlink: Hostlink) -> None:
    """Two commands cannot take one board for two kinds; what to do is said."""
    assert hostlink("load", "hail", "--port", "practice://class?time=virtual").status == 0
    done = hostlink("load", "hail", "--port", "practice://class?kind=tiny&time=virtual")
    assert done.status == 1
    assert "is of the kind practice, not tiny" in done.err
    assert "practice://class?kind=tiny&fresh" in done.err
