"""Finding things by their words."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.search.search import BestLine
from hostlink.archive.search_words import marks, spaced, words, words_only_in
from hostlink.errors import ArchiveError

MakeContent = Callable[..., Content]


def specs(archive: Archive, question: str, **options: str) -> list[str]:
    """What is found, as specs."""
    return [found.item.spec for found in archive.find(question, **options)]


def fill(archive: Archive) -> None:
    """Programs of the class, one of them with two revisions, and a rescue."""

    def content(text: str) -> Content:
        return Content(text.encode(), text, text, "practice", "latin-1", len(text))

    red = archive.board_seen(location="practice://red")
    archive.board_label(red.uuid, "Red")
    board = Origin("board", "Red", red.uuid)
    archive.keep(
        "TIDE", content('10 PRINT "EBB"\n20 GOSUB900\n900 RETURN\n'), board, title="Sea clock"
    )
    archive.keep("TIDE", content('10 PRINT "FLOOD"\n20 GOSUB 800\n800 RETURN\n'), board)
    archive.keep("MAZE", content("10 REM WALLS\n20 GOTO 9000\n"), Origin("file"), title="A maze")
    archive.keep("DICE", content("10 LET A=1\n20 GOSUB 900\n900 RETURN\n"), Origin("file"))
    archive.tag("MAZE", "game")
    archive.note("DICE", "For the café table, <b>bold</b>")
    archive.rescue(content('10 PRINT "LOST WALLS"\n'), Origin("rescue", "Red", red.uuid))


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """The filled archive; searching does not change it."""
    with Archive.open(tmp_path_factory.mktemp("search") / "archive.sqlite3") as archive:
        fill(archive)
        yield archive


@pytest.mark.parametrize(
    ("question", "found"),
    [
        ("GOSUB 900", ["DICE@1", "TIDE@1"]),
        ("gosub900", ["DICE@1", "TIDE@1"]),
        ("900 gosub", ["DICE@1", "TIDE@1"]),
        ("ebb", ["TIDE@1"]),
        ("flood", ["TIDE@2"]),
        ("tide", ["TIDE@2"]),
        ("sea", ["TIDE@2"]),
        ("clo", ["TIDE@2"]),
        ("sea ebb", ["TIDE@1"]),
        ("maze 9000", ["MAZE@1"]),
        ("game", ["MAZE@1"]),
        ("cafe", ["DICE@1"]),
        ("walls", ["MAZE@1", "rescue@1"]),
        ("90", []),
        ("ebb flood", []),
        ("nothing like it", []),
    ],
)
def test_words_are_found_wherever_they_are(shelf: Archive, question: str, found: list[str]) -> None:
    """In name, title, note, tag or any listing; the newest fitting revision of each program."""
    assert specs(shelf, question) == found


@pytest.mark.parametrize(
    ("question", "line"),
    [
        ("gosub 900", "20 GOSUB900"),
        ("ebb", '10 PRINT "EBB"'),
        ("return", "900 RETURN"),
        ("print ebb", '10 PRINT "EBB"'),
        ("gosub800", "15 GOSUB800"),
        ("return900", "900 RETURN"),
    ],
)
def test_the_line_that_fits_best_is_shown(archive: Archive, question: str, line: str) -> None:
    """A result shows the line that holds most of the words, next to each other if anywhere."""
    text = '10 PRINT "EBB"\n15 GOSUB800\n20 GOSUB900\n900 RETURN\n'
    archive.keep("TIDE", Content(text.encode(), text, text, "p", "latin-1"), Origin("file"))
    (found,) = archive.find(question)
    assert found.line == line


@pytest.mark.parametrize(
    ("line", "asked", "found"),
    [
        ("20 GOSUB900", ["gosub", "900"], [(3, 11)]),
        ("20 GOSUB 900", ["gosub900"], [(3, 8), (9, 12)]),
        ("10 PRINTING 1900", ["print", "900"], [(3, 8)]),
        ("10 IF A=1 THEN AB", ["a"], [(6, 7)]),
        ("10 REM Ünder ünde", ["ünd"], [(7, 10), (13, 16)]),
        ("", ["a"], []),
    ],
)
def test_words_are_marked_where_the_search_finds_them(
    line: str, asked: list[str], found: list[tuple[int, int]]
) -> None:
    """Whole words and beginnings of words; part of a number is not marked."""
    assert marks(line, asked) == found


def test_tag_and_board_narrow_or_choose_alone(shelf: Archive) -> None:
    """With words they narrow the search; without they list."""
    assert specs(shelf, "", tag="GAME") == ["MAZE@1"]
    assert specs(shelf, "walls", tag="game") == ["MAZE@1"]
    assert specs(shelf, "ebb", tag="game") == []
    assert specs(shelf, "", board="red") == ["TIDE@2", "rescue@1"]
    assert specs(shelf, "gosub", board="red") == ["TIDE@2"]
    assert specs(shelf, "ebb", board="red") == ["TIDE@1"]
    with pytest.raises(ArchiveError, match='no board "rad"'):
        shelf.find("x", board="rad")


def test_results_are_limited_and_latest_revisions_come_first(shelf: Archive) -> None:
    """Programs whose latest revision fits come before those where only an older one does."""
    assert specs(shelf, "gosub") == ["DICE@1", "TIDE@2"]
    assert specs(shelf, "900") == ["DICE@1", "TIDE@1"]
    assert [found.item.spec for found in shelf.find("gosub", limit=1)] == ["DICE@1"]
    assert shelf.find("gosub", limit=0) == []


def test_retired_programs_are_found_last(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """A retired program is not lost to the search."""
    archive.keep("OLD", content("10 A\n"), from_file)
    archive.keep("NEW", content("10 A\n20 A\n"), from_file)
    archive.retire("NEW")
    assert specs(archive, "10") == ["OLD@1", "NEW@1"]
    archive.rescue(content("10 REM LOST\n"), Origin("rescue"))
    assert specs(archive, "10") == ["OLD@1", "rescue@1", "NEW@1"]
    archive.retire("OLD")
    assert [found.item.spec for found in archive.find("10", limit=1)] == ["rescue@1"]


def test_the_index_follows_every_change(
    archive: Archive, content: MakeContent, from_file: Origin
) -> None:
    """New titles, notes and tags are found at once; tags taken off are not any more."""
    archive.keep("TIDE", content("10 A\n"), from_file, title="Sea clock")
    archive.note("TIDE", "harbour")
    archive.tag("TIDE", "brass")
    for word in ("sea", "harbour", "brass"):
        assert specs(archive, word) == ["TIDE@1"]
    archive.keep("TIDE", content("10 A\n"), from_file, title="Ebb and flow")
    archive.untag("TIDE", "brass")
    assert specs(archive, "sea") == specs(archive, "brass") == []
    assert specs(archive, "ebb") == ["TIDE@1"]


@given(st.text(max_size=60))
def test_any_question_is_answered(shelf: Archive, question: str) -> None:
    """No text whatever makes the search raise."""
    assert isinstance(shelf.find(question), list)
    assert isinstance(shelf.find(question, tag=question), list)


@given(st.text(alphabet="\"*^:(){}+-~?\\'$%_ ANDORTEI9\x00\n", max_size=40))
def test_query_syntax_is_only_text(shelf: Archive, question: str) -> None:
    """The characters and words of the index's own query language mean nothing."""
    shelf.find(question)
    for keyword in ("AND", "OR", "NOT", "NEAR"):
        shelf.find(f'{keyword} "{question}')
        shelf.find(f"{question} {keyword} {question}")


@pytest.mark.parametrize("question", ["x " * 3000, "9" * 5000, "q7" * 2000, '"' * 999])
def test_huge_questions_are_answered(shelf: Archive, question: str) -> None:
    """Long questions are cut, not refused."""
    assert shelf.find(question) == []


@given(st.text(max_size=80))
def test_every_word_of_a_listing_finds_it(text: str) -> None:
    """The words of text and of its parted form together are what the index is given."""
    parted = spaced(text)
    extra = words_only_in(parted, text)
    assert set(words(parted)) <= set(words(text)) | set(words(extra))
    assert not set(words(extra)) & set(words(text))


def test_a_line_is_not_chosen_for_part_of_a_number() -> None:
    """GOSUB 900 does not point at GOSUB 9000."""
    text = "10 GOSUB 9000\n20 GOSUB 900\n30 GOSUB 1900\n"
    assert BestLine(["gosub", "900"]).of(text) == "20 GOSUB 900"
    assert BestLine(["maze"]).of(text) == ""
    assert BestLine(["gosub", "vol"]).of("10 GOSUB 5\n20 VOLUME GOSUB\n") == "20 VOLUME GOSUB"
