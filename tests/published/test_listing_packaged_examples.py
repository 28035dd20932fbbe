"""Listings that others wrote: the line-numbered examples of the Debian package bwbasic.

Read where they are installed (/usr/share/doc/bwbasic/examples). Without them the tests are skipped
with the reason, or fail where HOSTLINK_CI is 1.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import pytest

from hostlink.listing import (
    Form,
    Language,
    Listing,
    Rules,
    canonical,
    compare,
    decode_listing,
    mend,
    review,
)

EXAMPLES = Path("/usr/share/doc/bwbasic/examples")
RULES = Rules(
    form=Form(last_line=32766, longest_line=0, characters=((9, 9), (32, 126))),
    language=Language(
        statements=(
            *("PRINT", "INPUT", "LET", "IF", "FOR", "TO", "NEXT", "ON", "ERROR", "END"),
            *("DIM", "DATA", "READ", "RETURN", "STOP", "DEF"),
        ),
        remarks=("REM", "'"),
        separator=":",
        long_names=True,
    ),
)


@pytest.fixture(scope="module")
def examples(lacking: Callable[[str], NoReturn]) -> dict[str, str]:
    """Name to text of every example whose rows all begin with a line number."""
    if not EXAMPLES.is_dir():
        lacking(f"the package bwbasic is not installed: there is no {EXAMPLES}")
    texts = {
        path.name: decode_listing(path.read_bytes(), name=path.name, charset="latin-1")
        for path in sorted(EXAMPLES.glob("*.bas"))
    }
    numbered = {
        name: text
        for name, text in texts.items()
        if all(line.number is not None for line in Listing.from_text(text))
    }
    assert len(numbered) >= 15, sorted(numbered)
    return numbered


def test_numbered_examples_have_no_errors_but_those_that_are_there(
    examples: dict[str, str],
) -> None:
    """Programs that run on the interpreter they were written for are sound to the review."""
    found = {
        (name, finding.rule, finding.message)
        for name, text in examples.items()
        for finding in review(Listing.from_text(text), RULES).findings
        if finding.rule != "does-not-fit"
    }
    assert found == set()


def test_numbered_examples_need_no_mending(examples: dict[str, str]) -> None:
    """What is no damage is not repaired: only line ends, tabs and blanks at the end may change."""
    harmless = {"line-end", "tab", "trailing-blank", "end-of-file-mark"}
    for name, text in examples.items():
        mended = mend(text, RULES)
        assert {m.kind for m in mended.mends} <= harmless, name
        rows = [row.split() for row in text.replace("\x1a", "").splitlines()]
        assert [row.split() for row in mended.text.splitlines()] == rows, name


def test_numbered_examples_survive_the_round_trip(examples: dict[str, str]) -> None:
    """Parsed and written again they are the same, and their canonical form is its own."""
    for name, text in examples.items():
        listing = Listing.from_text(text)
        assert compare(listing, Listing.from_text(listing.text())).equal, name
        once = canonical(listing, RULES)
        assert canonical(Listing.from_text(once), RULES) == once, name


def test_an_example_pasted_through_a_forum_comes_back(examples: dict[str, str]) -> None:
    """Each example, escaped for the web, numbered by a page and quoted in a reply, is recovered."""
    for name, text in examples.items():
        sound = [row.rstrip() for row in text.splitlines() if row.strip()]
        if len(sound) < 2:
            continue
        pasted = [
            "> " + row.replace("&", "&amp;").replace("<", "&lt;").replace('"', "&quot;") + "<br>"
            for row in sound
        ]
        mended = mend("Look at this:\r\n\r\n" + "\r\n".join(pasted) + "\r\n", RULES)
        assert mended.text.splitlines() == sound, name
