"""Mending: characters, and the rules that hold for every repair."""

from __future__ import annotations

import pytest

from hostlink.listing import Form, Language, Rules, mend


def kinds(text: str, rules: Rules | None = None) -> list[tuple[int, str]]:
    """Line and kind of every repair."""
    return [(found.line, found.kind) for found in mend(text, rules).mends]


def doubts(text: str, rules: Rules | None = None) -> list[tuple[int, str]]:
    """Line and kind of every doubt, after checking that the text was left as it was."""
    mended = mend(text, rules)
    assert mended.text == text
    assert mended.mends == ()
    return [(found.line, found.kind) for found in mended.doubts]


@pytest.mark.parametrize("text", ["", "\n", '10 PRINT "A"', "10 A\n\n20 B\n", "PRINT 1\nRUN\n"])
def test_a_sound_text_is_left_exactly_as_it_is(text):
    """Nothing is repaired where nothing is broken, a missing last line end included."""
    mended = mend(text)
    assert (mended.text, mended.mends, mended.doubts) == (text, (), ())


@pytest.mark.parametrize(
    ("broken", "plain", "kind"),
    [
        ("10 PRINT “HI”", '10 PRINT "HI"', "typographic-quote"),
        ("10 PRINT „HI“", '10 PRINT "HI"', "typographic-quote"),
        ("10 REM it’s", "10 REM it's", "typographic-quote"),
        ("10 A=B–1", "10 A=B-1", "typographic-dash"),
        ("10 A=−1", "10 A=-1", "typographic-dash"),
        ("10 A=2×3÷4", "10 A=2*3/4", "typographic-sign"),
        ("10 IF A≤B THEN 10", "10 IF A<=B THEN 10", "typographic-sign"),
        ("10\u00a0PRINT\u202fA", "10 PRINT A", "unusual-blank"),
        ("1\u200b0 PRINT", "10 PRINT", "invisible-character"),
        ("\ufeff10 PRINT", "10 PRINT", "invisible-character"),
        ("１０ ＰＲＩＮＴ", "10 PRINT", "full-width-character"),
        ("10\tPRINT\tA", "10 PRINT A", "tab"),
        ("10 A=X\u00ad1", "10 A=X-1", "soft-hyphen"),
        ("\f10 PRINT", "10 PRINT", "control-character"),
        ("10 PRINT  ", "10 PRINT", "trailing-blank"),
        ("10 PRINT\x1a", "10 PRINT", "end-of-file-mark"),
    ],
)
def test_each_kind_of_damaged_character_is_repaired_and_reported(broken, plain, kind):
    """The repair is shown with its row, what was there and what is there now."""
    mended = mend(broken)
    assert mended.text == plain
    assert [(m.line, m.kind, m.before, m.after) for m in mended.mends] == [(1, kind, broken, plain)]
    assert mended.mends[0].sentence.endswith(".")


@pytest.mark.parametrize("end", ["\r\n", "\r"])
def test_line_ends_that_are_all_alike_are_no_repair(end):
    """Other systems end their lines so; LF stands in the mended text anyway."""
    mended = mend(f"10 A{end}20 B{end}")
    assert (mended.text, mended.mends) == ("10 A\n20 B\n", ())


@pytest.mark.parametrize(("end", "name"), [("\r\n", "CR LF"), ("\r", "CR")])
def test_mixed_line_ends_are_one_repair_for_the_whole_text(end, name):
    """Hundreds of rows with the same odd line end make one line of the report."""
    mended = mend(f"10 A\n20 B{end}30 C{end}")
    assert mended.text == "10 A\n20 B\n30 C\n"
    assert [m.kind for m in mended.mends] == ["line-end"]
    assert mended.mends[0].sentence == f"Line ends {name} became LF in 2 rows."


def test_a_change_inside_quoted_text_says_so():
    """What the program prints changes with it, so the sentence names it."""
    inside = mend('10 PRINT "A–B"').mends[0]
    outside = mend("10 A=B–1").mends[0]
    assert "inside quoted text" in inside.sentence
    assert "inside quoted text" not in outside.sentence


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ('10 PRINT "HE SAID “HI”"', "typographic-quote"),
        ('10 PRINT “HE SAID "HI"”', "typographic-quote"),
        ('10 PRINT "A\tB"', "tab"),
        ("10 PRI\u00adNT", "soft-hyphen"),
        ("10 PRINT\u00ad", "soft-hyphen"),
        ("10 A\u202820 B", "control-character"),
        ("10 A\x00B", "control-character"),
        ('10 PRINT "&lt;"', "html-entity"),
        ("10 REM A&amp;B", "html-entity"),
    ],
)
def test_what_may_be_meant_is_doubted_and_left(text, kind):
    """An ambiguous place is reported, and not one character of it is changed."""
    assert doubts(text) == [(1, kind)]


@pytest.mark.parametrize("text", ["1O PRINT", "10 GOTO 1OO"])
def test_letters_in_a_number_are_doubted_and_never_touched(text):
    """O for 0 and l for 1 are the typist's; guessing would change the program."""
    assert doubts(text) == [(1, "letter-in-number")]


@pytest.mark.parametrize("text", ["lO PRINT", "10 PRINT O,0,l,1,I"])
def test_letters_that_stand_alone_are_letters(text):
    """Without a digit in front nothing shows that a number was meant."""
    assert doubts(text) == []


def test_a_character_that_the_board_takes_stays_in_quoted_text():
    """A board with its own ÷ prints it; only the code outside quotes is repaired."""
    rules = Rules(form=Form(charset="cp437", characters=((32, 255),)))
    assert mend('10 PRINT "8÷2 =";8÷2', rules).text == '10 PRINT "8÷2 =";8/2'
    assert mend('10 PRINT "8÷2 =";8÷2').text == '10 PRINT "8/2 =";8/2'


def test_trailing_blanks_of_an_open_quote_stay():
    """Where quoted text is never closed, the blanks at the end belong to it."""
    assert mend('10 PRINT "A  ').text == '10 PRINT "A  '


def test_each_repair_can_be_left_out():
    """Leaving a repair out keeps that row as it was in this respect, and makes all others."""
    text = "10 PRINT “A”\u00a0\t\n20\u00a0PRINT “B”\n"
    everything = mend(text)
    assert everything.text == '10 PRINT "A"\n20 PRINT "B"\n'
    chosen = next(m for m in everything.mends if (m.line, m.kind) == (2, "typographic-quote"))
    kept = mend(text, without={chosen})
    assert kept.text == '10 PRINT "A"\n20 PRINT “B”\n'
    assert chosen not in kept.mends


def test_leaving_out_every_repair_gives_the_text_back():
    """Mending is reversible: with all repairs left out the source comes back to the byte."""
    text = "\ufeffHello!\r\n> 10 PRINT “A”\t<br>\r\n> 20 A=1&lt;2  \r\n\nBye\r\n"
    everything = mend(text)
    assert len(everything.mends) >= 9
    assert mend(text, without=everything.mends).text == text


def test_a_row_of_which_something_is_kept_is_not_taken_out():
    """Keeping the reply mark of the first row must not make it text before the listing."""
    text = "> 10 A\n> 20 B\n> 30 C\n"
    first = mend(text).mends[0]
    assert mend(text, without=[first]).text == "> 10 A\n20 B\n30 C\n"


def test_language_rules_decide_what_is_quoted():
    """On a board that takes single quotes, a tab between them may be meant."""
    rules = Rules(language=Language(quotes="'\""))
    assert doubts("10 PRINT 'A\tB'", rules) == [(1, "tab")]
    assert kinds("10 PRINT 'A\tB'") == [(1, "tab")]
