"""The shipped damaged listings, as pages, mail and forums leave them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from hostlink.listing.mending.mend import mend
from hostlink.listing.rules import Rules


def _read(folder: Path, name: str) -> str:
    return (folder / name).read_bytes().decode("utf-8")


@pytest.mark.parametrize("rules", [None, Rules()], ids=["board-unknown", "board-known"])
def test_mend_gives_the_clean_program_back(
    damaged: dict[str, Any], folder: Path, rules: Rules | None
) -> None:
    """Mending gives exactly the shipped program, every repair reported, nothing left in doubt."""
    clean = _read(folder, damaged["clean"])
    source = _read(folder, damaged["file"])
    mended = mend(source, rules)
    assert mended.text.splitlines() == clean.splitlines()
    assert mended.text == clean != source
    assert mended.doubts == ()
    assert mended.mends


def test_damage_is_described(damaged: dict[str, Any]) -> None:
    """Every damaged listing says in a sentence what happened to it."""
    assert damaged["damage"].endswith(".")
    assert set(damaged) == {"file", "clean", "damage"}


def test_the_damaged_listings_show_every_damage(index: dict[str, Any], folder: Path) -> None:
    """Together they show the damages that people meet, each found and repaired by mend."""
    kinds = {
        mend_.kind
        for table in index["damaged"]
        for mend_ in mend(_read(folder, table["file"])).mends
    }
    assert kinds >= {
        "typographic-quote",
        "typographic-dash",
        "typographic-sign",
        "unusual-blank",
        "html-entity",
        "html-tag",
        "reply-mark",
        "text-around-listing",
        "doubled-number",
        "wrapped-line",
        "list-bullet",
        "tab",
        "trailing-blank",
    }
