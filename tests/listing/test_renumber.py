"""Renumbering: every reference follows, nothing else changes, and what cannot be done is refused.

That renumbered programs run the same is shown in test_shrink_proof.py.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.errors import ListingError, RefusedError, UsageError
from hostlink.listing import Form, Language, Listing, Rules
from hostlink.listing.renumber import renumber
from hostlink.listing.reviewing.references import references

WORDS = ("PRINT", "LET", "IF", "ON", "LIST", "RUN", "RESTORE", "DATA", "END", "RETURN")
RULES = Rules(language=Language(statements=WORDS, separator=":"))
COMPUTED = Rules(language=Language(statements=WORDS, separator=":", computed_jumps=True))


def made(text: str, rules: Rules = RULES, **options: int | bool) -> list[str]:
    """The rows of a listing renumbered."""
    return renumber(Listing.from_text(text), rules, **options).listing.text().splitlines()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("GOTO 7", "GOTO 30"),
        ("GOTO7", "GOTO30"),
        ("GO TO 7", "GO TO 30"),
        ("GOSUB  007", "GOSUB  30"),
        ("IF A=7 THEN 7", "IF A=7 THEN 30"),
        ("IF A=7 THEN 7 ELSE 3", "IF A=7 THEN 30 ELSE 20"),
        ("IF A=7 THEN GOTO 7", "IF A=7 THEN GOTO 30"),
        ("ON X GOTO 3,7 , 3", "ON X GOTO 20,30 , 20"),
        ("ON X GOSUB 3,7: GOTO 3", "ON X GOSUB 20,30: GOTO 20"),
        ("LIST 3,7", "LIST 20,30"),
        ("LIST 3-7", "LIST 20-30"),
        ("LIST -7", "LIST -30"),
        ("LIST 7-", "LIST 30-"),
        ("LIST 4,8", "LIST 30,40"),
        ("LIST", "LIST"),
        ("RUN 7", "RUN 30"),
        ("RUN", "RUN"),
        ("RESTORE 7", "RESTORE 30"),
        ("PRINT 7;A7", "PRINT 7;A7"),
        ('PRINT "GOTO 7":GOTO 7', 'PRINT "GOTO 7":GOTO 30'),
        ("REM GOTO 7", "REM GOTO 7"),
        ("GOTO 7:REM GOTO 7", "GOTO 30:REM GOTO 7"),
        ("DATA 7", "DATA 7"),
    ],
)
def test_references_follow_and_nothing_else_changes(before: str, after: str) -> None:
    """Each way to name a line, in the text of one line of a small program."""
    text = f"1 {before}\n3 PRINT\n7 PRINT\n8 END\n"
    assert made(text) == [f"10 {after}", "20 PRINT", "30 PRINT", "40 END"]


def test_blanks_before_and_after_the_number_stay() -> None:
    """Only digits change."""
    assert made("  1PRINT\n2   GOTO 1\n") == ["  10PRINT", "20   GOTO 10"]


def test_direct_commands_follow_too() -> None:
    """A row without a number stays one, at the end, and its target follows."""
    assert made("5 PRINT\nRUN 5\n") == ["10 PRINT", "RUN 10"]


def test_the_outcome_is_the_program_a_board_would_hold() -> None:
    """Sorted; a line replaced below and a deleted one are gone."""
    assert made("30 END\n10 PRINT\n10 PRINT 2\n20 PRINT\n20\n", start=1, step=1) == [
        "1 PRINT 2",
        "2 END",
    ]


def test_a_range_is_renumbered_by_itself() -> None:
    """Lines outside keep their numbers; jumps into the range follow from everywhere."""
    text = "10 GOTO 22\n21 PRINT\n22 GOTO 40\n40 GOTO 21\n"
    assert made(text, start=20, step=5, first=20, last=30) == [
        "10 GOTO 25",
        "20 PRINT",
        "25 GOTO 40",
        "40 GOTO 20",
    ]


@pytest.mark.parametrize(
    ("text", "options", "told"),
    [
        ("10 PRINT\n20 PRINT\n30 PRINT\n", {"start": 5, "first": 20}, "line 10"),
        ("10 PRINT\n20 PRINT\n30 PRINT\n", {"start": 30, "last": 20}, "line 30"),
        ("10 PRINT\n", {"first": 20}, "There is no line from 20 on."),
        ("10 PRINT\n", {"first": 0, "last": 5}, "There is no line from 0 to 5."),
        ("10 PRINT\n20 PRINT\n", {"start": 32767}, "32777, outside 1 to 32767"),
        ("10 PRINT\n", {"start": 0}, "outside 1"),
        ("RUN\n", {}, "no numbered line"),
        ("1 PRINT" + " " * 64 + "\n2 PRINT\n", {"start": 1000}, "characters long"),
    ],
)
def test_numbers_that_do_not_fit_are_refused(text: str, options: dict[str, int], told: str) -> None:
    """Out of order, out of range, a line grown too long: named, and nothing is changed."""
    with pytest.raises(ListingError, match=told):
        made(text, **options)


@pytest.mark.parametrize("options", [{"step": 0}, {"step": -1}, {"start": -5}])
def test_a_step_or_start_without_sense_is_wrong_use(options: dict[str, int]) -> None:
    """A step below 1 would give numbers twice."""
    with pytest.raises(UsageError, match="step"):
        made("10 PRINT\n", **options)


@pytest.mark.parametrize(
    ("jump", "told"),
    [
        ("GOTO 10*A", "computed"),
        ("GOSUB A", "computed"),
        ("GOTO 99", "there is no line 99"),
        ("RUN A", "computed"),
        ("LIST A", "computed"),
    ],
)
def test_jumps_that_cannot_follow_stop_it_unless_forced(jump: str, told: str) -> None:
    """Computed and missing targets; forced, they are left and named."""
    text = f"1 PRINT\n2 {jump}\n"
    with pytest.raises(RefusedError, match=told):
        made(text, COMPUTED)
    forced = renumber(Listing.from_text(text), COMPUTED, forced=True)
    assert forced.listing.text() == f"10 PRINT\n20 {jump}\n"
    assert [(u.number, u.word) for u in forced.unfollowed] == [(2, jump.split()[0])]


def test_a_listing_that_has_the_numbers_already_is_left_as_it_is() -> None:
    """Not even its computed jumps matter then."""
    text = "10 PRINT\n20 GOTO 10*A\n"
    assert made(text, COMPUTED) == text.splitlines()


NUMBERS = st.lists(st.integers(1, 32000), min_size=1, max_size=12, unique=True)


@given(NUMBERS, st.data())
def test_renumbering_there_and_back_gives_the_listing_again(
    numbers: list[int], data: st.DataObject
) -> None:
    """Any program of jumps: each still goes to the line it went to, and the way back is open."""
    numbers = sorted(numbers)
    pick = st.sampled_from(numbers)
    forms = ("GOTO {}", "GOSUB {}", "IF A=1 THEN {}", "ON A GOTO {},{}", 'PRINT "GOTO 10"')
    rows = [
        f"{number} " + data.draw(st.sampled_from(forms)).format(data.draw(pick), data.draw(pick))
        for number in numbers
    ]
    text = "\n".join(rows) + "\n"
    rules = Rules(form=Form(longest_line=0), language=RULES.language)
    there = renumber(Listing.from_text(text), rules, start=7, step=3)
    place = {number: at for at, number in enumerate(numbers)}
    news = [line.number for line in there.listing]
    for old, new in zip(Listing.from_text(text), there.listing, strict=True):
        wanted = [place[r.target or 0] for r in references(old.text, rules.language)]
        found = [news.index(r.target) for r in references(new.text, rules.language)]
        assert found == wanted
    back = there.listing.text()
    for step in range(len(numbers)):  # one line at a time, from the end, to its old number
        at = len(numbers) - 1 - step
        line = Listing.from_text(back).lines[at].number
        # pass through numbers above all others, so that the order holds on the way
        back = renumber(
            Listing.from_text(back),
            Rules(form=Form(longest_line=0, last_line=10**6), language=RULES.language),
            start=100_000 + numbers[at],
            first=line,
            last=line,
        ).listing.text()
    assert [line.number for line in Listing.from_text(back)] == [100_000 + n for n in numbers]


@given(st.text(max_size=80))
def test_no_text_breaks_renumbering(text: str) -> None:
    """Any text is renumbered or refused in a sentence."""
    try:
        outcome = renumber(Listing.from_text("1 GOTO 2\n2 END\n3 " + text), COMPUTED)
    except (ListingError, RefusedError) as error:
        assert error.what.endswith(".")
    else:
        news = [line.number for line in outcome.listing if line.number is not None]
        assert news == list(range(10, 10 * len(news) + 10, 10))
