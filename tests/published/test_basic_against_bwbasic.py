"""The practice board's BASIC against the real bwbasic interpreter, where the languages agree.

What they do differently, and so is left out, is listed in tests/practice/generate.py.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable

import pytest
from basic_runs import run_program

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

PROGRAMS = 300
BATCH = 30


@pytest.mark.one_in(5)
@pytest.mark.parametrize("first", range(0, PROGRAMS, BATCH))
def test_generated_programs_print_the_same(
    first: int,
    make_program: Callable[[int], str],
    foreign_output: Callable[[str], list[str]],
    collapsed: Callable[[str], list[str]],
) -> None:
    """Each of 300 seeded programs prints on our interpreter what it prints on bwbasic."""
    for seed in range(first, first + BATCH):
        listing = make_program(seed)
        ours = collapsed(run_program(listing))
        assert ours, listing
        assert ours == foreign_output(listing), f"seed {seed}\n{listing}"


def test_generated_programs_use_the_whole_common_language(
    make_program: Callable[[int], str],
) -> None:
    """The 300 programs hold every statement and form that the comparison claims to cover."""
    listings = [make_program(seed) for seed in range(PROGRAMS)]
    words = Counter(re.findall(r"[A-Z]{2,}", "\n".join(listings)))
    for word in (
        *("PRINT", "LET", "IF", "THEN", "GOTO", "GOSUB", "RETURN"),
        *("FOR", "TO", "STEP", "NEXT", "END", "REM"),
    ):
        assert words[word] >= 200, word
    forms = {
        "unary minus": r"[=(,; ]-[(A-Z]",
        "brackets in brackets": r"\([^()\"]*\(",
        "nested FOR": r"FOR I=[^\n]*\n(?:(?!\d+ NEXT I).*\n)*?\d+ FOR J=",
        "a line of two statements": r"\d+ [A-Z]=[^\"\n]*: ",
        "a zone": r"PRINT [^\"\n]*,",
        "exact division": r"\*(\d)\)/\1",
    }
    for name, pattern in forms.items():
        assert sum(bool(re.search(pattern, listing)) for listing in listings) >= 30, name
    backward = sum(
        int(target) < int(number)
        for listing in listings
        for number, target in re.findall(r"^(\d+) IF.* THEN (\d+)$", listing, re.MULTILINE)
    )
    assert backward >= 100


LOOPS = """\
10 FOR I=1 TO 0
20 PRINT "ONCE";I
30 NEXT I
40 PRINT I
50 FOR I=3 TO 1 STEP -1
60 PRINT I
70 NEXT I
80 PRINT I
90 FOR I=1 TO 9 STEP 3
100 NEXT I
110 PRINT I
120 END
"""


def test_loops_test_at_their_end_and_pass_the_limit_by_one_step(
    foreign_output: Callable[[str], list[str]], collapsed: Callable[[str], list[str]]
) -> None:
    """A FOR body runs at least once, and the variable ends one step past the limit, on both."""
    ours = collapsed(run_program(LOOPS))
    assert ours == ["ONCE 1", "2", "3", "2", "1", "0", "10"]
    assert ours == foreign_output(LOOPS)


def test_a_false_condition_skips_the_rest_of_its_line(
    foreign_output: Callable[[str], list[str]], collapsed: Callable[[str], list[str]]
) -> None:
    """Statements after `:` belong to the IF before them, on both."""
    listing = '10 IF 1=2 THEN PRINT "A": PRINT "B"\n20 IF 1=1 THEN PRINT "C": PRINT "D"\n30 END\n'
    ours = collapsed(run_program(listing))
    assert ours == ["C", "D"]
    assert ours == foreign_output(listing)
