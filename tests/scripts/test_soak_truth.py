"""The soak's book-keeping: what was there, what is on the disk, which lies can be noticed."""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from hostlink.archive import Archive, Content, Origin
from hostlink.practice.faults import Faults
from hostlink.practice.settings import BoardSettings

Script = Callable[[str], ModuleType]


def content(text: str) -> Content:
    return Content(text.encode(), text, text, "practice", "latin-1", len(text))


# --- the witness of the archive ------------------------------------------------------------------


@pytest.fixture
def watched(script: Script, tmp_path: Path):
    """An archive, a witness of it, and what it says of a spec."""
    syncs = script("soak_durable").watched_syncs()
    assert syncs is not None, "SQLite's own functions cannot be reached"
    path = tmp_path / "archive.sqlite3"
    with Archive.open(path) as archive:
        witness = script("soak_truth").Witness(path, syncs)
        yield archive, witness, lambda spec: [each.text for each in witness.acknowledged(spec)]
        witness.close()


def test_what_is_committed_and_synced_is_acknowledged_rightly(watched) -> None:
    """A revision, a rescue and a backup, each as soon as the archive answered."""
    archive, _, acknowledged = watched
    assert acknowledged(archive.keep("A", content("10 A\n"), Origin("file")).revision.spec) == []
    assert acknowledged(archive.rescue(content("10 B\n"), Origin("rescue")).spec) == []
    assert "A@2" in acknowledged("A@2")[0]
    assert "backup@1" in acknowledged("backup@1")[0]


def test_what_is_not_committed_does_not_count(watched) -> None:
    """The archive's own connection sees it already, the witness does not."""
    archive, _, acknowledged = watched
    db = archive._database()
    db.execute("BEGIN IMMEDIATE")
    archive.keep("A", content("10 A\n"), Origin("file"))
    assert archive.revision("A").number == 1
    assert len(acknowledged("A@1")) == 1
    db.commit()
    assert acknowledged("A@1") == []


@pytest.mark.parametrize("pragma", ["OFF", "NORMAL"])
def test_what_is_not_synced_does_not_count(watched, pragma: str) -> None:
    """SQLite, section 3.4 of "Write-Ahead Logging": only FULL syncs the log after each commit."""
    archive, _, acknowledged = watched
    archive._database().execute(f"PRAGMA synchronous = {pragma}")
    archive.keep("A", content("10 A\n"), Origin("file"))
    assert acknowledged("A@1") == ["A@1 was acknowledged before it was on the disk"]
    archive._database().execute("PRAGMA synchronous = FULL")
    archive.keep("A", content("20 A\n"), Origin("file"))
    assert acknowledged("A@2") == []


def test_what_goes_out_of_the_archive_is_seen(watched) -> None:
    """A revision deleted, and one whose listing is another now."""
    archive, witness, _ = watched
    for text in ("10 A\n", "20 A\n"):
        archive.keep("A", content(text), Origin("file"))
    assert list(witness.gone()) == []
    db = archive._database()
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    db.execute("PRAGMA foreign_keys = OFF")
    db.execute("DELETE FROM revisions WHERE number = 1")
    assert len(list(witness.gone())) == 1
    db.execute("UPDATE listings SET sha256 = zeroblob(32) WHERE text = ?", ("20 A\n",))
    assert len(list(witness.gone())) == 1
    assert list(witness.gone()) == []


def test_a_watched_database_works_as_any_other(script: Script, tmp_path: Path) -> None:
    """Rollback journal and log, truncated and vacuumed; afterwards nothing is at risk."""
    syncs = script("soak_durable").watched_syncs()
    for mode in ("WAL", "DELETE"):
        path = tmp_path / f"{mode}.sqlite3"
        with sqlite3.connect(path, isolation_level=None) as db:
            db.execute(f"PRAGMA journal_mode = {mode}")
            db.execute("PRAGMA synchronous = FULL")
            db.execute("CREATE TABLE t (x)")
            db.executemany("INSERT INTO t VALUES (?)", [(f"{n:0200d}",) for n in range(300)])
            db.execute("DELETE FROM t WHERE x < 200")
            db.execute("VACUUM")
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert syncs.unsynced(path) == []
        db.close()
    assert not list(Path().glob("*-shm")), "a file was made under a name that SQLite did not give"


def test_a_listing_that_nothing_leads_to_is_not_kept(script: Script, watched) -> None:
    """Only by a revision, a rescue or a backup can a listing be had again."""
    archive, witness, _ = watched
    newest = witness.newest_listing()
    archive.rescue(content("10 A\n"), Origin("rescue"))
    with archive.writing("a listing alone") as db:
        script("hostlink.archive.listings").put_listing(db, content("10 B\n"))
    assert witness.listings_since(newest) == [{10: "A"}]
    assert witness.lines_kept_as("rescue@1") == {10: "A"}
    assert witness.lines_kept_as("rescue@2") is None


# --- boards, drawn as data -----------------------------------------------------------------------


def test_every_kind_of_board_and_every_wrong_value_is_drawn(script: Script) -> None:
    """Within two thousand jobs; and a good part of them can succeed."""
    whole = script("soak_making").whole
    drawn = [whole(number)["drawn"] for number in range(2000)]
    assert {each.name for each in drawn} == set(script("soak_boards").NAMES)
    assert sum(each.fair for each in drawn) > 800


def test_a_wrong_value_is_another_one_and_the_only_one(script: Script) -> None:
    """Whatever it was before; all else in the profile stays."""
    boards, draws = script("soak_boards"), script("soak_drawn")
    for number, path in enumerate(boards.WRONG):
        choose = random.Random(number)
        right = draws.fitting_profile(draws.a_board(choose), draws.some_knowledge(choose))
        wrong = boards.with_wrong(right, path, choose)
        differing = {
            f"{prefix}{name}"
            for prefix, one, other in (
                ("talk.", right.talk, wrong.talk),
                ("commands.", right.commands, wrong.commands),
                ("rules.form.", right.rules.form, wrong.rules.form),
                ("rules.storage.", right.rules.storage, wrong.rules.storage),
            )
            for name in type(one).__dataclass_fields__
            if getattr(one, name) != getattr(other, name)
        }
        assert differing == {path}


def test_a_right_profile_tells_what_the_board_is(script: Script) -> None:
    """Boards that are busy inside a line, prompt late, page, fold or restart; and plain ones."""
    draws = script("soak_drawn")
    known = draws.Knowledge(True, True, True)

    def told(**settings: object):
        return draws.fitting_profile(BoardSettings(**settings), known)

    assert told().talk.line_window == 0
    assert told(transmit_buffer=0, receive_buffer=0).talk.line_window == 1
    assert told(wrap_ms=4.0, receive_buffer=16).talk.line_window == 16
    assert told(char_ms=1.0, echo=False).talk.char_ms == 1.0
    late = told(prompt_late_ms=100.0, line_ms=15.0, line_done="echo").talk
    assert (late.line_ms, late.line_done) == (115.0, "prompt")
    assert told(page_lines=4).talk.page_prompt == "-- more --"
    assert told(fold_case=True).rules.form.case == "upper"
    assert told(restarts_on_open=True).talk.restarts_on_open


@pytest.mark.parametrize(
    ("faults", "asks", "beyond"),
    [
        (Faults(skipped_line=2), False, True),
        (Faults(skipped_line=2), True, False),  # the free memory contradicts
        (Faults(skipped_line=2, lies_every=2), False, False),  # captures differ
        (Faults(repeated_line=2), False, False),
        (Faults(refused_lists=99), False, False),  # words are no listing
        (Faults(empty_lists=99), False, True),
        (Faults(empty_lists=2), False, False),  # the third capture shows it
        (Faults(empty_lists=99), True, False),
        (Faults(free_bytes_off=26), True, False),
    ],
)
def test_which_lies_no_host_could_notice(
    script: Script, faults: Faults, asks: bool, beyond: bool
) -> None:
    """Only those in which every answer of the board agrees with every other."""
    boards = script("soak_boards")
    lying = boards.Drawn(kind=boards.LIES[0].name)
    assert boards.is_beyond_any_host(lying, faults, asks=asks) is beyond
    assert not boards.is_beyond_any_host(boards.PLAIN, faults, asks=asks)


def test_what_a_board_holds_after_a_line_was_typed(script: Script) -> None:
    """A board that folds each letter as it comes: quotes and remarks keep theirs."""
    making = script("soak_making").Making(1, drawn=script("soak_boards").Drawn("folds case"))
    typed = {10: 'print "tide"; a', 20: "rem tide", 30: "Let a=1"}
    machine = making.machine()
    machine.basic.from_state({**machine.basic.to_state(), "lines": {}})
    rows = "".join(f"{number} {text}\r" for number, text in typed.items())
    at = 5.0
    for byte in rows.encode():
        machine.run_until(at)
        machine.host_sends(bytes((byte,)), at)
        at += 0.2
    machine.run_until(at + 1)
    held = {number: text.decode() for number, text in machine.basic.lines.items()}
    assert held == making.as_stored(typed)
    assert held == {10: 'PRINT "tide"; A', 20: "REM tide", 30: "LET A=1"}


def test_the_limits_on_the_page_of_figures_follow_from_the_rules(script: Script) -> None:
    """The table of what no reading can show, worked out anew for a full board."""
    expected, size = script("soak_expected"), 999
    page = (Path(__file__).parents[2] / "scripts/pictures/figures.md").read_text(encoding="utf-8")
    for percent, readings in ((0.1, 3), (0.5, 5), (1.0, 5)):
        p = percent / 100
        doubled, hidden = p / 3, 2 * p / 3
        save = size * expected.undetected_share(p, readings)
        load = size * doubled * hidden * 4 * hidden**2
        figures = (1 / each for each in (save, load, load / hidden))
        row = " | ".join(f"{figure:,.0f}" for figure in figures)
        assert f"| {percent} % | {readings} | {row} |\n" in page


# --- what counts ---------------------------------------------------------------------------------


def outcome_of(script: Script, board: str, *kinds: str, **values: object):
    """An outcome with troubles of these kinds."""
    trouble = script("soak_truth").Trouble
    values = {"fault": "none", "fair": True, **values}
    troubles = [trouble(kind, "x") for kind in kinds]
    return script("soak_jobs").Outcome(1, "save", board=board, troubles=troubles, **values)


def test_what_is_beyond_any_host_is_counted_apart(script: Script) -> None:
    """And only that: the same trouble on another board counts, and so does a hang."""
    report = script("soak_report")

    def counted(*args: object, **values: object) -> list[str]:
        outcome = outcome_of(script, *args, **values)
        return [trouble.kind for trouble in report.counted(outcome)]

    assert counted("plain", "lost") == ["lost"]
    assert counted("skips a line", "lost", "silent", "hang", "archive", beyond=True) == [
        "hang",
        "archive",
    ]


def test_targets_fail_for_each_kind_of_trouble(script: Script) -> None:
    """One job with it is enough; a silent error only beyond what chance gives."""
    report = script("soak_report")
    good = [outcome_of(script, "plain") for _ in range(3)]
    assert all(target.holds for target in report.targets_of(good, []))
    for kind in script("soak_truth").KINDS:
        targets = report.targets_of([*good, outcome_of(script, "plain", kind)], [])
        assert sum(not target.holds for target in targets) == 1, kind
    lucky = [outcome_of(script, "plain", "silent", expected=0.5), *good]
    assert all(target.holds for target in report.targets_of(lucky, []))
    refused = report.other_row("kill -9", 4, 0, ["A@1 is missing"])
    assert sum(not target.holds for target in report.targets_of(good, [refused])) == 1


def test_firmware_counts_in_the_shares_and_unfair_boards_do_not(script: Script) -> None:
    """A share is of all jobs at that damage that a board as its profile says can do."""
    report = script("soak_report")

    def at(fault: str, kind: str, **values: object):
        outcome = outcome_of(script, "plain", fault=fault, **values)
        outcome.kind = kind
        return outcome

    done = [at("damage 0.5%", "load") for _ in range(110)]
    failed = [at("damage 0.5%", "firmware", error="no") for _ in range(10)]
    impossible = [at("damage 0.5%", "save", error="no", fair=False) for _ in range(50)]
    targets = {t.name: t for t in report.targets_of([*done, *failed, *impossible], [])}
    assert targets["% of jobs done, damage 0.5%"].value == pytest.approx(91.67)
    worse = report.targets_of([*done, *failed, *failed], [])
    assert not next(t for t in worse if "damage 0.5%" in t.name).holds


def test_a_job_that_says_it_is_not_proven_tells_no_lie(script: Script) -> None:
    """Then it is not done either; and what was lost by it is lost."""
    jobs = script("soak_jobs")
    outcome = outcome_of(script, "false free memory", unproven=True)
    assert not outcome.done
    with jobs.new_archive() as archive:
        job = jobs.VirtualJob(5, archive, kind="save", fault="none")
        job._look_at_words(f"The save is {jobs.UNPROVEN}: the board reports 818 bytes free.")
        job.wrong("called saved, but the board holds something else")
        job.trouble("lost", "memory")
        job.witness.close()
    assert [trouble.kind for trouble in job.outcome.troubles] == ["lost"]
