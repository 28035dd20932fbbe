"""The benchmark of archives: what it builds is sound, and its targets can fail."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from hostlink.archive import Archive

Script = Callable[[str], ModuleType]


@pytest.fixture(scope="module")
def built_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("built") / "archive.sqlite3"


def test_what_is_built_quickly_is_an_archive_like_any_other(
    script: Script, built_path: Path
) -> None:
    """It is proven clean, has as many rows as asked for, and takes further revisions."""
    builder = script("archive_builder")
    built = builder.build(built_path, 40, seed=3)
    with Archive.open(built_path, create=False) as archive:
        proof = archive.prove()
        assert proof.findings == ()
        assert (proof.counts["programs"], proof.counts["revisions"]) == (40, 400)
        assert proof.counts["rescues"] > 0 and proof.counts["boards"] == builder.BOARDS
        for line in built.lines:
            assert archive.find(line)
        name = archive.programs(retired=None)[0].name
        latest = archive.revision(name)
        content = archive.content(latest)
        assert archive.keep(name, content, latest.origin).revision.uuid == latest.uuid
    again = builder.build(built_path.with_name("again.sqlite3"), 40, seed=3)
    assert again.content_bytes == built.content_bytes


def test_a_builder_that_makes_something_else_is_stopped(script: Script) -> None:
    """Quickly made columns that the archive's own code would not make are an error."""
    builder = script("archive_builder")
    choose = __import__("random").Random(1)
    work = builder._Work(1, 3, choose, builder.Vocabulary(choose, 50))
    columns, raw = work.next_listing(from_board=True)
    builder.check(columns, raw, work.cost)
    for wrong in ({"spaced_words": "x"}, {"canonical_sha256": b"0" * 32}, {"line_count": 1}):
        with pytest.raises(RuntimeError, match="does not make"):
            builder.check({**columns, **wrong}, raw, work.cost)
    with pytest.raises(RuntimeError):
        builder.check(columns, raw, work.cost + 1)


@pytest.mark.slow
def test_the_section_measures_and_tells(script: Script, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every figure is there for a small archive; growth is one row for each size."""
    bench = script("bench_archive")
    monkeypatch.setattr(bench, "QUESTIONS", 5)
    monkeypatch.setattr(bench, "COMMITS", 10)
    section = bench.run((20, 30))
    assert [row["programs"] for row in section.rows] == [20, 30]
    for row in section.rows:
        assert all(value is not None and float(value) > 0 for value in row.values())
    names = [target.name for target in section.targets]
    for word in ("open", *KINDS, "content", "grep"):
        assert any(word in name for name in names), word


KINDS = ("words", "line", "size", "tag", "board", "near", "month", "gosub900")

ROW: dict[str, Any] = {
    "programs": 10, "open_ms": 5, "words_ms": 5, "line_ms": 5, "size_ms": 5, "tag_ms": 5,
    "board_ms": 5, "near_ms": 5, "month_ms": 5, "gosub900_ms": 5, "times_content": 2, "grep_ms": 50,
    "flush_ms": 3, "bare_ms": 3, "longer_ms": 2,
}  # fmt: skip


@pytest.mark.parametrize(
    "worse",
    [
        *({f"{kind}_ms": 31} for kind in KINDS),
        {"open_ms": 101},
        {"times_content": 2.3},
        {"grep_ms": 4},
        {"longer_ms": 5.1},
    ],
)
def test_each_target_can_fail(script: Script, worse: dict[str, float]) -> None:
    """One figure that is too large fails one target."""
    bench = script("bench_archive")
    assert all(target.holds for target in bench.targets_of([ROW]))
    assert sum(not target.holds for target in bench.targets_of([{**ROW, **worse}])) == 1


def test_every_ask_counts_and_95_of_a_hundred(
    script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Five slow asks of a hundred are passed over, the sixth is not; a quick turn hides none."""
    bench = script("bench_archive")
    now = [0.0]
    monkeypatch.setattr(bench.time, "perf_counter", lambda: now[0])
    monkeypatch.setattr(bench, "TURNS", 2)

    def ask(*turns: float) -> Callable[[object], None]:
        left = iter(turns)

        def wait(_: object) -> None:
            now[0] += next(left)

        return wait

    def of(slow: int) -> float:
        once_slow = [ask(3.0, 0.0) for _ in range(slow)]
        answer = bench.ask_all(None, [*once_slow, *(ask(0.0, 0.0) for _ in range(50 - slow))])
        assert isinstance(answer, float)
        return answer

    assert of(5) == 0.0
    assert of(6) == 3.0


def test_full_measures_the_largest_too(script: Script, monkeypatch: pytest.MonkeyPatch) -> None:
    """`bench.py archive --full` runs run_full, without it run."""
    bench, archive = script("bench"), script("bench_archive")
    asked: list[tuple[int, ...]] = []
    monkeypatch.setattr(archive, "measure", lambda programs, _: asked.append(programs) or ROW)
    bench.main(["archive"])
    bench.main(["archive", "--full"])
    assert asked == [1000, 10_000, 1000, 10_000, 100_000]
