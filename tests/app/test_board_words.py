"""Sentences and the ruler: pure functions, held to properties for all sizes."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from hostlink.app.actions.table import way_to
from hostlink.app.board_words import (
    KnownContents,
    ago,
    board_sentence,
    finding_words,
    room_words,
    with_revision_words,
)
from hostlink.board.profile.file import find_profile
from hostlink.jobs.session.activity import Activity, BoardState
from hostlink.listing import Listing, Rules, Storage, measure, review
from hostlink.ruler import ruler
from hostlink.words import BEYOND, HERE, LIMIT, safe

SIZES = st.integers(0, 5000)


def test_a_sentence_names_a_revision_as_the_headings_do() -> None:
    """Rescues, backups and runs are listed by the names that they have there."""
    assert with_revision_words("Kept as 5@1.") == "Kept as 5 revision 1."
    assert with_revision_words("MY TRUN@12 is on it") == "MY TRUN revision 12 is on it"
    same = "Kept as rescue@1 and backup@2; run@3 printed 4@home"
    assert with_revision_words(same) == same


@given(st.integers(4, 200), SIZES, SIZES)
def test_the_ruler_always_has_its_width(width: int, total: int, limit: int) -> None:
    """Whatever is measured, the row fills its place exactly and never more."""
    assert len(ruler(width, total, limit)) == width


@given(st.integers(20, 200), st.integers(1, 5000), st.integers(1, 5000))
def test_the_ruler_marks_the_limit_once_and_shows_only_true_excess(
    width: int, total: int, limit: int
) -> None:
    """The limit stands once; what goes beyond it is shown only where the listing does not fit."""
    drawn = ruler(width, total, limit)
    assert drawn.count(LIMIT) == 1
    if total <= limit:
        assert BEYOND not in drawn
    if total >= 2 * limit:
        assert drawn.count(BEYOND) >= width // 2 - 1


def test_the_line_at_the_cursor_is_shown_at_its_place() -> None:
    """Bytes 500 to 600 of 1000 are the sixth tenth of the row."""
    drawn = ruler(100, 1000, 0, here=(500, 600))
    assert drawn[50:60] == HERE * 10
    assert drawn.count(HERE) == 10


def test_room_is_told_in_words_with_units() -> None:
    """What does not fit is said as so many bytes over."""
    rules = Rules(storage=Storage(program_bytes=10))
    # 2 bytes number, 1 end, text: 10 + 8 bytes of text is 3 over 8... measured by hand: 2+1+8 = 11.
    over = measure(Listing.from_text("10 PRINT 77\n"), rules)
    assert over.total == 11
    assert room_words(over) == "11 of 10 bytes: 1 byte over"
    fits = measure(Listing.from_text("10 END\n"), rules)
    assert room_words(fits) == "6 of 10 bytes, 4 free"


def test_a_board_is_told_in_one_sentence() -> None:
    """What it holds: a revision, a changed one, an unknown program, nothing, or not read yet."""
    tide = KnownContents(True, "TIDE@3", 12, 412, 999)
    assert board_sentence("Red", tide) == "Red holds TIDE revision 3, 412 of 999 bytes"
    changed = KnownContents(True, "TIDE@3", 12, 412, 999, changed=True)
    assert "TIDE revision 3, changed since" in board_sentence("Red", changed)
    assert "not in the archive" in board_sentence("Red", KnownContents(True, "", 2, 40, 999))
    assert (
        board_sentence("Red", tide, away="/dev/ttyUSB0")
        == "Red was unplugged; hostlink is waiting for it to come back"
    )
    assert board_sentence("Red", tide, away="socket://far:4000").startswith(
        "Red lost its connection; "
    )
    assert (
        board_sentence("Red", KnownContents(True, "", 0, 0, 999))
        == "Red holds no program, 0 of 999 bytes"
    )
    assert "not been read" in board_sentence("Red", KnownContents())
    doing = "is being loaded with TIDE revision 4"
    assert board_sentence("Red", tide, doing=doing) == f"Red {doing}"


@pytest.mark.parametrize("name", ["Red", "the board at /dev/serial/by-id/usb-1a86_USB_Serial-if00"])
@pytest.mark.parametrize("width", [37, 57, 77])
def test_the_key_that_stops_a_program_is_never_cut_off(name: str, width: int) -> None:
    """The board's name, the program and the question are shortened first; the sentence fits."""
    held = KnownContents(True, "A_LONG_PROGRAM_NAME@12", 12, 412, 999)
    for state in (
        BoardState(Activity.RUNNING),
        BoardState(Activity.ASKING, "HOW MANY OF THEM DO YOU WANT?"),
        BoardState(Activity.BUSY),
    ):
        for more in ("", "(2 other boards attached)"):
            words = board_sentence(name, held, state, more=more, width=width)
            assert cell_len(words) <= width
            assert words.endswith(("; stop it with F8", ")"))
            assert "; stop it with F8" in words


def test_a_shortened_name_keeps_its_end() -> None:
    """The end of a port's name tells two boards apart; wide characters are counted as two."""
    held = KnownContents(True, "TIDE@3", 12, 412, 999)
    port = "the board at /dev/serial/by-id/usb-port0"
    one = board_sentence(port, held, width=57)
    assert re.fullmatch(r"The.*….*port0 holds TIDE revision 3, 412 of 999 bytes", one)
    assert cell_len(board_sentence("緑" * 40, held, width=57)) <= 57


@given(st.text())
def test_plain_text_holds_no_character_that_a_terminal_obeys(text: str) -> None:
    """Control characters are written out, so that nothing from a board is obeyed."""
    assert safe(text).isprintable()


def test_ages_are_told_in_the_largest_whole_unit() -> None:
    """Two hours and a half are two hours ago."""
    now = datetime(2031, 5, 1, 12, 0, tzinfo=UTC)
    assert ago(now - timedelta(minutes=150), now) == "2 hours ago"
    assert ago(now - timedelta(days=1, hours=3), now) == "1 day ago"
    assert ago(now, now) == "just now"


def test_the_row_at_the_cursor_comes_first_then_what_is_of_the_whole_listing() -> None:
    """Else the worst finding of another line, by its number; how many more there are is told."""
    checked = review(Listing.from_text("10 GOTO 99\n20 PRINT 1\n30 GOTO 98\n"), Rules())
    assert len(checked.findings) == 2
    assert "98" in finding_words(checked, 2) and "Line" not in finding_words(checked, 2)[:5]
    assert finding_words(checked, 1).startswith("Line 10: ")
    assert finding_words(checked, 1).endswith("(Escape, then I: 1 more)")
    clean = review(Listing.from_text("10 PRINT 1\n"), Rules())
    assert finding_words(clean, 0) == "The review found nothing wrong."


def test_advice_for_a_listing_that_is_too_big_is_what_can_help() -> None:
    """Shrinking, unless more than half of the bytes would have to go."""
    listing = Listing.from_text("".join(f"{number} PRINT {number}\n" for number in range(10, 60)))
    size = measure(listing, Rules()).total
    slightly = review(listing, Rules(storage=Storage(program_bytes=size - 5)))
    assert f"{way_to('shrink')} makes it smaller." in finding_words(slightly, 90)
    far = review(listing, Rules(storage=Storage(program_bytes=size // 3)))
    assert "divide it into several programs." in finding_words(far, 90)
    assert way_to("shrink") not in finding_words(far, 90)


def test_a_finding_names_its_line_once() -> None:
    """A message that begins with the line's number gets no other in front."""
    rules = Rules(storage=Storage(program_bytes=999))
    out_of_order = review(Listing.from_text("10 PRINT 1\n30 END\n20 STOP\n"), rules)
    words = finding_words(out_of_order, 0)
    assert words.startswith("Line 20 comes after line 30.")
    elsewhere = review(Listing.from_text("10 PRINT 1\n20 GOTO 99\n"), rules)
    assert finding_words(elsewhere, 0).startswith("Line 20: GOTO 99")


def test_a_word_of_another_basic_names_the_way_to_adapt_the_listing() -> None:
    """Which the review itself cannot: it knows no keys."""
    capital = find_profile("capital").rules
    checked = review(Listing.from_text("20 IF A=1 THEN 40\n40 END\n"), capital, deep=True)
    assert [each.message for each in checked.findings] == [
        "This board's BASIC has no THEN, as far as hostlink knows."
    ]
    assert f"{way_to('adapt')} adapts the listing" in finding_words(checked, 0)
