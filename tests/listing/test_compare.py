"""Comparing listings."""

from __future__ import annotations

from hostlink.listing import Form, Language, Listing, Rules, Stretch, compare, unified

OLD = Listing.from_text("10 PRINT A\n20 GOTO 10\n30 END\n")


def test_added_removed_and_changed_lines_are_told_by_number():
    """Lines are matched by their number, wherever they stand."""
    new = Listing.from_text("40 STOP\n10 PRINT B\n30 END\n")
    outcome = compare(OLD, new)
    assert [line.typed for line in outcome.added] == ["40 STOP"]
    assert [line.typed for line in outcome.removed] == ["20 GOTO 10"]
    assert [(c.old.typed, c.new.typed) for c in outcome.changed] == [("10 PRINT A", "10 PRINT B")]
    assert outcome.changed[0].stretches == (Stretch(9, 10, 9, 10),)
    assert outcome.same_count == 1
    assert not outcome.equal


def test_a_listing_equals_itself():
    """Nothing differs, and every line is counted."""
    outcome = compare(OLD, OLD)
    assert outcome.equal
    assert outcome.same_count == 3


def test_rules_decide_what_is_equal():
    """Without rules a blank more is a change; with them it is what the board may rewrite."""
    listed = Listing.from_text("10 print  a\n20 goto 10\n30 end\n")
    rules = Rules(form=Form(case="upper", spacing="free"), language=Language(statements=("PRINT",)))
    assert len(compare(OLD, listed).changed) == 3
    assert compare(OLD, listed, rules).equal


def test_inserted_and_lost_characters_have_empty_counterparts():
    """An insertion is a stretch of no characters on the old side."""
    change = compare(OLD, Listing.from_text("10 PRINT A,B\n20 GOTO 1\n30 END")).changed
    assert change[0].stretches == (Stretch(10, 10, 10, 12),)
    assert change[1].stretches == (Stretch(9, 10, 9, 9),)


def test_lines_without_numbers_are_matched_by_their_text():
    """Direct commands are added or removed, never changed; each copy counts."""
    outcome = compare(Listing.from_text("RUN\nRUN\n10 A"), Listing.from_text("RUN\nNEW\n10 A"))
    assert [line.typed for line in outcome.added] == ["NEW"]
    assert [line.typed for line in outcome.removed] == ["RUN"]
    assert outcome.same_count == 2


def test_very_long_lines_get_one_stretch():
    """Beyond a size only the common start and end are looked for, so that it stays quick."""
    old, new = "10 " + "A" * 900 + "B" + "C" * 900, "10 " + "A" * 900 + "DD" + "C" * 900
    change = compare(Listing.from_text(old), Listing.from_text(new)).changed[0]
    assert change.stretches == (Stretch(903, 904, 903, 905),)


def test_the_unified_diff_is_that_of_the_trade():
    """Names, a hunk header and marked lines, as the POSIX diff utility's -u form has them."""
    new = Listing.from_text("10 PRINT A\n20 GOTO 20\n30 END\n")
    assert unified(OLD, new, "old", "new") == (
        "--- old\n+++ new\n@@ -1,3 +1,3 @@\n 10 PRINT A\n-20 GOTO 10\n+20 GOTO 20\n 30 END\n"
    )
    assert unified(OLD, OLD, "old", "new") == ""


def test_odd_separators_do_not_break_the_diff():
    """A form feed in a line or a line end in a name must not make lines of their own."""
    odd = Listing.from_text("10 A\f\u2028B\n")
    diff = unified(Listing(()), odd, "a\nb", "c\rd")
    assert diff.split("\n") == ["--- a b", "+++ c d", "@@ -0,0 +1 @@", "+10 A\f\u2028B", ""]


def test_the_changed_characters_do_not_depend_on_the_order():
    """The matcher behind it finds other stretches for AAB, BBA than for BBA, AAB; we do not."""
    old, new = Listing.from_text("10 AAB"), Listing.from_text("10 BBA")
    there, back = compare(old, new).changed[0], compare(new, old).changed[0]
    assert there.stretches == tuple(stretch.mirrored() for stretch in back.stretches)
    assert there.stretches
