"""The listing sheet: what stands on it, that all text is escaped, and that it reads back."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.errors import ListingError
from hostlink.listing import Listing, measure
from hostlink.listing.checkcodes import codes_of
from hostlink.publish.details import ProgramDetails
from hostlink.publish.program import publish
from hostlink.publish.qr import drawing
from hostlink.publish.sheet import sheet
from hostlink.publish.sheet_file import page_kind, read_sheet
from hostlink.shipped import library_folder

PRACTICE = find_profile("practice")
HOSTILE = "</td></tr><script>alert('1')</script>&amp;\"><img src=x onerror=alert(2)>"
OUTSIDE = re.compile(
    r"(?:href|src|action|data|poster|srcset)\s*=|url\(|@import|<script|<link", re.I
)


def made(text: str, details: ProgramDetails | None = None, profile: Profile = PRACTICE) -> str:
    """The sheet of a listing."""
    return sheet(publish(Listing.from_text(text), profile, details or ProgramDetails()))


def shown(page: str) -> str:
    """The text of a page, tags taken away; just enough for these tests."""
    body = page.split("<body>")[1]
    return " ".join(re.sub("<[^>]*>", " ", body).split())


def test_a_sheet_says_what_it_is_for_and_how_big() -> None:
    """Title, author, licence, board, bytes of the limit, lines, notes, the whole code."""
    text = "10 PRINT 1\n20 GOTO 10\n"
    details = ProgramDetails(
        "LAMP", "A lamp", "the class", "MIT", "It blinks.\n\nMind the resistor."
    )
    page = shown(made(text, details))
    total = measure(Listing.from_text(text), PRACTICE.rules).total
    for words in (
        *("A lamp", "program LAMP , by the class , licence MIT", "practice board"),
        *(
            f"{total} of 999 bytes, {999 - total} free",
            "lines 2",
            "It blinks.",
            "Mind the resistor.",
        ),
        codes_of(Listing.from_text(text), PRACTICE.rules).whole,
    ):
        assert words in page


def test_every_line_stands_beside_its_code() -> None:
    """For each shipped program, and the sheet gives back exactly the listing."""
    for path in sorted(library_folder().glob("*.bas")):
        text = path.read_text(encoding="ascii")
        page = made(text, ProgramDetails(path.stem.upper()))
        codes = codes_of(Listing.from_text(text), PRACTICE.rules)
        read = read_sheet(page, name=path.name)
        assert read.text == text
        assert read.codes == codes
        assert (read.details.name, read.profile) == (path.stem.upper(), "practice")


def test_nothing_outside_is_referred_to_and_no_script_is_in_it() -> None:
    """One file by itself, with a policy that forbids the browser to fetch or run anything."""
    page = made('10 PRINT "HTTPS://"\n', ProgramDetails("A", HOSTILE, HOSTILE, HOSTILE, HOSTILE))
    assert "default-src 'none'" in page
    assert not OUTSIDE.search(page.replace("&lt;script", "").replace("&lt;img src=x", ""))


def test_hostile_text_stays_text() -> None:
    """Tags and quotes in every field and in the listing come out as they went in."""
    text = f"10 REM {HOSTILE}\n"
    details = ProgramDetails("A", HOSTILE, HOSTILE, HOSTILE, HOSTILE)
    page = made(text, details)
    assert "<script" not in page
    assert "<img" not in page
    read = read_sheet(page, name="hostile")
    assert read.text == text
    assert read.details == details


def test_a_note_that_tells_author_and_licence_gives_them() -> None:
    """Rows of their own, in any case; what is made a note of again reads back."""
    note = "It blinks.\nAUTHOR: Ida\nlicence:  MIT \n\nMind: the lamp."
    read = ProgramDetails("LAMP", "Lamp").with_note(note)
    told = "It blinks.\n\nMind: the lamp."
    assert read == ProgramDetails("LAMP", "Lamp", "Ida", "MIT", told)
    assert ProgramDetails("LAMP", "Lamp").with_note(read.as_note()) == read
    assert ProgramDetails(notes="Plain.").as_note() == "Plain."


def test_text_from_right_to_left_stays_in_its_place() -> None:
    """A Hebrew title is shown; what turns the direction of other text is not."""
    title = "\u05d2\u05d0\u05d5\u05ea \u202e\u2066evil"
    page = made("10 END\n", ProgramDetails("A", title, title))
    assert '<h1 dir="auto" data-field="title">\u05d2\u05d0\u05d5\u05ea ??evil</h1>' in page
    assert '<span dir="auto" data-field="author">\u05d2' in page
    assert "\u202e" not in page


PRINTABLE = "".join(map(chr, range(32, 127)))


@given(
    st.lists(st.text(PRINTABLE, min_size=1, max_size=70), min_size=1, max_size=6),
    st.text(max_size=60),
)
def test_any_listing_and_title_read_back(texts: list[str], title: str) -> None:
    """Whatever is printable in a listing, and anything at all in a title."""
    rows = [f"{10 * n} {text.lstrip() or 'END'}" for n, text in enumerate(texts, 1)]
    text = "".join(row + "\n" for row in rows)
    read = read_sheet(made(text, ProgramDetails("X", title)), name="any")
    assert read.text == text
    printable = "".join(
        char if char.isprintable() else "?" if char != "\n" else " " for char in title
    )
    assert read.details.title == (" ".join(printable.split()) or ("X" if not title else ""))


def test_a_board_with_free_blanks_is_typed_with_and_coded_without_them() -> None:
    """People need the blanks; the code is that of the canonical form, and the sheet says so."""
    rules = replace(PRACTICE.rules, form=replace(PRACTICE.rules.form, spacing="free"))
    free = replace(PRACTICE, rules=rules)
    page = made("10 PRINT  A\n", profile=free)
    assert "blanks outside quotation marks left out" in shown(page)
    read = read_sheet(page, name="free")
    assert read.text == "10 PRINT  A\n"
    assert read.codes == codes_of(Listing.from_text("10 PRINTA\n"), rules)


def test_blanks_that_are_easily_overlooked_are_marked() -> None:
    """Runs, and those at the edges of quoted text; a single blank between words is not."""
    page = made('10 PRINT "A  B";" C";"D ";E\n')
    assert re.findall('<span class="gap">( +)</span>', page) == ["  ", " ", " "]


def test_what_has_no_code_or_no_line_makes_no_sheet() -> None:
    """Characters outside 32 to 126 are named; a listing without numbered lines is refused."""
    with pytest.raises(ListingError, match=r"U\+00E9"):
        made("10 PRINT \u00e9\n")
    with pytest.raises(ListingError, match="no numbered line"):
        made("RUN\n")


def test_a_program_too_big_for_its_board_says_so() -> None:
    """The bytes over stand where the free bytes would."""
    text = "".join(f'{n} PRINT "{"X" * 50}"\n' for n in range(10, 200, 10))
    assert "over" in shown(made(text)).split("lines")[0]


def test_a_listing_too_long_for_a_qr_code_has_none() -> None:
    """2,953 bytes are the most (ISO/IEC 18004, version 40-L); the sheet says why there is none."""
    assert drawing("A" * 2953) is not None
    assert drawing("A" * 2954) is None
    text = "".join(f'{n} PRINT "{"X" * 50}"\n' for n in range(10, 600, 10))
    assert "No QR code holds" in shown(made(text))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("PRINT 1", "PRINT 2", "does not have the code"),
        ("<i>10</i> <b>", "<i>10</i> <b>9", "not a numbered line and its code"),
        ("<i>10</i>", "<i>20</i>", "not a numbered line and its code"),
        ('class="code"', 'class="box"', "not have one code for each line"),
        ("10 PRINT", "PRINT", "not a numbered line and its code"),
        ("20 GOTO", "10 GOTO", "not a numbered line and its code"),
        ('data-field="whole"', "", "it lacks the check code of the whole program"),
        ('class="line"', 'class="row"', "no listing"),
        ('name="hostlink-page"', 'name="page"', "not a listing sheet"),
        ("<!DOCTYPE html>", "", "not a listing sheet"),
    ],
)
def test_a_changed_sheet_is_refused(old: str, new: str, told: str) -> None:
    """A sheet is held to its own codes; what was changed is named."""
    page = made("10 PRINT 1\n20 GOTO 10\n")
    assert old in page
    with pytest.raises(ListingError, match=told):
        read_sheet(page.replace(old, new), name="changed")


def test_a_row_taken_out_is_noticed_by_the_whole_code() -> None:
    """The other rows are right by themselves."""
    page = made("10 PRINT 1\n20 GOTO 10\n30 END\n")
    cut = re.sub(r'<code class="line">20 .*\n|<span class="code"><i>20<.*\n', "", page)
    assert page.count("\n") == cut.count("\n") + 2
    with pytest.raises(ListingError, match="together"):
        read_sheet(cut, name="cut")


def test_a_sheet_of_an_earlier_version_is_read() -> None:
    """Its codes stood in a column beside the lines; it was written by version 0.2.0."""
    file = Path(__file__).with_name("sheet-0.2.0.html")
    read = read_sheet(file.read_text(encoding="utf-8"), name=file.name)
    assert read.text.splitlines()[2] == '30 PRINT "LAMP  ";A'
    assert read.codes == codes_of(Listing.from_text(read.text), PRACTICE.rules)
    assert read.details == ProgramDetails("LAMP", "Landing lamp", "Ida", "", "It blinks.")


@given(st.data())
def test_rubbish_in_a_sheet_breaks_nothing(data: st.DataObject) -> None:
    """Cut, doubled or stuffed anywhere, a sheet is read or refused in a sentence."""
    page = made("10 PRINT 1\n20 GOTO 10\n", ProgramDetails("A", "T", "W", "L", "N"))
    start = data.draw(st.integers(0, len(page)))
    end = data.draw(st.integers(start, len(page)))
    stuff = data.draw(
        st.text(max_size=20) | st.sampled_from(["<td>", "</td>", "<table>", "<!--", "&#0;"])
    )
    try:
        read = read_sheet(page[:start] + stuff + page[end:], name="rubbish")
    except ListingError as error:
        assert "rubbish" in error.what
    else:
        assert Listing.from_text(read.text).numbered()


def test_other_pages_are_not_taken_for_sheets() -> None:
    """A card, some page, a listing that speaks of HTML."""
    from hostlink.publish.card import card

    assert page_kind(card(PRACTICE)) == "card"
    assert page_kind("<!DOCTYPE html><html><body>10 PRINT</body></html>") == ""
    assert page_kind('10 REM <meta name="hostlink-page" content="sheet"') == ""
    assert page_kind(made("10 PRINT\n")) == "sheet"
