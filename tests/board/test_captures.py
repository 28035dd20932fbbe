"""Combining captures: the rules, and that nothing is settled without the lead it needs."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from hostlink.board.dialogue.captures import (
    Verdict,
    count_explained,
    differing,
    hidden_lines,
    standing_rows,
    tally,
    verdict,
    voting,
)
from hostlink.board.dialogue.reading import Reading
from hostlink.listing.parse import Line

NUMBERS = st.integers(1, 5).map(lambda n: 10 * n)
TEXTS = st.sampled_from(["A", "B", "C"])
CAPTURE = st.dictionaries(NUMBERS, TEXTS, max_size=5)
CAPTURES = st.lists(CAPTURE, min_size=2, max_size=9)
NEEDS = st.sampled_from([2, 3, 5])


def rows(capture: dict[int, str]) -> dict[int, Line]:
    return {n: Line.from_text(f"{n} {text}") for n, text in capture.items()}


def readings(captures: list[dict[int, str]], number: int) -> Counter[str | None]:
    return Counter(capture.get(number) for capture in captures)


# --- a save --------------------------------------------------------------------------------------


@given(CAPTURES, NEEDS)
def test_a_settled_line_has_the_lead_that_the_rule_asks_for(
    captures: list[dict[int, str]], need: int
) -> None:
    """Counted anew: every settled line leads by 2 or 3 of at least 3, or nobody contradicts it."""
    result = tally([rows(capture) for capture in captures], need)
    everything = {number for capture in captures for number in capture}
    for number in everything - set(result.unsettled):
        line = result.lines.get(number)
        votes = readings(captures, number)
        winner = votes.pop(line.text if line else None)
        other = max(votes.values(), default=0)
        if need == 2:
            assert (winner, other) == (len(captures), 0)
        else:
            assert winner >= 3
            assert winner - other >= {3: 2, 5: 3}[need]


@given(CAPTURES, NEEDS)
def test_a_line_in_doubt_is_never_given(captures: list[dict[int, str]], need: int) -> None:
    """Lines in doubt are named and not among the lines; nothing comes from nowhere."""
    result = tally([rows(capture) for capture in captures], need)
    assert not set(result.unsettled) & set(result.lines)
    assert result.count == len(captures)
    for number, line in result.lines.items():
        assert any(capture.get(number) == line.text for capture in captures)


@given(CAPTURES, NEEDS, st.randoms(use_true_random=False))
def test_the_order_of_captures_does_not_matter(
    captures: list[dict[int, str]], need: int, shuffler: object
) -> None:
    """The same captures in another order settle the same lines."""
    other = list(captures)
    shuffler.shuffle(other)  # type: ignore[attr-defined]
    first = tally([rows(capture) for capture in captures], need)
    second = tally([rows(capture) for capture in other], need)
    assert first == second


@given(CAPTURE, NEEDS)
def test_enough_equal_captures_are_the_listing(capture: dict[int, str], need: int) -> None:
    """As many equal captures as are needed give that listing and no doubt."""
    result = tally([rows(capture)] * need, need)
    assert {n: line.text for n, line in result.lines.items()} == capture
    assert result.unsettled == ()


def test_a_line_that_was_only_sometimes_there_is_settled_as_absent() -> None:
    """A stray row that one capture of five showed is no line of the program."""
    good = rows({10: "A"})
    result = tally([good, rows({10: "A", 70: "X"}), good, good, good], 5)
    assert list(result.lines) == [10]
    assert result.unsettled == ()


def test_two_captures_that_differ_settle_nothing_about_that_line() -> None:
    """One against one is doubt, the other lines are settled."""
    result = tally([rows({10: "A", 20: "B"}), rows({10: "A", 20: "C"})], 2)
    assert list(result.lines) == [10]
    assert result.unsettled == (20,)


@given(CAPTURE, CAPTURE)
def test_two_readings_differ_by_the_lines_that_are_not_the_same(
    before: dict[int, str], after: dict[int, str]
) -> None:
    """The count is the same either way round, and 0 exactly for equal readings."""
    count = differing(rows(before), rows(after))
    assert count == differing(rows(after), rows(before))
    assert count == sum(1 for n in {*before, *after} if before.get(n) != after.get(n))


# --- a load --------------------------------------------------------------------------------------

LOADS = st.lists(CAPTURE, min_size=1, max_size=7)


@given(LOADS, CAPTURE, st.booleans())
@example([{}], {}, True)
def test_a_verdict_puts_each_number_in_one_place(
    captures: list[dict[int, str]], target: dict[int, str], clean: bool
) -> None:
    """Wrong numbers are of the target, stray ones are not, and none is named twice."""
    result = verdict(captures, target, clean=clean)
    named = [*result.wrong, *result.stray, *result.unsettled]
    assert len(named) == len(set(named))
    assert set(result.wrong) <= set(target)
    assert not set(result.stray) & set(target)
    assert result.proven == (not named)


@given(LOADS, CAPTURE, st.booleans())
def test_proven_means_that_every_line_was_heard_right_most_often(
    captures: list[dict[int, str]], target: dict[int, str], clean: bool
) -> None:
    """Counted anew: each number was read as sent more often than as anything else, twice if
    the wire is in doubt."""
    if not verdict(captures, target, clean=clean).proven:
        return
    for number in {*target, *(n for capture in captures for n in capture)}:
        votes = readings(captures, number)
        right = votes.pop(target.get(number), 0)
        assert right >= (1 if clean else 2)
        assert right > max(votes.values(), default=0)


@given(CAPTURE, CAPTURE)
def test_what_was_heard_wrong_every_time_is_called_wrong(
    held: dict[int, str], target: dict[int, str]
) -> None:
    """Two captures of another program: exactly its differences are named."""
    result = verdict([held, held], target, clean=False)
    assert set(result.wrong) == {n for n in target if held.get(n) != target[n]}
    assert set(result.stray) == set(held) - set(target)
    assert result.unsettled == ()


@given(CAPTURE.filter(bool))
def test_one_capture_proves_on_a_clean_wire_only(target: dict[int, str]) -> None:
    """Heard once as sent is enough where nothing disagreed, else it must be heard so twice."""
    assert verdict([target], target, clean=True).proven
    assert not verdict([target], target, clean=False).proven
    assert verdict([target, target], target, clean=False).proven


def test_an_empty_capture_among_full_ones_has_no_vote() -> None:
    """A `LIST` that was damaged brings no line; where most bring none the board is empty. Words in
    place of lines never vote, nor does an empty answer to a question that was not heard right."""
    one, other, none = Reading(rows({10: "A"})), Reading(rows({10: "B"})), Reading({})
    words, unheard = Reading({}, said=("WHAT?",)), Reading({}, heard_right=False)
    assert voting([one, none, other, none, one]) == [one, other, one]
    assert voting([one, none, none]) == [one, none, none]
    assert voting([one, none]) == [one, none]
    assert voting([none, none]) == [none, none]
    assert voting([words, none, unheard, none]) == [none, none]
    assert voting([words, unheard]) == []
    assert voting([]) == []


def test_rows_that_stand_in_most_readings_are_no_damage() -> None:
    """Seen once they may be damage; seen twice and in most readings they are the board's doing."""
    ok, odd = Reading({}, after=((10, "OK"),)), Reading({}, said=("\x83",))
    assert standing_rows([ok, ok, odd]) == {"OK"}
    assert standing_rows([ok, odd]) == set()
    assert standing_rows([ok, ok, odd, odd]) == set()


def test_what_the_last_captures_show_is_never_outvoted_by_earlier_ones() -> None:
    """A stray line that came in between, stored of a damaged command, is asked for until it is
    called a stray or has gone; so is a line that changed, heard so twice."""
    want, stray = {10: "A"}, {2: "IST", 10: "A"}
    assert verdict([want, want, stray, want], want, clean=False).proven
    for more in (1, 2, 3):
        found = verdict([want] * 3 + [stray] * more, want, clean=False)
        assert found == Verdict((), (), (2,))
    assert verdict([want] * 3 + [stray] * 4, want, clean=False) == Verdict((), (2,), ())
    assert verdict([want, stray, stray, want, want], want, clean=False).proven
    other = {10: "B"}
    assert verdict([want, want, other], want, clean=False).proven
    assert verdict([want] * 3 + [other] * 2, want, clean=False) == Verdict((), (), (10,))


def test_a_draw_is_no_proof() -> None:
    """Two readings for the target and two against it ask for another capture."""
    captures = [{10: "A"}, {10: "A"}, {10: "B"}, {10: "B"}]
    assert verdict(captures, {10: "A"}, clean=False) == Verdict((), (), (10,))


def test_nothing_on_a_board_that_should_hold_nothing_is_proven() -> None:
    """An empty program is proven by an empty capture."""
    assert verdict([{}], {}, clean=True).proven


def test_a_line_that_came_with_another_text_each_time_is_not_voted_away() -> None:
    """Line 10 had a damaged number three times and a damaged text five times:
    five different readings together are more than the three without it."""
    texts = ["A1", None, "A2", None, "A3", "A4", None, "A5"]
    captures = [rows({20: "END"} | ({10: text} if text else {})) for text in texts]
    assert tally(captures, 3).unsettled == (10,)
    settled = tally([*captures, *[rows({10: "A", 20: "END"})] * 5], 3)
    assert (settled.unsettled, sorted(settled.lines)) == ((), [10, 20])
    gone = tally([*captures, *[rows({20: "END"})] * 4], 3)
    assert (gone.unsettled, sorted(gone.lines)) == ((), [20])


GOOD = (10, 20, 30)


@pytest.mark.parametrize(
    ("order", "found"),
    [
        ((10, 30), set()),
        (("TIDE", 10, 30), set()),
        ((10, "2\xe5 B", 30), {20}),
        ((10, 2, 30), {20}),
        ((10, 200, 30), {20}),
        ((10, "OK", "x0 B"), {20, 30, 200}),
        (("1\xe5 A", 20, 30), {2, 10}),
        (("30 X", 10, "30 C"), {2, 20, 30, 200}),
        ((30, 10), {2}),
        ((), set()),
    ],
)
def test_a_line_may_be_there_where_something_else_stands_in_its_place(
    order: tuple[int | str, ...], found: set[int]
) -> None:
    """A row that is no line, or a number that hardly any capture has (a line was
    voted away by five captures in which its number was damaged). Not the board's own words, which
    come in other captures too."""
    others = [("TIDE", *GOOD, "OK")] * 3
    assert hidden_lines([*others, order], [2, 10, 20, 30, 200])[-1] == found


def test_such_a_capture_does_not_vote_for_its_absence() -> None:
    """Line 20 was heard twice, and three times with a damaged number: it is not voted away."""
    heard = [rows({10: "A", 20: "B", 30: "C"})] * 2 + [rows({10: "A", 30: "C"})] * 3
    odd = [(10, f"{n} B", 30) for n in "xyz"]
    assert tally(heard, 5, [GOOD, GOOD, *odd]).unsettled == (20,)
    more = tally([*heard, rows({10: "A", 20: "B", 30: "C"})], 5, [GOOD, GOOD, *odd, GOOD])
    assert sorted(more.lines) == [10, 20, 30]
    gone = tally([*heard[2:], *heard[2:]], 5, [(10, 30)] * 6)
    assert sorted(gone.lines) == [10, 30]


def test_a_capture_with_something_in_its_place_speaks_against_its_absence() -> None:
    """A board left line 10 out of every second listing; damage hid it in three of the others."""
    there, gone = rows({10: "A", 20: "B"}), rows({20: "B"})
    heard = [gone, gone, gone, gone, there]
    assert tally(heard, 5, [(20,)] * 4 + [(10, 20)]).lines.keys() == {20}
    hid = [(f"{n}0 A", 20) for n in "xyz"]
    assert tally([*heard, gone, gone, gone], 5, [(20,)] * 4 + [(10, 20), *hid]).unsettled == (10,)


@pytest.mark.parametrize(
    ("unexplained", "count"),
    [
        ([], 0),
        ([()], 1),
        ([("u REM",)], 0),
        ([("u REM",), ("u REM",)], 2),
        ([("TIDE", "OK"), ("TIDE", "OK"), ("TIDE", "u REM", "OK")], 2),
        ([("u REM",), (), ("x REM",)], 1),
    ],
)
def test_a_capture_with_a_row_that_is_no_line_is_no_witness(
    unexplained: list[tuple[str, ...]], count: int
) -> None:
    """Unless the board says it each time; it may be a line whose number was damaged."""
    assert count_explained(unexplained) == count
