"""Archive commands that a signal ends: they say what is whole, and leave no half file."""

from __future__ import annotations

import importlib
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.cli.stopping import Ended

# The place in the code at which the signal comes, and what is said to be whole.
STOPS = [
    (("prove",), "proof.damaged_rows", "Nothing that was kept has changed"),
    (("prove", "--rebuild"), "rebuilding._count_all", "Nothing that was kept has changed"),
    (
        ("duplicate", "copy.sqlite3"),
        "duplicate.flush_file",
        "There is no copy.sqlite3. The a",
    ),
    (("duplicate", "copy.sqlite3"), "duplicate.flush_folder", "copy.sqlite3 is whole and proven"),
    (
        ("duplicate", "plain.sqlite3"),
        "database.opening.find_access",
        "plain.sqlite3 was there before",
    ),
    (("export", "bag"), "exchange.bags.flush_tree", "There is no bag. The archive was not changed"),
    (("export", "bag"), "exchange.bags.flush_folder", "bag is whole and proven"),
    (("import", "plain.sqlite3"), "exchange.merging.count_revisions", "all of it or none"),
    (("import", "plain-bag"), "exchange.merging.put_listing", "all of it or none of it"),
]


@pytest.fixture
def filled(place: Path, hostlink: Callable) -> Path:
    """An archive, another one, and its export."""
    for name in ("archive", "plain"):
        with Archive.open(place / f"{name}.sqlite3") as archive:
            text = f"10 REM {name}\n"
            held = Content(text.encode(), text, text, "practice", "latin-1")
            archive.keep(name, held, Origin("file"))
    assert hostlink("archive", "export", "plain-bag", "--archive", "plain.sqlite3").status == 0
    return place


@pytest.mark.one_in(3)
@pytest.mark.parametrize(
    ("words", "at", "whole"), STOPS, ids=[f"{words[0]} {at}" for words, at, _ in STOPS]
)
def test_a_signal_ends_it_in_good_order(
    hostlink: Callable,
    filled: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    at: str,
    whole: str,
) -> None:
    """What is told is so: the archive is proven clean and holds what it held, a copy that was made
    is whole, and nothing half made stands beside it. Once more, the command does its work."""
    before = {path.name for path in filled.iterdir()}
    module, _, name = at.rpartition(".")

    def ended(*_: object, **__: object) -> None:
        raise Ended

    with monkeypatch.context() as patch:
        patch.setattr(importlib.import_module(f"hostlink.archive.{module}"), name, ended)
        told = hostlink("archive", *words)
    assert told.status == 130  # the process makes 143 of it for SIGTERM
    assert re.search(rf"was stopped\.\n.*{whole}", told.err), told.err
    new = {path.name for path in filled.iterdir() if "sqlite3-" not in path.name} - before
    assert new == ({words[1]} if "is whole" in whole else set())
    assert hostlink("archive", "prove").out.endswith("clean (1 program, 1 revision, 1 listing).\n")
    for path in new:
        assert hostlink("archive", "import", path, "--archive", "new.sqlite3").status == 0
    if not new and "there before" not in whole:
        assert hostlink("archive", *words).status == 0
