"""The roads that a search takes through few and through very many rows: all lead to the same."""

from __future__ import annotations

import itertools
import random
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.search import hits as search_hits
from hostlink.archive.search import index as search_index
from hostlink.archive.search import within as search_within
from hostlink.archive.search.index import holds_all
from hostlink.archive.search_words import spaced, words, words_only_in
from hostlink.errors import ArchiveError

NOON = datetime(2031, 9, 3, 12, tzinfo=UTC)
WORDS = ("TIDE", "TIDES", "EBB", "EBBING", "LAMP", "BUOY", "GOSUB900", "GOSUB", "900", "REM", "X7")


def content(text: str) -> Content:
    return Content(text.encode(), text, text, "practice", "latin-1", len(text))


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """150 programs with 400 revisions and 60 rescues from a dozen words; seeded."""
    choose = random.Random(11)

    def text(most: int) -> str:
        return "".join(
            f"{number} {' '.join(choose.choices(WORDS, k=choose.randint(1, most)))}\n"
            for number in range(10, 10 * choose.randint(2, 5), 10)
        )

    minutes = itertools.count()

    def now() -> datetime:
        return NOON + timedelta(minutes=next(minutes))

    with Archive.open(tmp_path_factory.mktemp("hits") / "archive.sqlite3", now=now) as archive:
        boards = [archive.board_seen(location=f"practice://{n}") for n in range(3)]
        for number, board in enumerate(boards):
            archive.board_label(board.uuid, f"Board {number}")
        for number in range(150):
            name = f"P{number}"
            for _ in range(choose.randint(1, 4)):
                board = choose.choice(boards)
                title = choose.choice(["", "", "Tide table", "Lamp", "Ebb 900"])
                archive.keep(name, content(text(3)), Origin("board", "", board.uuid), title=title)
            if choose.random() < 0.3:
                archive.tag(name, choose.choice(["sea", "light"]))
            if choose.random() < 0.1:
                archive.retire(name)
        for _ in range(60):
            board = choose.choice(boards)
            archive.rescue(content(text(3)), Origin("rescue", "", board.uuid))
        yield archive


def asked(archive: Archive, **options: object) -> dict[str, set[str]]:
    """What one and two words find, without a limit that matters."""
    questions = [*WORDS, *(f"{a} {b}" for a in WORDS[:6] for b in WORDS[4:]), "gos", "tid 900"]
    return {
        question: {found.item.spec for found in archive.find(question, limit=1000, **options)}  # type: ignore[arg-type]
        for question in questions
    }


@pytest.mark.one_in(20)
@pytest.mark.parametrize("options", [{}, {"tag": "sea"}, {"board": "Board 1"}, {"size": (20, 40)}])
@pytest.mark.parametrize("name", ["MANY", "_STEPS", "_SAMPLE", "MOST_LONGER_WORDS", "_BATCHES"])
def test_every_road_finds_the_same(
    shelf: Archive, monkeypatch: pytest.MonkeyPatch, name: str, options: dict[str, object]
) -> None:
    """Reading the few or asking the index, one by one or by beginnings, small batches or large."""
    usual = asked(shelf, **options)
    assert sum(map(bool, usual.values())) > len(usual) / 2
    if name == "MANY":
        # Nothing is few, so listings are read wherever they can be; programs are all looked at.
        monkeypatch.setattr(search_index.WordIndex, "count", lambda *_: 10**6)
        monkeypatch.setattr(search_hits.Hits, "_rescues_by_listing", lambda *_: None)
        monkeypatch.setattr(search_hits, "_MOST_MIXED", 10**6)
    else:
        value = {"_BATCHES": (1, 2), "_STEPS": 10**6, "_SAMPLE": 1, "MOST_LONGER_WORDS": 0}[name]
        monkeypatch.setattr(search_hits, "_MOST_MIXED", 10**6)
        monkeypatch.setattr(search_index, name, value)
    assert asked(shelf, **options) == usual


@pytest.mark.parametrize("asked", [["tide", "table"], ["lamp"], ["ebb", "900"], ["sea", "zinc"]])
def test_programs_about_all_words_are_the_same_however_many_are_about_one(
    shelf: Archive, monkeypatch: pytest.MonkeyPatch, asked: list[str]
) -> None:
    """Few programs about each word are intersected; of many, the index finds the common ones."""

    def about() -> list[int]:
        with shelf.reading("x") as db:
            programs = search_hits.Hits(db, asked, search_hits.Within())._programs()
            return [program for batch in programs for program in batch]

    usual = about()
    assert bool(usual) is ("zinc" not in asked) and usual == sorted(usual, reverse=True)
    monkeypatch.setattr(search_hits, "_MOST_PROGRAMS", 1)
    assert about() == usual


def test_a_malformed_page_of_old_listings_does_not_stop_a_search(tmp_path: Path) -> None:
    """Estimating how frequent a word is reads old listings too; the new ones are still found."""
    path = tmp_path / "archive.sqlite3"
    with Archive.open(path) as archive:
        for number in range(40):
            rest = "".join(f"{line} REM FILLED {number}\n" for line in range(20, 2000, 10))
            text = f"10 REM MARK{number} {'EBB' if number > 37 else 'TIDE'}\n{rest}"
            archive.keep(f"P{number}", content(text), Origin("file"))
    held = bytearray(path.read_bytes())
    with sqlite3.connect(path) as db:
        size = db.execute("PRAGMA page_size").fetchone()[0]
    page = held.index(b"REM MARK0 TIDE") // size * size
    held[page : page + size] = b"\xff" * size
    path.write_bytes(held)
    with Archive.open(path, create=False) as archive:
        found = archive.find("rem ebb")
    assert [each.item.spec for each in found] == ["P39@1", "P38@1"]


def plainly(
    archive: Archive, question: str, since: datetime = NOON, before: datetime | None = None
) -> set[str]:
    """What a search of every text and every title must find, by the rules in words."""
    terms, found = words(question), set[str]()
    for program in archive.programs(retired=None):
        about = [*words(f"{program.name} {program.title}"), *program.tags]
        for revision in archive.history(program.name):
            if revision.at < since or (before and revision.at >= before):
                continue
            there = [*words(archive.content(revision).text)]
            there += [*about, *words(spaced(archive.content(revision).text))]
            if all(any(held.startswith(term) for held in there) for term in terms):
                found.add(program.name)
    return found


@pytest.mark.parametrize("question", ["tide", "ebb lamp", "gosub tid", "lamp table", "buoy sea"])
def test_what_is_found_is_what_reading_everything_finds(shelf: Archive, question: str) -> None:
    """Words of letters against a plain look through every revision of every program."""
    found = {each.program.name for each in shelf.find(question, limit=1000) if each.program}
    assert found == plainly(shelf, question) != set()


@pytest.mark.parametrize("few", [0, 3000])
@pytest.mark.parametrize("question", ["", "tide", "ebb lamp", "gosub tid"])
def test_a_time_narrows_to_what_was_kept_then(
    shelf: Archive, monkeypatch: pytest.MonkeyPatch, question: str, few: int
) -> None:
    """With few revisions of that time their listings are read, with many an index is asked."""
    monkeypatch.setattr(search_within, "FEW", few)
    since, before = NOON + timedelta(minutes=100), NOON + timedelta(minutes=300)
    found = shelf.find(question, since=since, before=before, limit=1000)
    assert (
        {each.program.name for each in found if each.program}
        == plainly(shelf, question, since, before)
        != set()
    )
    assert all(since <= each.item.at < before for each in found)
    whole = shelf.find(question, since=NOON, before=NOON + timedelta(days=2), limit=1000)
    assert [each.item.spec for each in whole if each.program is None] == [
        each.item.spec
        for each in shelf.find(question or "rem", limit=1000)
        if each.program is None and question
    ] or not question
    assert shelf.find(question, since=NOON + timedelta(days=3), limit=1000) == []


def test_size_alone_or_with_words_narrows(shelf: Archive) -> None:
    """Both ends count; rescues are narrowed too; an impossible size finds nothing."""
    for low, high in ((20, 25), (22, 22), (0, 10**30)):
        found = shelf.find("", size=(low, high), limit=1000)
        assert found and all(low <= (each.item.size_bytes or 0) <= high for each in found)
        assert any(each.program is None for each in found) or low == high
        everything = [r for p in shelf.programs(retired=None) for r in shelf.history(p.name)]
        due = {one.program for one in everything if low <= (one.size_bytes or 0) <= high}
        assert {each.program.name for each in found if each.program} == due
    assert shelf.find("", size=(1000, 10)) == []
    narrow = shelf.find("tide", size=(20, 40), limit=1000)
    assert 0 < len(narrow) < len(shelf.find("tide", limit=1000))


def test_a_search_reads_no_more_rescues_than_it_shows(
    shelf: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where rescues are read and not asked of the index, the newest come and no more."""
    monkeypatch.setattr(search_hits.Hits, "_rescues_by_listing", lambda *_: None)
    rescues = [each.item for each in shelf.find("rem", limit=1000) if each.program is None]
    assert len(rescues) > 5
    with shelf.reading("x") as db:
        hits = search_hits.Hits(db, ["rem"], search_hits.Within())
        newest = [row["id"] for row in hits.rescues(5)]
        numbers = dict(db.execute("SELECT id, number FROM rescues").fetchall())
    assert [numbers[row_id] for row_id in newest] == sorted(
        (each.number for each in rescues), reverse=True
    )[:5]


@pytest.mark.parametrize(
    ("question", "text", "held"),
    [
        ("tide", "10 REM TIDES", True),
        ("tides", "10 REM TIDE", False),
        ("90", "10 GOSUB 900", False),
        ("gosub900", "10 GOSUB 900", True),
        ("gosub 900", "10 GOSUB900", True),
        ("gosub900", "10 GOSUB\n900 REM", True),
        ("ti", "10 REM TIDE", False),
    ],
)
def test_a_listing_that_is_read_is_judged_as_the_index_judges(
    tmp_path_factory: pytest.TempPathFactory, question: str, text: str, held: bool
) -> None:
    """The same listing in an archive of its own is found, or not."""
    assert holds_all(words(question), text, words_only_in(spaced(text), text)) is held
    with Archive.open(tmp_path_factory.mktemp("one") / "archive.sqlite3") as archive:
        archive.keep("A", content(text + "\n"), Origin("file"))
        assert bool(archive.find(question)) is held


def test_a_read_only_archive_is_searched(shelf: Archive) -> None:
    """What a search needs for itself is not written into the archive."""
    with Archive.open(shelf.path, read_only=True) as archive:
        assert asked(archive) == asked(shelf)
        with pytest.raises(ArchiveError, match="read-only"):
            archive.retire("P1")
    assert shelf.prove().findings == ()


def test_words_here_and_there_have_to_be_all_there(tmp_path: Path) -> None:
    """One word is about the program, two must be in its listing; a listing with one of those two,
    which the index proposes, is not enough."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        archive.keep("TIDE", content("10 GOTO 900\n"), Origin("file"))
        archive.keep("EBB", content("10 GOSUB 1\n20 GOSUB 2\n"), Origin("file"))
        assert archive.find("tide gosub 900") == []
        archive.keep("TIDE", content("10 GOSUB 900\n"), Origin("file"))
        assert [found.item.spec for found in archive.find("tide gosub 900")] == ["TIDE@2"]
