"""Reviewing is quick enough to run at every key press, and grows in step with the listing.

Times are of this process alone (CPU time), the best of several runs, so that a busy machine does
not decide.
"""

from __future__ import annotations

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


def best(work: Callable[[], object], runs: int) -> float:
    """The shortest CPU time of several runs, in seconds."""
    times: list[float] = []
    for _ in range(runs):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def test_reviewing_a_full_program_takes_less_than_5_ms():
    """A program of about 999 bytes is parsed, measured and reviewed in under 5 ms."""
    rules = Rules(language=LANGUAGE, storage=Storage(kind="tokens"))
    text = program(58)
    assert 940 < review(Listing.from_text(text), Rules(language=LANGUAGE)).ledger.total <= 999
    assert best(lambda: review(Listing.from_text(text), rules), 20) < 0.005


def test_time_grows_in_step_with_the_listing():
    """Ten times the lines take ten times the time; 20 times would betray a square."""
    form = Form(case="upper", spacing="free")
    rules = Rules(form=form, language=LANGUAGE, storage=Storage(kind="tokens"))

    def work(text: str) -> None:
        mended = mend(text, rules)
        listing = Listing.from_text(mended.text)
        assert not [f for f in review(listing, rules).findings if f.rule != "does-not-fit"]
        canonical(listing, rules)

    small, large = program(1_000), program(10_000)
    assert best(lambda: work(large), 2) < 20 * best(lambda: work(small), 4)


def test_rubbish_does_not_make_mending_slow():
    """Texts made to trip patterns up, 50,000 characters each, are each mended in under 2 s."""
    size = 50_000
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
        assert best(lambda text=text: mend(text, Rules(language=LANGUAGE)), 1) < 2, repr(piece)
