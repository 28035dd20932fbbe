"""The byte ledger. Costs are computed by hand from the rules in the docstrings."""

from __future__ import annotations

import pytest

from hostlink.listing import Language, Listing, Rules, Storage, measure
from hostlink.listing.measure import line_cost

LANGUAGE = Language(statements=("PRINT",))


def cost(line: str, **storage) -> int:
    """The cost of one line in bytes."""
    listing = Listing.from_text(line)
    return line_cost(listing.lines[0], Rules(storage=Storage(**storage), language=LANGUAGE))


@pytest.mark.parametrize(
    ("blanks", "size"), [("dropped", 2 + 5 + 1), ("kept", 2 + 6 + 1), ("all", 2 + 7 + 1)]
)
def test_blanks_after_the_number_cost_what_the_board_keeps(blanks, size):
    """Two blanks before five characters: none, one or both of them are stored."""
    assert cost("10  PRINT", blank_after_number=blanks) == size


def test_number_length_and_end_bytes_add_up():
    """Every part of a stored line has its own figure."""
    assert cost("10 PRINT", number_bytes=3, length_bytes=1, end_bytes=2) == 3 + 1 + 5 + 2


def test_small_letters_are_no_keyword_where_only_capitals_are():
    """There `print` costs its five letters, and what stands behind `rem` may hold a token."""
    language = Language(statements=("PRINT",), remarks=("REM",), capitals_only=True)
    rules = Rules(storage=Storage(kind="tokens"), language=language)

    def size(line: str) -> int:
        return line_cost(Listing.from_text(line).lines[0], rules)

    assert size("10 PRINT 7") == 2 + (1 + 1 + 1) + 1
    assert size("10 print 7") == 2 + (5 + 1 + 1) + 1
    assert size("10 rem PRINT") == 2 + (3 + 1 + 1) + 1
    assert size("10 REM PRINT") == 2 + (1 + 6) + 1


def test_tokens_cost_one_byte_outside_quotes_and_remarks():
    """PRINT is a token of 1 byte, GOTO one of 2 here; in quotes and remarks letters count."""
    tokens = (("GOTO", 2),)
    assert cost('10 PRINT "PRINT"', kind="tokens") == 2 + (1 + 1 + 7) + 1
    assert cost("10 GOTO 10", kind="tokens", tokens=tokens) == 2 + (2 + 1 + 2) + 1
    assert cost("10 GO TO10", kind="tokens", tokens=tokens) == 2 + (2 + 2) + 1
    assert cost("10 REM PRINT", kind="tokens") == 2 + (1 + 6) + 1


def test_the_ledger_runs_through_the_listing():
    """Each row shows its cost and the total so far; the listing ends at the total."""
    ledger = measure(Listing.from_text('10 PRINT "HELLO"\n20 GOTO 10\n'), Rules())
    assert [(row.cost, row.so_far) for row in ledger.rows] == [(16, 16), (10, 26)]
    assert (ledger.total, ledger.limit, ledger.over, ledger.free) == (26, 999, 0, 973)
    assert ledger.fits


def test_replaced_deleting_and_direct_lines_cost_nothing_and_say_so():
    """Only the last line of a number is stored; the others are marked."""
    listing = Listing.from_text("10 A\n10 BB\n20 C\n20\nRUN\n")
    ledger = measure(listing, Rules())
    assert [(row.cost, row.standing) for row in ledger.rows] == [
        *((0, "replaced"), (5, "stored"), (0, "replaced")),
        *((0, "deletes"), (0, "direct")),
    ]
    assert ledger.total == 5


def test_over_counts_the_bytes_too_many():
    """One byte too many is one byte over, and none is free."""
    rules = Rules(storage=Storage(program_bytes=25))
    ledger = measure(Listing.from_text('10 PRINT "HELLO"\n20 GOTO 10\n'), rules)
    assert (ledger.over, ledger.free, ledger.fits) == (1, 0, False)


def test_an_unknown_limit_is_never_exceeded():
    """With no limit known nothing is over, and free bytes are unknown rather than 0."""
    ledger = measure(Listing.from_text("10 A"), Rules(storage=Storage(program_bytes=0)))
    assert (ledger.over, ledger.free, ledger.fits) == (0, None, True)


def test_an_empty_program_costs_what_the_board_says():
    """A board may take bytes for no program at all."""
    assert measure(Listing(()), Rules(storage=Storage(empty_bytes=2))).total == 2


def test_the_same_line_object_twice_is_stored_once():
    """A listing built by hand may hold one object twice; only the last counts."""
    line = Listing.from_text("10 A").lines[0]
    ledger = measure(Listing((line, line)), Rules())
    assert [row.standing for row in ledger.rows] == ["replaced", "stored"]
