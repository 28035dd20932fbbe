"""Many listings at once: what can be kept is kept, and what is given out can be kept again."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hostlink.advice import advice_text
from hostlink.archive import Archive, Content, Origin
from hostlink.archive.names import is_program_name
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import in_commands
from hostlink.errors import ArchiveError, RefusedError, UsageError
from hostlink.jobs import giving
from hostlink.jobs.collecting import gather, keep_all
from hostlink.jobs.giving import chosen_programs, give_out

PROFILE = find_profile("practice")


def content(text: str) -> Content:
    """A listing as the archive keeps it."""
    return Content(text.encode("utf-8", "replace"), text, text, "practice", "utf-8", len(text))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with listings, and with what may be called like one and is none."""
    folder = tmp_path / "class"
    folder.mkdir()
    for name in ("board-10.bas", "board-2.bas", "rescue.bas", "über.bas"):
        (folder / name).write_text(f"10 REM {len(name)}\n")
    (folder / "empty.bas").write_text("")
    (folder / "junk.bas").write_bytes(bytes(range(256)))
    (folder / "inner.bas").mkdir()
    os.mkfifo(folder / "pipe.bas")
    (folder / "gone.bas").symlink_to(folder / "nothing")
    (folder / "notes.md").write_text("x")
    return folder


def test_a_folder_is_kept_as_far_as_it_can_be(archive: Archive, folder: Path) -> None:
    """A pipe is never opened, a name that no program can have stops nothing, and of each that is
    left out it is told why; in the order of people."""
    answer: list[Any] = []
    reading = threading.Thread(target=lambda: answer.append(gather([folder], PROFILE)), daemon=True)
    reading.start()
    reading.join(60)
    assert answer, "it hangs"
    collected = keep_all(archive, answer[0], PROFILE)
    assert [one.revision.spec for _, one in collected.kept] == ["BOARD-2@1", "BOARD-10@1", "UBER@1"]
    why = {Path(where).name: advice_text(reason) for where, reason in collected.left_out}
    assert set(why) == {"rescue.bas", "empty.bas", "junk.bas", "pipe.bas", "gone.bas"}
    assert why["pipe.bas"] == why["gone.bas"] == "It is not a file."
    assert "it is the word for rescues" in why["rescue.bas"]
    assert answer[0].passed_over == (str(folder / "notes.md"),)
    assert [each.name for each in archive.programs()] == ["BOARD-2", "BOARD-10", "UBER"]


def test_a_source_that_cannot_be_read_stops_no_other(
    archive: Archive, folder: Path, tmp_path: Path
) -> None:
    """A broken zip and a bag are left out, with what to do; the folder beside them is kept."""
    (tmp_path / "broken.zip").write_bytes(b"PK no zip")
    (tmp_path / "bag").mkdir()
    (tmp_path / "bag" / "bagit.txt").write_text("x")
    gathered = gather([tmp_path / "broken.zip", tmp_path / "bag", folder], PROFILE)
    assert len(keep_all(archive, gathered, PROFILE).kept) == 3
    why = dict(gathered.left_out)
    assert "is not a zip file" in advice_text(why[str(tmp_path / "broken.zip")])
    assert "`hostlink archive import" in in_commands(why[str(tmp_path / "bag")])


def test_what_the_archive_refuses_is_told_beside_what_it_kept(
    archive: Archive, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One listing that cannot be kept half way: those before and after it are."""
    keep = archive.keep

    def refuse(name: str, *rest: Any, **more: Any) -> Any:
        if name == "BOARD-10":
            raise ArchiveError("The new revision was not kept.", advice="Try again.")
        return keep(name, *rest, **more)

    monkeypatch.setattr(archive, "keep", refuse)
    collected = keep_all(archive, gather([folder], PROFILE), PROFILE)
    assert [one.revision.program for _, one in collected.kept] == ["BOARD-2", "UBER"]
    assert collected.left_out[-1] == (
        str(folder / "board-10.bas"), "The new revision was not kept. Try again.",
    )  # fmt: skip


NAMES = st.text(
    st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=12
).map(str.strip)


@pytest.mark.slow
@settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(names=st.lists(NAMES.filter(is_program_name), min_size=1, max_size=6), as_zip=st.booleans())
def test_whatever_is_given_out_is_kept_again(
    names: list[str], as_zip: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Names that come to the same file, that no file may have, or that leave no letter: each
    listing is in a file of its own, and `keep` takes each as a program of its own."""
    place = tmp_path_factory.mktemp("given")
    output = place / ("out.zip" if as_zip else "out")
    with Archive.open(place / "a.sqlite3") as archive, Archive.open(place / "b.sqlite3") as other:
        for number, name in enumerate(names):
            archive.keep(name, content(f"10 REM {number}\n"), Origin("file"))
        gathered = chosen_programs(archive)
        assert give_out(gathered.materials, output, replace=False) == ()
        back = gather([output], PROFILE)
        assert back.left_out == () and back.passed_over == ()
        keep_all(other, back, PROFILE)
        texts = {archive.content(archive.revision(one.name)).text for one in archive.programs()}
        kept = {other.content(other.revision(one.name)).text for one in other.programs()}
        assert kept == texts


def test_what_keep_would_refuse_is_not_given_out(archive: Archive, tmp_path: Path) -> None:
    """A program without a line, and one with bytes that are no text; the others are written."""
    archive.keep("GOOD", content("10 END\n"), Origin("file"))
    archive.keep("BARE", content("no number\n"), Origin("file"))
    archive.keep("ODD", content("10 REM \x00\x01\n"), Origin("file"))
    archive.keep("LONG", content("10 REM " + "x" * (1 << 20) + "\n"), Origin("file"))
    left_out = give_out(chosen_programs(archive).materials, tmp_path / "out", replace=False)
    assert [where for where, _ in left_out] == ["BARE@1", "LONG@1", "ODD@1"]
    assert all(why for _, why in left_out)
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["good.bas"]
    assert gather([tmp_path / "out"], PROFILE).left_out == ()


@pytest.mark.parametrize(("limit", "most"), [("MOST_MEMBERS", 2), ("MOST_BYTES", 20)])
def test_more_than_keep_takes_is_not_given_out(
    archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, most: int
) -> None:
    """Refused before anything is written, with the way to give out all there is."""
    for number in range(3):
        archive.keep(f"P{number}", content(f"{number + 1} REM X\n"), Origin("file"))
    monkeypatch.setattr(giving, limit, most)
    with pytest.raises(RefusedError, match="more than") as refused:
        give_out(chosen_programs(archive).materials, tmp_path / "out.zip", replace=False)
    assert "archive export" in in_commands(refused.value.advice)
    assert not (tmp_path / "out.zip").exists()


def test_one_program_twice_is_refused(archive: Archive, tmp_path: Path) -> None:
    """Two revisions of one program would be two programs when they are kept again."""
    archive.keep("TIDE", content("10 END\n"), Origin("file"))
    archive.keep("TIDE", content("20 END\n"), Origin("file"))
    find: Callable[[str], Any] = lambda spec: giving.from_archive(spec, archive)  # noqa: E731
    with pytest.raises(UsageError, match="no name of its own"):
        give_out([find("TIDE@1"), find("TIDE@2")], tmp_path / "out", replace=False)
    with pytest.raises(RefusedError, match="holds no program"):
        give_out([], tmp_path / "out", replace=False)


def test_a_damaged_program_is_left_out_of_what_is_given(archive: Archive) -> None:
    """The others are written, and it is named."""
    import sqlite3

    for name in ("TIDE", "MOON"):
        archive.keep(name, content(f"10 REM {name}\n"), Origin("file"))
    conn = sqlite3.connect(archive.path)
    conn.execute("DROP TRIGGER listings_never_change")
    conn.execute("UPDATE listings SET text = 'x' WHERE id = 1")
    conn.commit()
    conn.close()
    gathered = chosen_programs(archive)
    assert [each.name for each in gathered.materials] == ["MOON"]
    ((where, why),) = gathered.left_out
    assert where == "TIDE" and "damaged" in why
