"""Mending: what web pages, forums and mail put round and into a listing, and wrapped lines."""

from __future__ import annotations

import pytest

from hostlink.listing import mend

SOUND = '10 PRINT "TIDE CLOCK"\n20 IF A<B THEN 40\n30 GOTO 10\n40 END\n'


def doubts(text: str) -> list[tuple[int, str]]:
    """Line and kind of every doubt, after checking that the text was left as it was."""
    mended = mend(text)
    assert mended.text == text
    return [(found.line, found.kind) for found in mended.doubts]


def damaged(template: str, sound: str = SOUND) -> str:
    """Every row of a listing in the template; {n} counts the rows."""
    rows = enumerate(sound.splitlines(), 1)
    return "".join(template.replace("{n}", str(n)).replace("{row}", row) + "\n" for n, row in rows)


@pytest.mark.parametrize(
    ("template", "kind"),
    [
        ("> {row}", "reply-mark"),
        (">> {row}", "reply-mark"),
        ("> > {row}", "reply-mark"),
        ("- {row}", "list-bullet"),
        ("• {row}", "list-bullet"),
        ("{n}. {row}", "doubled-number"),
        ("{n}: {row}", "doubled-number"),
        ("  {n} | {row}", "doubled-number"),
        ("{n} {row}", "doubled-number"),
        ("{row}<br>", "html-tag"),
        ("<p>{row}</p>", "html-tag"),
        ('<div class="code">{row}<br /></div>', "html-tag"),
    ],
)
def test_what_a_page_puts_beside_every_row_is_taken_off(template, kind):
    """The sound listing comes back, with one repair reported for each row."""
    mended = mend(damaged(template))
    assert mended.text == SOUND
    assert [(m.line, m.kind) for m in mended.mends] == [(n, kind) for n in (1, 2, 3, 4)]


def test_debris_in_layers_is_taken_off():
    """A numbered page, quoted in a reply, escaped for the web, is still the same listing."""
    layered = damaged("&gt; {n}. {row}<br>").replace("A<B", "A&lt;B").replace('"', "&quot;")
    assert mend(layered).text == SOUND


@pytest.mark.parametrize(
    ("before", "after"),
    [("```\n", "```\n"), ("```basic\n", "```\n"), ("[code]\n", "[/code]\n"), ("[code]", "[/code]")],
)
def test_fences_round_the_code_are_taken_out(before, after):
    """Rows and words that mark code vanish, and no blank rows are left in their place."""
    assert mend(before + SOUND.rstrip("\n") + ("\n" if "\n" in before else "") + after).text.rstrip(
        "\n"
    ) == SOUND.rstrip("\n")


def test_text_round_the_listing_is_taken_out_and_reported():
    """Prose before it, and after a blank row, is no part of the listing."""
    mended = mend(f"Hello, here is mine.\n\n{SOUND}\nIf it fails, write to me.\nBye\n")
    assert mended.text == SOUND
    assert [(m.line, m.kind, m.before) for m in mended.mends] == [
        (1, "text-around-listing", "Hello, here is mine."),
        (8, "text-around-listing", "If it fails, write to me."),
        (9, "text-around-listing", "Bye"),
    ]


def test_commands_beside_a_listing_are_doubted_and_left():
    """NEW before and RUN after a listing are typed at the prompt; taking them out is no repair."""
    assert doubts(f"NEW\n{SOUND}\nRUN\n") == [(1, "row-without-number"), (7, "row-without-number")]


def test_text_right_behind_the_listing_is_doubted():
    """It could be the rest of the last line, so it stays."""
    assert doubts(SOUND + "Have fun!\n") == [(5, "row-without-number")]


def test_a_text_without_a_listing_is_left():
    """One numbered row is too little to tell a listing from a letter."""
    assert doubts("I have\n10 apples\nand pears\n") == [(3, "row-without-number")]
    assert doubts("print 1\nprint 2\n") == []


def test_rows_run_together_by_a_page_are_parted():
    """A <br> that a line number follows was a line end."""
    mended = mend("10 PRINT A<br>20 GOTO 10<BR/>30 END\n")
    assert mended.text == "10 PRINT A\n20 GOTO 10\n30 END\n"
    assert [(m.line, m.kind) for m in mended.mends] == [(1, "html-tag")]


@pytest.mark.parametrize(
    "text",
    ['10 PRINT "<br>"\n', '10 PRINT "A<br>20"\n', "10 IF A<P THEN 20\n", "10 PRINT A[I]\n"],
)
def test_program_text_that_looks_like_tags_stays(text):
    """Quoted tags, comparisons and brackets are BASIC."""
    assert doubts(text) == []


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("10 IF A\n> 10 THEN 50\n50 END\n", "reply-mark"),
        ("10 A=B\n- 10 THEN\n50 END\n", "list-bullet"),
        ("3. 10 PRINT\n7. 20 END\n", "doubled-number"),
        ("10 PRINT\n2. 20 END\n", "doubled-number"),
    ],
)
def test_a_mark_that_the_other_rows_do_not_share_is_doubted(text, kind):
    """A single row that looks like debris may be the rest of a wrapped line."""
    assert kind in {found for _, found in doubts(text)}


def test_escapes_in_quoted_text_are_decoded_where_the_page_escaped_code_too():
    """An escape in plain code bears witness that the whole page was escaped."""
    assert mend('10 IF A&lt;B PRINT "A&amp;B"').text == '10 IF A<B PRINT "A&B"'
    assert doubts('10 PRINT "A&amp;B"\n') == [(1, "html-entity")]


@pytest.mark.parametrize("entity", ["&#10;", "&#13;", "&#0;", "&#27;", "&#x2028;", "&#xD800;"])
def test_an_escape_never_makes_a_line_end_or_a_control_character(entity):
    """Such an escape stays; decoding it would break the listing into other lines."""
    mended = mend(f"10 A&lt;B{entity}20 C")
    assert mended.text == f"10 A<B{entity}20 C"
    assert [found.kind for found in mended.doubts] == ["html-entity"]


def test_an_escaped_quote_inside_plain_quotes_stays():
    """Decoding it would end the text early."""
    assert mend('10 IF A&lt;B PRINT "A&quot;B"').text == '10 IF A<B PRINT "A&quot;B"'


LONG = '10 PRINT "THE TIDE IS HIGH AT THE OLD HARBOUR WALL TODAY"\n'


def test_a_line_wrapped_at_a_blank_is_joined_with_one():
    """The rest would not have fitted in the width of the widest row, so the page wrapped there."""
    wrapped = LONG + '20 PRINT "AND LOW AGAIN AT THE SANDS BEYOND THE\nLIGHTHOUSE"\n30 END\n'
    mended = mend(wrapped)
    whole = '20 PRINT "AND LOW AGAIN AT THE SANDS BEYOND THE LIGHTHOUSE"\n'
    assert mended.text == f"{LONG}{whole}30 END\n"
    assert [(m.line, m.kind) for m in mended.mends] == [(3, "wrapped-line")]
    assert "with a blank between" in mended.mends[0].sentence


def test_a_line_wrapped_in_several_rows_is_joined_whole():
    """Every rest is joined to the line as it has grown."""
    text = (
        "10 REM ALL THE HARBOURS ROUND THE BAY ARE\nNAMED IN THIS PROGRAM AND EVERY ONE OF\n"
        "THEM HAS A TIDE\n20 END\n"
    )
    assert mend(text).text == (
        "10 REM ALL THE HARBOURS ROUND THE BAY ARE NAMED IN THIS PROGRAM AND EVERY ONE OF "
        "THEM HAS A TIDE\n20 END\n"
    )


def test_an_open_quote_that_the_next_row_closes_is_joined():
    """The quote shows that the row belongs there, however short it is."""
    mended = mend('10 PRINT "HELLO\nWORLD"\n20 END\n')
    assert mended.text == '10 PRINT "HELLO WORLD"\n20 END\n'


def test_flowed_mail_keeps_its_blank_at_the_break():
    """RFC 3676: a row of flowed text ends with the blank that it was broken at."""
    assert mend('10 PRINT "HELLO \nWORLD"\n20 END\n').text == '10 PRINT "HELLO WORLD"\n20 END\n'


def test_rows_cut_at_a_fixed_width_are_joined_with_nothing_between():
    """Where three rows are exactly as long as the widest, the page cut through words."""
    lines = [f'{n}0 PRINT "ONE LONG TEXT FOR THE SCREEN OF THE BOARD {n}"' for n in (1, 2, 3)]
    cut = "".join(f"{line[:40]}\n{line[40:]}\n" for line in lines)
    assert mend(cut).text == "".join(f"{line}\n" for line in lines)


def test_a_short_row_without_a_number_is_doubted():
    """Nothing shows whether it was wrapped, so it stays for the user to decide."""
    assert doubts("10 PRINT A\nfoo bar\n20 END\n") == [(2, "row-without-number")]


@pytest.mark.parametrize(
    ("first", "rest"),
    [
        ("10 LET A=B+C+D+E+F+G+H+I+J+K+L:PRINT TID", "E"),
        ('10 PRINT "HIGH WATER AT THE HARBOUR WALL', 'TODAY"'),
    ],
)
def test_one_full_row_cut_in_a_word_or_a_text_is_doubted(first, rest):
    """It may be cut at this width, or broken at a blank: only the source can tell."""
    shown = mend(f"{first}\n{rest}\n20 END\n")
    assert shown.text == f"{first}\n{rest}\n20 END\n"
    assert [(found.line, found.kind) for found in shown.doubts] == [(2, "row-without-number")]


def test_one_full_row_cut_beside_a_sign_is_joined():
    """A blank beside a sign outside quoted text changes nothing, so joining is safe."""
    mended = mend("10 LET A=B+C+D+E+F+G+H+I+J+K+L:LET X=Y+Z+\nW\n20 END\n")
    assert mended.text == "10 LET A=B+C+D+E+F+G+H+I+J+K+L:LET X=Y+Z+ W\n20 END\n"
