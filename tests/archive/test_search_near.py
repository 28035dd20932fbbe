"""Questions that nothing matches whole: slips of the keys, parts of words, some of the words."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from string import ascii_lowercase

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.search.index import WordIndex
from hostlink.archive.search.near import slips
from hostlink.archive.search_words import words


def content(text: str) -> Content:
    return Content(text.encode(), text, text, "practice", "latin-1", len(text))


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """Five programs and a rescue."""
    with Archive.open(tmp_path_factory.mktemp("near") / "archive.sqlite3") as archive:
        red = archive.board_seen(location="practice://red")
        archive.board_label(red.uuid, "Red")
        archive.keep("TIDE", content('10 PRINT "LANTERN EBB FLOOD"\n'), Origin("file"))
        archive.keep("MAZE", content('10 PRINT "LANTERN EBB"\n'), Origin("file"), title="Timetable")
        archive.keep("LAMP", content("10 REM LANTERN\n"), Origin("board", "Red", red.uuid))
        archive.keep("LANES", content("10 REM LANTERNS\n"), Origin("file"), title="Buoy race")
        archive.keep("DICE", content("10 LET A=1\n"), Origin("file"), title="Throw the dice")
        archive.rescue(content("10 REM EBB BUOY\n"), Origin("rescue", "Red", red.uuid))
        yield archive


def one_edit(first: str, second: str) -> bool:
    """Whether two words differ by one of the four slips of F. J. Damerau, "A technique for
    computer detection and correction of spelling errors", Communications of the ACM 7 (1964),
    counted by the usual table of distances (optimal string alignment)."""
    table = [[0] * (len(second) + 1) for _ in range(len(first) + 1)]
    for i in range(len(first) + 1):
        for j in range(len(second) + 1):
            if not i or not j:
                table[i][j] = i + j
                continue
            same = first[i - 1] == second[j - 1]
            table[i][j] = min(
                table[i - 1][j] + 1, table[i][j - 1] + 1, table[i - 1][j - 1] + (not same)
            )
            if i > 1 and j > 1 and first[i - 2 : i] == second[j - 2 : j][::-1]:
                table[i][j] = min(table[i][j], table[i - 2][j - 2] + 1)
    return table[-1][-1] == 1


@pytest.mark.parametrize("word", ["tide", "hail", "aab", "lantern"])
def test_slips_are_all_words_one_edit_away(word: str) -> None:
    """Each is one, none is missing but those that change or add the first letter, all in order."""
    around = slips(word)
    assert around == sorted(set(around)) and all(one_edit(word, each) for each in around)
    choose = random.Random(3)
    for _ in range(3000):
        letters = list(word)
        at = choose.randrange(1, len(word))
        match choose.randrange(3):
            case 0:
                letters[at] = choose.choice(ascii_lowercase)
            case 1:
                letters.insert(at, choose.choice(ascii_lowercase))
            case _:
                letters[at - 1 : at + 1] = reversed(letters[at - 1 : at + 1])
        made = "".join(letters)
        assert made == word or made in around
    assert {word[:at] + word[at + 1 :] for at in range(len(word))} <= {*around, word}


@pytest.mark.parametrize("word", ["", "ab", "x7yz", "größe", "a" * 21])
def test_short_long_and_other_words_have_no_slips(word: str) -> None:
    """Of two letters too much would be near, and a number is not looked for with another digit."""
    assert slips(word) == []


def test_words_are_looked_up_as_in_a_plain_list(shelf: Archive) -> None:
    """Passing over what cannot be there skips nothing that is."""
    choose = random.Random(5)
    with shelf.reading("x") as db:
        index = WordIndex(db)
        listings = [row[0] for row in db.execute("SELECT text FROM listings")]
        there = {word for text in listings for word in words(text)}
        for _ in range(50):
            some = sorted({"".join(choose.choices("abelnrt", k=3)) for _ in range(30)} | {"ebb"})
            some = sorted({*some, *choose.sample(sorted(there), 3)})
            assert list(index.held("listing_words", some)) == [w for w in some if w in there]


@pytest.mark.parametrize(
    ("question", "found", "near"),
    [
        ("lanten flood", ["TIDE@1"], ['Nothing has "lanten"; "lantern" is looked for instead.']),
        ("folod", ["TIDE@1"], ['Nothing has "folod"; "flood" is looked for instead.']),
        ("throww", ["DICE@1"], ['Nothing has "throww"; "throw" is looked for instead.']),
        ("metab", ["MAZE@1"], ["Nothing begins with this word; these have it inside a name or"]),
        ("uoy", ["LANES@1"], ["Nothing begins with this word; these have it inside a name or"]),
        ("loo", ["TIDE@1"], ['Nothing has "loo"; "flood" is looked for instead.']),
        ("nter flood", ["TIDE@1"], ['Nothing has "nter"; "lantern" is looked for instead.']),
        ("zzzz", [], []),
        ("lantern flood", ["TIDE@1"], []),
    ],
)
def test_a_slip_or_a_part_of_a_word_is_found_and_said(
    shelf: Archive, question: str, found: list[str], near: list[str]
) -> None:
    """In listings and in titles; a question that is matched whole is answered as ever."""
    matches = shelf.find(question, near=True)
    assert [each.item.spec for each in matches] == found
    assert len(matches.near) == len(near)
    assert all(said.startswith(due) for said, due in zip(matches.near, near, strict=True))
    if near:
        assert shelf.find(question) == []


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("strasse", "LAMP"), ("straße", "LAMP"), ("fluss", "TIDE"), ("weißbier", "DICE"),
        ("groesse", "TIDE"), ("größe", "TIDE"), ("mueller", "LAMP"),
    ],
)  # fmt: skip
def test_a_word_is_found_with_and_without_the_letters_of_german(
    asked: str, name: str, tmp_path: Path
) -> None:
    """In names, notes and listings; two letters stand for one where a board has not got it."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        archive.keep("TIDE", content("10 REM FLUSS\n"), Origin("file"))
        archive.note("TIDE", "Größe")
        archive.keep("LAMP", content("10 REM MULLER\n"), Origin("file"), title="Die Straße")
        archive.keep("DICE", content("10 REM WEISSBIER\n"), Origin("file"))
        found = archive.find(asked, near=True)
        assert [one.program.name for one in found if one.program] == [name]


def test_a_part_of_a_name_comes_before_a_near_spelling(tmp_path: Path) -> None:
    """Unless what narrows the search leaves no program with that part."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        archive.keep("HAILSTONE", content("10 END\n"), Origin("file"))
        archive.keep("CHIME", content("10 TONE 8,440,50\n"), Origin("file"))
        archive.tag("CHIME", "bells")
        assert [each.item.spec for each in archive.find("stone", near=True)] == ["HAILSTONE@1"]
        narrowed = archive.find("stone", near=True, tag="bells")
        assert [each.item.spec for each in narrowed] == ["CHIME@1"]


def test_a_part_of_a_word_in_a_listing_is_marked_with_the_word(tmp_path: Path) -> None:
    """An exact part comes before a slip, and the most frequent of several words is taken; then the
    index finds all listings with that, however old."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        for name, text in (
            ("ONE", "10 REM THE LIGHTHOUSE\n"),
            ("TWO", "10 REM THE LIGHTHOUSES\n20 GREENHOUSE\n"),
            ("THREE", "10 REM A HORSE\n"),
        ):
            archive.keep(name, content(text), Origin("file"))
        matches = archive.find("house", near=True)
    assert matches.near == ('Nothing has "house"; "lighthouse" is looked for instead.',)
    assert {each.item.spec for each in matches} == {"ONE@1", "TWO@1"}
    assert {each.marked for each in matches} >= {"10 REM THE »LIGHTHOUSE«"}


def test_what_is_found_by_a_note_or_a_tag_shows_that(tmp_path: Path) -> None:
    """The row of the note with the words, or the tags; a line of the listing comes first."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        archive.keep("LAMP", content("10 END\n"), Origin("file"))
        archive.note("LAMP", "Of brass.\nFor the harbour of Elm.")
        archive.tag("LAMP", "friday")
        assert archive.find("harbour elm")[0].marked == "note: For the »harbour« of »Elm«."
        assert archive.find("friday")[0].marked == "tags: »friday«"
        assert archive.find("end")[0].marked == "10 »END«"
        assert archive.find("lamp")[0].line == ""


def test_what_has_most_of_the_words_comes_first(shelf: Archive) -> None:
    """Rescues too; each says which of the words it has, in its listing or its title."""
    matches = shelf.find("lantern buoy ebb flood zzzz", near=True)
    assert [(each.item.spec, each.words) for each in matches] == [
        ("TIDE@1", ("lantern", "ebb", "flood")),
        ("LANES@1", ("lantern", "buoy")),
        ("MAZE@1", ("lantern", "ebb")),
        ("rescue@1", ("buoy", "ebb")),
        ("LAMP@1", ("lantern",)),
    ]
    assert matches.near == ("Nothing has all the words; what has most of them comes first.",)
    assert matches[0].marked == '10 PRINT "»LANTERN« »EBB« »FLOOD«"'
    assert [each.item.spec for each in shelf.find("lantern buoy flood", near=True, limit=2)] == [
        "LANES@1",
        "TIDE@1",
    ]


def test_what_narrows_a_search_narrows_what_comes_near(shelf: Archive) -> None:
    """Nothing comes from another board, or has another tag, only because it is near."""
    red = shelf.find("lanten", near=True, board="Red")
    assert [each.item.spec for each in red] == ["LAMP@1"]
    some = shelf.find("lantern ebb buoy flood", near=True, board="Red")
    assert [each.item.spec for each in some] == ["rescue@1", "LAMP@1"]
    assert shelf.find("lanten", near=True, tag="none") == []


def test_an_empty_archive_has_nothing_near(tmp_path: Path) -> None:
    """And no words to compare with."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        matches = archive.find("lantern flood", near=True)
    assert (matches, matches.near) == ([], ())
