"""The soak: its short form, what it once found, and that it sees what it looks for."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

from hostlink.archive import Archive
from hostlink.errors import ArchiveError, ExitStatus, LinkError

Script = Callable[[str], ModuleType]

# Seed to what was wrong when it was first run.
ONCE_FOUND = {
    138: "a restart while free memory was asked for went by unseen: called loaded",
    11133: "the same, the banner not yet heard",
    1427: "a damaged name in the list of stored programs left one out of a backup",
    1635: "the same",
    11814: "a recall was heard as a line of the program, and memory was kept as the stored one",
    12989: "a listing command was heard as a line of the program",
    15272: "the same while a load was read back, after three readings without that line",
    5842: "a restart while stored programs were asked for emptied memory: called backed up",
    6824: "the same",
    8404: "the first page, written anew at a damaged address, replaced another page",
    19802: "listing commands that were damaged voted a line away: a wrong rescue",
    27851: "a restart at a recall: the stored program was left out of the backup, untold",
    35551: "a question to read a page, heard as one to write it, replaced the first page",
    39482: "the name of a stored program, misheard twice: left out of the backup",
    66697: "listing commands that were refused, heard as an empty program: memory was lost",
    67876: "a question stored as a line, damaged once more, and outvoted: saved beside it",
    80290: "a listing command stored as a line: memory was lost",
    95446: "the same, damaged once more, in a stored program",
    103796: "two captures lost the same line end, and agreed that the line was not there",
    109131: "a command entered behind a digit that erasing had left",
    70032: "the last question of a load stored as a line",
    225132: "two captures lost the first line, each in its own way, and agreed on the rest",
    242603: "two captures of three lines were damaged alike",
    63718: "the same",
    249352: "a line that did not belong there, its number damaged in two captures: called loaded",
    301703: "a question stored as line 1, hidden by another line whose number was damaged to 1",
    300887: "captures that never agreed: a listing command stored as a line was left there",
    302356: "a line with another text in most captures was voted away by three without its number",
    313929: "a line voted away by five captures in which its number was damaged",
    264359: "a restart, its banner damaged: a board that had lost its memory was backed up",
    24935: "a restart at the end of a load, its banner damaged: called loaded",
}


@pytest.mark.one_in(4)
@pytest.mark.parametrize("seed", ONCE_FOUND)
def test_what_the_soak_once_found_stays_mended(script: Script, tmp_path: Path, seed: int) -> None:
    """The same job with the same damage ends well, or in words."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        outcome = script("soak_jobs").VirtualJob(seed, archive).run()
    assert outcome.trouble == []


@pytest.fixture
def job(
    script: Script, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Callable[..., ModuleType]:
    """A job on a clean wire with something done to it while it runs; how it ended."""

    def run(kind: str, meddle: Callable[..., None]) -> ModuleType:
        jobs = script("soak_jobs")
        do = jobs.DOING[kind]
        monkeypatch.setitem(
            jobs.DOING, kind, lambda made, session: meddle(made, lambda: do(made, session))
        )
        with Archive.open(tmp_path / f"{kind}.sqlite3") as archive:
            return jobs.VirtualJob(5, archive, kind=kind, fault="none").run()

    return run


def clear(made: ModuleType, _: Callable[[], None]) -> None:
    """Empty the board's memory, as nobody does who keeps what was in it."""
    made.truth.machine.basic._state.memory.replace({})


def test_a_loss_of_memory_or_flash_is_seen(job: Callable[..., ModuleType]) -> None:
    """What was on the board and is neither there nor in the archive is lost."""

    def change_flash(made: ModuleType, _: Callable[[], None]) -> None:
        made.truth.machine.chip.flash[7] ^= 1

    assert job("save", clear).of("lost") == ["memory"]
    assert job("firmware", change_flash).of("lost") == ["flash"]


def test_a_restart_excuses_only_what_it_took_itself(job: Callable[..., ModuleType]) -> None:
    """What a mishap erases whole is nobody's fault; by the host's own restart, or with a line gone
    before, it is lost anyway, whatever faults were planned."""

    def mishap(made: ModuleType, _: Callable[[], None]) -> None:
        made.truth.machine._start(0.5, booting=True)

    def pulled(made: ModuleType, _: Callable[[], None]) -> None:
        made.truth.machine.restart(0.5)

    def a_line_less(made: ModuleType, _: Callable[[], None]) -> None:
        memory = made.truth.machine.basic._state.memory
        memory.put(min(memory.lines), b"")
        made.truth.machine._start(0.5, booting=True)

    assert job("save", mishap).troubles == []
    assert job("backup", pulled).of("lost") == ["memory"]
    assert job("firmware", a_line_less).of("lost") == ["memory"]


def test_what_is_kept_is_not_lost(job: Callable[..., ModuleType]) -> None:
    """A program that the job itself put into the archive may leave the board."""

    def save_and_clear(made: ModuleType, do: Callable[[], None]) -> None:
        do()
        clear(made, do)

    assert job("save", save_and_clear).of("lost") == []


def test_a_hang_is_seen_in_time_and_in_turns(
    script: Script, job: Callable[..., ModuleType], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A job that waits too long, even where cancelling is not looked at, or goes round for ever."""

    def never_end(made: ModuleType, do: Callable[[], None]) -> None:
        made.clock.sleep(1e6)
        do()

    ended = job("load", never_end)
    assert len(ended.of("hang")) == 1
    assert not ended.done
    monkeypatch.setattr(script("soak_jobs"), "MOST_TURNS", 3)
    assert len(job("save", lambda _, do: do()).of("hang")) == 1


def test_a_bug_and_a_wrong_word_are_seen(job: Callable[..., ModuleType]) -> None:
    """Errors that are not hostlink's own, control characters, and a failure with status 0."""

    class Calm(LinkError):
        status = ExitStatus.DONE

    def fail(*_: object) -> None:
        raise KeyError("a bug")

    def refuse(*_: object) -> None:
        raise LinkError("The wire is \x1b[2J.")

    def calm(*_: object) -> None:
        raise Calm("All is well.")

    assert "KeyError" in job("backup", fail).of("uncaught")[0]
    assert "not fit to be shown" in job("load", refuse).of("shown")[0]
    assert "exit status" in job("save", calm).of("uncaught")[0]


def test_a_wrong_listing_called_loaded_or_saved_is_seen(
    script: Script, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A job that says it is done without doing anything is a silent error."""
    monkeypatch.setattr(script("soak_doing"), "load", lambda *_: None)
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        outcome = script("soak_jobs").VirtualJob(5, archive, kind="load", fault="none").run()
    assert outcome.done
    assert "called loaded" in outcome.of("silent")[0]


def test_acknowledged_revisions_that_are_not_there_are_seen(script: Script, tmp_path: Path) -> None:
    """A revision that is missing, or another than was told, is trouble."""
    soak = script("soak_archive")
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        made = script("soak_jobs").VirtualJob(5, archive, kind="load", fault="none")
        assert made.run().done
        spec = f"{made.made.material.name}@1"
        right = archive.revision(spec).sha256
        assert soak._missing(archive, {spec: right}) == []
        assert "not what was" in soak._missing(archive, {spec: "0" * 64})[0]
        assert "acknowledged" in soak._missing(archive, {"NONE@1": right})[0]


def test_a_refusing_archive_refuses(script: Script, tmp_path: Path) -> None:
    """From the write that was named on, SQLite itself says that it cannot."""
    soak = script("soak_archive")
    for how, says in (
        ("read-only", "read-only"), ("disk full", "disk is full"), ("refused once", "read-only"),
    ):  # fmt: skip
        with soak.Refusing.open(tmp_path / f"{how}.sqlite3") as archive:
            archive.board_seen(location="a")
            archive.at, archive.how = archive.begun + 1, how
            archive.board_seen(location="b")
            with pytest.raises(ArchiveError, match=says):
                archive.board_seen(location="c")
            if how != "refused once":
                archive.allow()
            archive.board_seen(location="d")
            assert len(archive.boards()) == 3


def test_a_rescue_that_was_refused_and_passed_over_is_seen(
    script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A job that goes on without its rescue loses the board's program, and the soak tells."""
    soak, rescue = script("soak_archive"), Archive.rescue

    def pass_over(*args: object, **kwargs: object) -> object:
        try:
            return rescue(*args, **kwargs)  # type: ignore[arg-type]
        except ArchiveError:
            return SimpleNamespace(spec="rescue@0")

    monkeypatch.setattr(Archive, "rescue", pass_over)
    found = soak.Found()
    soak._refuse_in_turn("load", 500_001, found, how="refused once")
    assert [text for text in found.troubles if "lost: memory" in text]


def test_an_uncaught_error_of_a_reader_is_seen(script: Script) -> None:
    """Errors of our own are refusals; others, and those not fit to be shown, are trouble."""
    fuzz = script("soak_fuzz")

    def read(choose: object, _: bytes) -> None:
        raise [ValueError("x"), ArchiveError("fine."), ArchiveError("\x1b[2J")][
            choose.randrange(3)  # type: ignore[attr-defined]
        ]

    found = fuzz._fuzz("x", [b"example"], read, 0, 60)
    assert found.inputs == 60
    assert 0 < found.refused < 60
    assert {"ValueError", "shown"} <= {
        word for each in found.troubles for word in ("ValueError", "shown") if word in each
    }


@pytest.mark.parametrize("expected", [0.0, 0.0005, 0.5, 4.0])
def test_how_many_undetected_errors_are_too_many(script: Script, expected: float) -> None:
    """More than chance gives once in a thousand runs: Poisson, worked out term by term."""
    most = script("soak_expected").most_undetected(expected)
    assert most == {0.0: 0, 0.0005: 0, 0.5: 4, 4.0: 11}[expected]


def test_a_long_soak_says_how_far_it_is_and_what_it_found(
    script: Script, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Once a minute, and each trouble at once, on stderr; the results are what they were."""
    soak = script("soak")
    minutes = iter([0.0, 61.0, 61.0, 100.0, 150.0, 150.0, 150.0])
    monkeypatch.setattr(soak.time, "monotonic", lambda: next(minutes))
    found = {"b": ["lost", "hang"]}
    assert list(soak.followed("jobs", "abcd", 4, lambda each: found.get(each, []))) == list("abcd")
    assert capsys.readouterr().err == ("jobs: 25 % done\njobs: lost\njobs: hang\njobs: 75 % done\n")


def test_work_is_spread_over_processes_in_order(script: Script) -> None:
    """Results come in the order of the calls, with one worker and with two."""
    calls = [(7, 2), (9, 4)]
    for workers in (1, 2):
        assert script("soak").spread("x", divmod, calls, workers, lambda _: []) == [(3, 1), (2, 1)]


def test_a_soak_goes_on_where_another_ended(script: Script) -> None:
    """Jobs are drawn by their seeds, so two parts are the same jobs as one whole."""
    chunks = script("soak").chunks
    assert chunks(5, 2) == [(0, 2), (2, 2), (4, 1)]
    assert chunks(5, 2, 100) == [(100, 2), (102, 2), (104, 1)]


@pytest.mark.parametrize(
    ("kind", "seed"),
    [
        ("bag", 16991),  # bagit.txt with a line twice
        ("bag", 107875),
        ("archive", 1106),  # a listing that is not there, or no text
        ("archive", 8402),
        ("archive", 9669),
        ("archive", 9554),  # a time that is no text
        ("archive", 14250),  # a name that may not be shown
        ("settings", 9),  # nested without end
        ("settings", 1873),  # a theme that may not be shown
        ("draft", 3),
        ("expected run", 0),
        ("address", 1),
        ("pin script", 4),
    ],
)
def test_what_fuzzing_once_found_stays_mended(script: Script, kind: str, seed: int) -> None:
    """A result, or an error of hostlink's own that is fit to be shown."""
    found = script("soak_fuzz").fuzz(kind, seed, 1)
    assert (found.inputs, found.troubles) == (1, [])


def test_a_reader_that_falls_over_a_damaged_archive_is_seen(
    script: Script, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The damage is real: most of the files are refused somewhere, and a bug would be told."""
    fuzz = script("soak_fuzz")
    found = fuzz.fuzz("archive", 0, 12)
    assert (found.inputs, found.troubles) == (12, [])
    assert found.refused >= 6

    def fall_over(*_: object, **__: object) -> None:
        raise KeyError("a row that is not there")

    monkeypatch.setattr(Archive, "prove", fall_over)
    assert "KeyError" in fuzz.fuzz("archive", 0, 2).troubles[0]


@pytest.mark.slow
def test_the_short_soak_finds_nothing(script: Script, capsys: pytest.CaptureFixture[str]) -> None:
    """Every kind of trial, a few of each, in one JSON object; all targets hold."""
    counts = ("--jobs", "60", "--kills", "4", "--fuzz", "60", "--workers", "1")
    assert script("soak").main([*counts, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["section"] == "soak"
    assert all(target["holds"] for target in told["targets"])
    trials = {row["what"]: row["trials"] for row in told["rows"]}
    assert set(script("soak_drawn").FAULTS) < set(trials)
    assert all(trials[what] for what in trials if not what.startswith("on: ")), trials
    assert sum(trials.values()) > 400
