"""Work grows in step with the listing, and no text makes a pattern run away.

How long it takes is measured by scripts/bench.py; here calls are counted, which no busy computer
changes. A pattern that runs away takes minutes, which even a busy computer tells from a second.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import pytest

from hostlink.listing import Form, Language, Listing, Rules, Storage, canonical, mend, review

# Tracing is no part of the time that is measured.
pytestmark = pytest.mark.no_cover

LANGUAGE = Language(
    statements=("PRINT", "LET", "INPUT", "IF", "FOR", "TO", "NEXT", "RETURN", "END"),
    functions=("RND", "ABS", "ROOM"),
    separator=":",
)


def program(lines: int) -> str:
    """A listing of so many lines with texts, remarks and jumps, every target there."""
    kinds = ('PRINT "TIDE AT";A', "IF A<{n} THEN {n}", "REM ROUND THE BAY", "GOSUB {n}")
    rows = (f"{n} {kinds[n % 4].format(n=n)}" for n in range(1, lines + 1))
    return "\n".join(rows) + "\n"


def calls_of(work: Callable[[], object]) -> int:
    """How many functions, Python's own among them, are called by some work."""
    count = 0

    def note(_frame: object, event: str, _argument: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(note)
    try:
        work()
    finally:
        sys.setprofile(before)
    return count


def test_work_grows_in_step_with_the_listing():
    """Ten times the lines take ten times the calls; 20 times would betray a square."""
    form = Form(case="upper", spacing="free")
    rules = Rules(form=form, language=LANGUAGE, storage=Storage(kind="tokens"))

    def work(text: str) -> None:
        mended = mend(text, rules)
        listing = Listing.from_text(mended.text)
        assert not [f for f in review(listing, rules).findings if f.rule != "does-not-fit"]
        canonical(listing, rules)

    small, large = (
        calls_of(lambda text=text: work(text)) for text in (program(300), program(3_000))
    )
    assert small > 3_000  # the work was really counted
    assert large < 12 * small


@pytest.mark.one_in(2)
@pytest.mark.parametrize("size", [10_000, 50_000])
def test_rubbish_does_not_make_mending_slow(size: int) -> None:
    """Texts made to trip patterns up, of so many characters, are mended in seconds, not hours.

    Of this process alone (CPU time); each takes well under half a second.
    """
    for piece in (
        *(
            " ",
            "\t",
            ">",
            "> ",
            "- ",
            "<br>",
            "<br>1",
            "<",
            "&amp;",
            "&lt;",
            '"',
            '"\u00a0',
            "[/code]",
        ),
        *("A", "GO ", "1. ", "1\n", "10 A\nB\n", "“", "\u00ad", "x" * 40 + "\n", "10 A&lt;\n"),
    ):
        text = "10 " + piece * (size // len(piece)) + "\nx"
        began = time.process_time()
        mend(text, Rules(language=LANGUAGE))
        assert time.process_time() - began < size / 5_000, repr(piece)
