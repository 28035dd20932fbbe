"""Learning what a board does to lines when it stores and lists them."""

from __future__ import annotations

import pytest

from hostlink.board.dialogue.learning import (
    BoardRewritesError,
    UnexplainedLine,
    find_list_form,
    find_wrapping,
    learn,
    unexplained_words,
)
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import in_commands
from hostlink.listing.parse import Listing

RULES = find_profile("tiny").rules
SENT = Listing.from_text(
    '10 rem don\'t shout\n20 let b = 0\n30 print "Hello"\n40 goto 20\n50 end\n'
).numbered()


@pytest.mark.parametrize(
    ("rows", "what"),
    [
        (
            ["10 REM DON't shout", "20 LET B = 0", '30 PRINT "Hello"', "40 GOTO 20", "50 END"],
            {"case": "upper-everywhere"},
        ),
        (
            ["10 REM don't shout", "20 LET B=0", '30 PRINT "Hello"', "40 GOTO 20", "50 END"],
            {"case": "upper", "spacing": "free"},
        ),
        (
            ["10 rem don't shout", "20 let b = 0 ", '30 print "Hello"', "40 goto 20 ", "50 end "],
            {"spacing": "free"},
        ),
        (
            [f"   {line.typed.replace(' ', ': ', 1)}" for line in SENT.values()],
            {"list_form": "{number}: {text}"},
        ),
    ],
)
def test_the_strictest_explanation_is_learned(rows: list[str], what: dict[str, str]) -> None:
    """What the profile did not say is told by the rows, and nothing more is given away."""
    rules = RULES
    if what.get("case") == "upper-everywhere":
        rules = find_profile("capital").rules
        rules = type(rules)(RULES.form, RULES.storage, rules.language)
    learned = learn(SENT, rows, rules)
    assert learned.explains_all
    assert learned.unexplained == ()
    for name in ("case", "spacing", "list_form", "signed_numbers", "wrap_indent"):
        assert getattr(learned.form, name) == what.get(name, getattr(RULES.form, name)), name


def test_rows_broken_at_the_screens_width_are_joined() -> None:
    """At 16 columns, with six blanks before the rest, as one board of 1976 does."""
    sent = Listing.from_text("10 PRINT 123456789012\n20 END\n").numbered()
    learned = learn(sent, ["10 PRINT 1234567", "      89012", "20 END"], RULES)
    assert learned.explains_all
    assert (learned.form.screen_width, learned.form.wrap_indent) == (16, 6)


def test_a_board_that_breaks_between_words_and_sets_remarks_apart_is_understood() -> None:
    """As measured on a BASIC of 1976 at 40 columns: numbers aligned in five, a rest behind six
    blanks, lines broken before a word, one blank more before a remark's text."""
    sent = Listing.from_text(
        "10 REM water butts at the allotment, by the tuesday group\n110 LET R=RND(6)\n"
        '340 PRINT "litres left in the butt at the end of day";D\n'
        "510 LET A=B+C+D+E+F+G+H+A+B+C+D+E+F\n"
    ).numbered()
    rows = [
        "   10 REM  water butts at the allotme",
        "      nt, by the tuesday group",
        "  110 LET R= RND (6)",
        '  340 PRINT "litres left in the butt ',
        '      at the end of day";D',
        "  510 LET A=B+C+D+E+F+G+H+A+B+C+",
        "      D+E+F",
    ]
    learned = learn(sent, rows, RULES)
    assert learned.explains_all
    assert learned.form.spacing == "free-before-remarks"
    assert learned.form.wrap_indent == 6
    assert "before a remark's text" in learned.sentence


def test_numbers_listed_as_negative_ones_are_understood() -> None:
    """40000 less 65536 is -25536."""
    sent = Listing.from_text("10 END\n40000 REM\n").numbered()
    learned = learn(sent, ["10 END", "-25536 REM"], RULES)
    assert learned.explains_all
    assert learned.form.signed_numbers


def test_a_board_that_changes_nothing_teaches_nothing() -> None:
    """The form is the one it was."""
    learned = learn(SENT, [line.typed for line in SENT.values()], RULES)
    assert not learned.is_news
    assert not learned.explains_all
    assert learned.unexplained == ()


def test_what_is_not_explained_is_left_line_by_line() -> None:
    """A line that is not there, one that was cut, one that is another."""
    rows = ["10 rem don't", "20 let b = 0", '30 print "Hullo"', "50 end", "60 REM MINE"]
    learned = learn(SENT, rows, RULES)
    assert learned.unexplained == (
        UnexplainedLine(10, "10 rem don't shout", "10 rem don't"),
        UnexplainedLine(30, '30 print "Hello"', '30 print "Hullo"'),
        UnexplainedLine(40, "40 goto 20", None),
        UnexplainedLine(60, "", "60 REM MINE"),
    )
    words = unexplained_words(learned.unexplained, {40: "Syntax error"})
    assert 'It does not take line 40; it answers "Syntax error".' in words
    assert "It keeps 12 characters of line 10." in words
    assert 'It holds line 30 as "30 print "Hullo"".' in words
    assert "Besides what was sent it holds line 60." in words


def test_quoted_text_is_never_explained_away() -> None:
    """A board that changes what stands in quotes has changed the program."""
    rows = [line.typed.replace("Hello", "HELLO") for line in SENT.values()]
    learned = learn(SENT, rows, RULES)
    assert [each.number for each in learned.unexplained] == [30]


def test_what_is_told_leads_on() -> None:
    """With everything explained the way is to learn it; else the lines are to be changed. The wire
    is never blamed."""
    folded = learn(
        SENT, [line.typed.upper().replace("HELLO", "Hello") for line in SENT.values()], RULES
    )
    cut = learn(SENT, ["10 rem"], RULES)
    for learned, advice in ((folded, "--learn"), (cut, "Change these lines")):
        error = BoardRewritesError(learned, {})
        assert advice in in_commands(error.advice)
        assert "cable" not in str(error)
    refused = in_commands(BoardRewritesError(cut, {20: "! no room"}).advice)
    assert "make the listing smaller" in refused and "hostlink shrink" in refused


@pytest.mark.parametrize(
    ("rows", "form"),
    [
        (["10 PRINT 1", " 20 END"], "{number} {text}"),
        (["10: PRINT 1", "  20: END"], "{number}: {text}"),
        (["10   PRINT 1", "20   END"], "{number} {text}"),
        (['10PRINT"A"', "20END"], "{number} {text}"),
        (["READY"], ""),
        ([], ""),
    ],
)
def test_the_form_of_a_listing_is_what_follows_most_numbers(rows: list[str], form: str) -> None:
    """Nothing is said where there is no line."""
    assert find_list_form(rows) == form


def test_aligned_line_numbers_are_no_rest_of_the_longest_line() -> None:
    """The blanks before them are the board's own; a row without a number is a rest."""
    aligned = ["   10 REM the longest one", "   20 PRINT 1", "  130 END"]
    assert find_wrapping(aligned) == (0, 0)
    assert find_wrapping(["10 REM broken at this wi", "   dth", "20 END"]) == (24, 3)
