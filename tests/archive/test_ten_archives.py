"""One listing on ten computers, each of which went on with it, becomes one program again."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.exchange.merged import ProgramMerged

LAPTOPS = 10
FILE = Origin("file", "tide.bas")


def _content(text: str) -> Content:
    return Content(f"{text}\n".encode(), f"{text}\n", f"{text}\n", "practice", "latin-1", len(text))


def _held(archive: Archive) -> dict[str, object]:
    """What an archive holds apart from the numbers of revisions, which tell who came first."""
    with archive.reading("everything") as db:

        def all_of(sql: str) -> list[tuple[object, ...]]:
            return sorted(map(tuple, db.execute(sql).fetchall()))

        return {
            "programs": all_of("SELECT uuid, name, title, retired_at FROM programs"),
            "revisions": all_of(
                "SELECT revisions.uuid, listings.text, kept_at, origin_where, coalesce((SELECT "
                "uuid FROM revisions AS parent WHERE parent.id = revisions.parent_id), '') "
                "FROM revisions JOIN listings ON listings.id = listing_id"
            ),
            "listings": all_of("SELECT sha256, profile FROM listings"),
            "notes": all_of("SELECT uuid, text FROM notes"),
            "tags": all_of("SELECT tag_key FROM tags"),
        }


def _laptops(folder: Path, choose: random.Random) -> tuple[list[Path], int, set[str]]:
    """Ten archives with TIDE, how many revisions they hold in all, and which texts."""
    handout = folder / "handout.sqlite3"
    with Archive.open(handout) as teacher:
        teacher.keep("TIDE", _content("10 REM TIDE"), FILE, title="Tide clock")
    paths, revisions, texts = [], 1, {"10 REM TIDE"}
    for number in range(LAPTOPS):
        path = folder / f"{number}.sqlite3"
        way = choose.choice(["file", "import", "duplicate"])
        if way == "duplicate":
            with Archive.open(handout) as teacher:
                teacher.duplicate(path)
        with Archive.open(path) as laptop:
            if way == "import":
                laptop.merge_file(handout)
            elif way == "file":
                laptop.keep("TIDE", _content("10 REM TIDE"), FILE, title="Tide clock")
                revisions += 1
            for _ in range(choose.randrange(4)):
                text = f"10 REM TIDE\n20 PRINT {choose.randrange(5)}"
                revisions += laptop.keep("TIDE", _content(text), FILE).is_new
                texts.add(text)
            laptop.tag("TIDE", choose.choice(["harbour", "evening"]))
            laptop.note("TIDE", f"laptop {number}")
        paths.append(path)
    return paths, revisions, texts


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_one_program_of_ten_computers_is_one_with_ten_histories(
    seed: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Kept from the same file, imported or duplicated, and edited alike or otherwise: in any order
    of imports it is one program, each revision is there once, and each listing is stored once."""
    choose = random.Random(seed)
    folder = tmp_path_factory.mktemp("laptops")
    paths, revisions, texts = _laptops(folder, choose)
    found = []
    for turn in range(2):
        choose.shuffle(paths)
        with Archive.open(folder / f"all-{turn}.sqlite3") as whole:
            for path in paths:
                whole.merge_file(path)
            found.append(_held(whole))
            assert not any(whole.merge_file(path).anything for path in paths)
            history = whole.history("TIDE")
            assert len({each.spec for each in history}) == len(history) == revisions
            assert {whole.content(each).text.strip() for each in history} == texts
            assert whole.prove().clean
    assert found[0] == found[1]
    assert len(found[0]["programs"]) == 1  # type: ignore[arg-type]
    assert len(found[0]["listings"]) == len(texts)  # type: ignore[arg-type]
    shutil.rmtree(folder)


def test_another_beginning_is_another_program(tmp_path: Path) -> None:
    """The name alone does not make two programs one, and neither does the listing alone."""
    with (
        Archive.open(tmp_path / "a.sqlite3") as ours,
        Archive.open(tmp_path / "b.sqlite3") as other,
    ):
        ours.keep("TIDE", _content("10 REM TIDE"), FILE)
        other.keep("TIDE", _content("10 REM ANOTHER"), FILE)
        other.keep("SEA", _content("10 REM TIDE"), FILE)
        ours.merge_file(other.path)
        assert len(ours.programs()) == 3


def test_what_is_only_tried_leaves_the_archive_as_it_was(
    tmp_path: Path, snapshot: Callable[[Path], object]
) -> None:
    """A merge that is undone tells what one would do, program by program, and changes no row."""
    with (
        Archive.open(tmp_path / "a.sqlite3") as ours,
        Archive.open(tmp_path / "b.sqlite3") as other,
    ):
        ours.keep("TIDE", _content("10 REM TIDE"), FILE)
        other.merge_file(ours.path)
        other.keep("TIDE", _content("10 REM MORE"), FILE)
        other.keep("TIDE10", _content("10 REM A"), FILE)
        other.keep("TIDE2", _content("10 REM B"), FILE)
        before = snapshot(ours.path)
        with ours.undoing():
            tried = ours.merge_file(other.path)
        assert snapshot(ours.path) == before
        assert tried.programs == (
            ProgramMerged("TIDE", is_new=False, new=1, same=1, other=1),
            ProgramMerged("TIDE2", is_new=True, new=1, other=1),
            ProgramMerged("TIDE10", is_new=True, new=1, other=1),
        )
        assert ours.merge_file(other.path) == tried
