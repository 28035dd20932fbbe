"""The booklet: its parts and numbers, its index, and all of it as a browser prints it."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.jobs.language_of import known_profiles
from hostlink.listing import Listing
from hostlink.publish.booklet import booklet
from hostlink.publish.details import ProgramDetails
from hostlink.publish.program import PublishedProgram, publish
from hostlink.shipped import library_folder

PRACTICE = find_profile("practice")
HOSTILE = '</style><script>alert(1)</script>"\\0a }\u202e\x1b'


def program(text: str, name: str, title: str = "") -> PublishedProgram:
    """A program to publish."""
    return publish(Listing.from_text(text), PRACTICE, ProgramDetails(name, title))


def library() -> list[PublishedProgram]:
    """Every shipped program."""
    return [
        program(path.read_text(encoding="ascii"), path.stem.upper())
        for path in sorted(library_folder().glob("*.bas"))
    ]


def entries(page: str, heading: str) -> dict[str, str]:
    """One index of a booklet: what is in it, and where."""
    part = page.split(f"<h2>{heading}</h2>")[1].split("</dl>")[0]
    told = re.findall("<dt><bdi>(.*?)</bdi></dt><dd>(.*?)</dd>", part)
    return {what: re.sub("</?span>", "", where) for what, where in told}


def test_words_and_names_are_indexed_by_the_numbers_of_programs() -> None:
    """Three and more in a row are a span; a word that all use says so; quoted words are none."""
    page = booklet(
        [
            program('10 PRINT "INPUT"\n20 GOTO 10\n', "B"),
            program("10 PRINT RND(6)\n", "A"),
            program("10 PRINT RND(6)\n", "D"),
            program("10 PRINT RND(6)\n20 REM GOSUB\n", "C"),
        ],
        "Four",
    )
    assert entries(page, "Programs by name") == {"A": "2", "B": "1", "C": "4", "D": "3"}
    words = entries(page, "Words and the programs that use them")
    assert words == {"GOTO": "1", "PRINT": "all", "REM": "4", "RND": "2\u20134"}


def test_a_word_of_another_basic_is_indexed_whole() -> None:
    """STOP, READ and DATA, which the board does not know, and not the TO and OR in them; a program
    that it knows is read by its own words."""
    known = [profile.rules.language for profile in known_profiles().values()]
    page = booklet(
        [
            program('10 READ A\n20 DATA TO,5\n30 IF A=1 STOP\n40 PRINT "FOR"\n50 RESTORE\n', "A"),
            program("10 FOR I=STOP\n20 PRINT I\n30 NEXT I\n", "B"),
        ],
        "Two",
        known,
    )
    words = entries(page, "Words and the programs that use them")
    assert words.pop("PRINT") == "all"
    assert {word for word in words if words[word] == "2"} == {"FOR", "NEXT", "TO"}
    assert set(words) == {"DATA", "FOR", "IF", "NEXT", "READ", "RESTORE", "STOP", "TO"}


def test_each_program_begins_a_page_that_has_its_number_above(
    printed: Callable[..., tuple[int, list[str]]],
) -> None:
    """All shipped programs, printed by Chromium: contents, heads and page numbers agree."""
    programs = library()
    pages, rows = printed(booklet(programs, "Evening"))
    found = [" ".join(row.replace("\f", "").split()) for row in rows]
    for at, each in enumerate(programs, 1):
        name = each.details.name
        assert any(f"{at} {name} {each.ledger.total:,} bytes" in row for row in found), name
        assert f"{name} {at}" in found, name
        assert f"all lines together ALL {each.codes.whole}" in found, name
    assert [row for row in found if row.startswith("page ")] == [
        f"page {number} of {pages}" for number in range(1, pages + 1)
    ]


def test_contents_of_many_programs_take_one_page_and_no_span_is_broken(
    printed: Callable[..., tuple[int, list[str]]],
) -> None:
    """Sixty programs, two of three with RND: the first begins on page 2 at the latest, with the
    steps before it, and no row of the index ends in a dash or begins with one."""
    some = [
        program(f"10 PRINT {'RND(6)' if at % 5 else 'B'}\n", f"NUMBER-{at}") for at in range(1, 61)
    ]
    _, rows = printed(booklet(some, "Sixty"))
    text = "\n".join(rows)
    contents = text[: text.index("page 1 of")]
    assert all(f"NUMBER-{at} " in contents for at in range(1, 61))
    assert "1\u20134, 6\u20139" in text
    assert not re.search("\u2013\\s|\\s\u2013", text[text.index("Words and the") :])


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_long_lines_and_names_stay_on_the_paper(
    printed: Callable[..., tuple[int, list[str]]], paper: str
) -> None:
    """Of what has no blank to be broken at, not one character is lost at the edge."""
    long = "Z" * 200
    _, rows = printed(booklet([program(f"10 REM{long}\n", "N" * 40, long)], long), paper)
    assert sum(row.count("Z") for row in rows) == 4 * 200  # heading, contents, title, line


def test_hostile_text_ends_neither_style_nor_string() -> None:
    """A name and a title that close the style sheet, a string of it, or the page."""
    page = booklet([program("10 REM </pre><b>\n", HOSTILE, HOSTILE)], HOSTILE)
    assert page.count("</style>") == page.count("<style>") == 1
    assert "<script" not in page
    assert "script-src" not in page
    assert "\u202e" not in page
    name = re.search(r'@top-left { content: "([^"\n]*)"; }', page)
    assert name is not None
    back = re.sub(r"\\([0-9a-f]+) ", lambda code: chr(int(code[1], 16)), name[1])
    assert back == HOSTILE.replace("\u202e", "").replace("\x1b", "")[:40]
