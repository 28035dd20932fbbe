"""Reviewing a listing for one board."""

from __future__ import annotations

import pytest

from hostlink.listing import Finding, Form, Language, Listing, Rules, Storage, review

RULES = Rules(language=Language(statements=("PRINT", "IF", "ON", "LET"), separator=":"))


def findings(text: str, rules: Rules = RULES) -> list[tuple[int, str, str]]:
    """Row, rule and severity of every finding."""
    found = review(Listing.from_text(text), rules).findings
    return [(f.line_at, f.rule, f.severity) for f in found]


def only(text: str, rules: Rules = RULES) -> Finding:
    """The one finding there is."""
    found = review(Listing.from_text(text), rules).findings
    assert len(found) == 1, found
    return found[0]


def targets(text: str, rules: Rules = RULES) -> list[tuple[str, int]]:
    """Message and column of each jump that goes nowhere."""
    found = review(Listing.from_text(text), rules).findings
    return [(f.message, f.column) for f in found if f.rule == "missing-jump-target"]


def test_a_sound_listing_has_no_findings():
    """Nothing is said where nothing is wrong, and the ledger comes with it."""
    outcome = review(Listing.from_text('10 PRINT "HELLO"\n20 GOTO 10\n'), RULES)
    assert outcome.findings == ()
    assert outcome.ledger.total == 26


def test_an_empty_listing_is_an_error():
    """No line to store is a finding on the whole listing."""
    assert findings("") == [(0, "empty-listing", "error")]
    assert (0, "empty-listing", "error") in findings("RUN\n")


def test_what_does_not_fit_is_told_in_bytes():
    """The message holds the bytes over, the total and the limit, with thousands marked."""
    line = "10 PRINT " + '"' + "A" * 1014 + '"'  # 2 + (6 + 1016) + 1 bytes, 1 + 1 more for 20
    rules = Rules(form=Form(longest_line=0))
    found = only(line + "\n", rules)
    assert (found.rule, found.severity, found.line_at) == ("does-not-fit", "error", 0)
    assert found.message == "26 bytes over: 1,025 of 999."
    one = Rules(storage=Storage(program_bytes=25))
    assert only('10 PRINT "HELLO"\n20 GOTO 10\n', one).message == "1 byte over: 26 of 25."


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("10 PRINT\nPRINT\n", (2, "no-line-number", "error")),
        ("20 PRINT\n10 PRINT\n", (2, "descending-line-number", "warning")),
        ("10 PRINT\n10 LET\n", (2, "repeated-line-number", "error")),
        ("10 PRINT\n10   PRINT\n", (2, "repeated-line-number", "warning")),
        ("0 PRINT\n", (1, "line-number-out-of-range", "error")),
        ("32768 PRINT\n", (1, "line-number-out-of-range", "error")),
        ("10 PRINT\n30\n", (2, "bare-line-number", "warning")),
        ("10 PRINT\n20 LET\n20\n", (3, "bare-line-number", "error")),
        ("10 PRINT é\n", (1, "character-not-on-board", "error")),
        ("10 PRINT\n10 GOTO 20\n", (2, "missing-jump-target", "error")),
        ("1O PRINT\n", (1, "letter-in-number", "error")),
        ("10 GOTO 1O\n", (1, "letter-in-number", "error")),
        ("10 LET A=l5*2l\n", (1, "letter-in-number", "error")),
        ("10 GOTO A\n", (1, "jump-without-line-number", "warning")),
        ("10 GOTO 10+A\n", (1, "jump-without-line-number", "warning")),
    ],
)
def test_each_rule_finds_its_fault(text, expected):
    """Each rule names the row; errors are what the board refuses, loses or breaks on."""
    assert expected in findings(text)


def test_a_letter_in_a_number_is_told_as_the_number_that_it_looks_like():
    """2O is 20 with the letter O."""
    said = [each.message for each in review(Listing.from_text("2O GOTO 10\n"), Rules()).findings]
    assert "2O looks like 20 with the letter O in it." in said


def test_a_line_at_the_limit_passes_and_one_more_does_not():
    """The limit counts the characters typed, without the line end."""
    rules = Rules(form=Form(longest_line=10))
    assert findings("10 PRINT A\n", rules) == []
    found = only("10 PRINT AB\n", rules)
    assert (found.rule, found.column) == ("line-too-long", 11)
    assert found.message == (
        "The line is 11 characters long, 1 more than the 10 that the board takes."
    )


def test_strange_characters_are_named_once_with_the_first_place():
    """One finding a line, however many there are, and each kind named."""
    found = only("10 PRINT éé\t\n")
    assert found.column == 10
    assert found.message == "The board cannot take 3 characters of the line: é (U+00E9), U+0009."


def test_a_letter_in_place_of_a_digit_is_advised_on():
    """A row that begins with lO may be a numbered one, mistyped; it is only named."""
    found = next(f for f in review(Listing.from_text("10 PRINT\nlO PRINT"), RULES).findings)
    assert found.rule == "no-line-number"
    assert found.advice == "lO looks like 10 with the letter l in it."


@pytest.mark.parametrize(
    ("line", "missing"),
    [
        ("10 GOTO 50", [("GOTO 50: there is no line 50.", 9)]),
        ("10 GOTO50", [("GOTO 50: there is no line 50.", 8)]),
        ("10 GO TO 50", [("GOTO 50: there is no line 50.", 10)]),
        ("10 go sub 50", [("GOSUB 50: there is no line 50.", 11)]),
        ("10 IF A=50 THEN 50", [("THEN 50: there is no line 50.", 17)]),
        ("10 IF A THEN 10 ELSE 50", [("ELSE 50: there is no line 50.", 22)]),
        (
            "10 ON X GOTO 10,20, 30",
            [("GOTO 20: there is no line 20.", 17), ("GOTO 30: there is no line 30.", 21)],
        ),
        ("10 GOTO 0010", []),
        ("10 IF A THEN LET B=50", []),
        ("10 IF A THEN PRINT 50", []),
        ('10 PRINT "GOTO 50"', []),
        ("10 REM GOTO 50", []),
        ("10 PRINT:REM GOTO 50", []),
    ],
)
def test_jumps_are_checked_where_they_are_jumps(line, missing):
    """Jump words count outside quotes and remarks, lists and blanks included."""
    assert targets(line) == missing


def test_a_deleted_or_unnumbered_line_is_no_target():
    """Only what the board holds can be jumped to."""
    assert targets("10 GOTO 20\n20 PRINT\n20\n") == [("GOTO 20: there is no line 20.", 9)]


def test_computed_jumps_are_named_as_not_checked():
    """Where an expression may stand, it is told that it was not checked."""
    rules = Rules(language=Language(computed_jumps=True))
    for line in ("10 GOTO A", "10 GOTO 10+A", "10 GOSUB(A*10)", "10 GOTO 10*A"):
        found = only(line, rules)
        assert (found.rule, found.severity) == ("computed-jump", "warning"), line
        assert "cannot be checked" in found.message
    assert findings("10 GOTO 10", rules) == []


def test_an_absurd_line_number_is_a_finding_and_not_spelled_out():
    """Thousands of digits give one short message."""
    found = review(Listing.from_text("9" * 5000 + " PRINT"), Rules(form=Form(longest_line=0)))
    message = next(f.message for f in found.findings if f.rule == "line-number-out-of-range")
    assert message == "Line number with more than 18 digits is outside 1 to 32767."


def test_findings_stand_in_the_order_of_the_source():
    """Findings on the whole come first, then row by row."""
    rows = [row for row, _, _ in findings("PRINT é\n10 GOTO 99\nPRINT\n", RULES)]
    assert rows == sorted(rows)
    assert set(rows) == {1, 2, 3}


def test_small_keywords_are_an_error_where_the_board_knows_capitals_only():
    """One finding a line; names, quoted text and remarks may be small."""
    rules = Rules(
        language=Language(statements=("PRINT", "IF", "LET"), separator=":", capitals_only=True)
    )
    found = only('10 PRINT "print"\n20 print a:Let b=1\n', rules)
    assert (found.rule, found.severity, found.number, found.column) == (
        *("keyword-in-small-letters", "error"),
        *(20, 4),
    )
    assert found.message.startswith("print is in small letters (and 1 more)")
    assert found.advice == "Write PRINT."
    assert findings("10 PRINT a\n20 REM let it print\n", rules) == []
    assert findings("10 print a\n", RULES) == []
