"""The promises of the design, each by its number, against a board whose memory the test can see."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.dialogue import Dialogue
from hostlink.board.dialogue.events import Warned
from hostlink.board.dialogue.evidence import DamageSign
from hostlink.board.dialogue.reading import Reading
from hostlink.cli.ways import in_commands
from hostlink.errors import (
    ArchiveError,
    ExitStatus,
    HostlinkError,
    Interrupted,
    LinkError,
    ReadBackError,
    RefusedError,
)
from hostlink.jobs.events import Rescued
from hostlink.jobs.run.running import run
from hostlink.jobs.store_recall import recall, store
from hostlink.jobs.stored_programs import stored_slots
from hostlink.practice.faults import Faults
from hostlink.practice.settings import BoardSettings
from hostlink.sentences import MAY_HAVE_ONE_MORE, UNTOUCHED

MINE = {10: 'PRINT "TYPED BY HAND"', 20: "GOTO 10"}
NEW = '10 PRINT "NEW"\n20 PRINT "ONE"\n30 END\n'
NEW_LINES = {10: 'PRINT "NEW"', 20: 'PRINT "ONE"', 30: "END"}
LONGEST_S = 1800.0  # virtual seconds within which every job must have ended


# --- 1: nothing on a board is overwritten unsaved --------------------------------------------


def test_promise_1_nothing_is_overwritten_unsaved(bench: Any) -> None:
    """Loading over a program that the archive does not hold makes a rescue of it first."""
    bench.put(holds=MINE)
    loaded = bench.load(NEW, "NEW")
    assert loaded.rescued == "rescue@1"
    assert bench.lines_of("rescue@1") == MINE
    assert bench.memory == NEW_LINES
    assert [event for event in bench.told if isinstance(event, Rescued)]
    (rescue,) = bench.archive.rescues()
    assert rescue.origin.captures >= 2


def test_promise_1_what_the_archive_holds_already_is_not_kept_twice(bench: Any) -> None:
    """The same program for the board is the same program: no rescue, its revision is named."""
    bench.put(holds=MINE)
    bench.save("MINE")
    assert bench.load(NEW, "NEW").rescued == "MINE@1"
    assert bench.load(NEW, "NEW").rescued == "NEW@1"
    assert bench.archive.rescues() == []


@pytest.mark.parametrize("job", ["load", "recall", "store over a stored program"])
def test_promise_1_holds_for_everything_that_overwrites(job: str, bench: Any) -> None:
    """Loading, recalling, and storing over a stored program: each keeps what it replaces."""
    bench.put(holds={10: "REM THE STORED ONE"})
    with bench.session() as session:
        store(session, bench.archive, "SLOT")
        bench.type_in({10: "REM MINE"})
        before = {rescue.spec for rescue in bench.archive.rescues()}
        if job == "load":
            bench.load(NEW, "NEW")
        elif job == "recall":
            recall(session, bench.archive, "SLOT")
        else:
            assert bench.lines_of(store(session, bench.archive, "SLOT").spec) == {
                10: "REM THE STORED ONE"
            }
    new = [rescue.spec for rescue in bench.archive.rescues() if rescue.spec not in before]
    assert [bench.lines_of(spec) for spec in new] == [{10: "REM MINE"}]


def test_promise_1_an_archive_that_cannot_keep_the_rescue_stops_the_load(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the rescue cannot be kept the board's memory is not touched."""
    bench.put(holds=MINE)

    def full(*_: object, **__: object) -> None:
        raise ArchiveError("The rescue was not kept: the disk is full.")

    monkeypatch.setattr(Archive, "rescue", full)
    with pytest.raises(ArchiveError) as caught:
        bench.load(NEW, "NEW")
    assert f"{UNTOUCHED} The listing is kept as NEW@1." in str(caught.value)
    assert bench.memory == MINE


@pytest.mark.parametrize("job", ["load", "save"])
def test_promise_1_no_more_is_said_of_a_board_than_a_damaging_wire_lets_be_known(
    bench: Any, monkeypatch: pytest.MonkeyPatch, job: str
) -> None:
    """What woke the board became its line 4 (found by the soak): it was said to be untouched."""
    bench.put(holds=MINE)

    def cut(dialogue: Dialogue) -> Reading:
        dialogue.evidence.note(DamageSign.NO_LINE)
        bench.type_in({4: "}"})
        raise LinkError("The wire was cut.")

    monkeypatch.setattr(Dialogue, "read_listing", cut)
    with pytest.raises(LinkError) as caught:
        bench.load(NEW, "NEW") if job == "load" else bench.save("MINE")
    assert UNTOUCHED not in str(caught.value)
    assert MAY_HAVE_ONE_MORE in str(caught.value)


def test_promise_1_captures_that_do_not_agree_stop_the_load(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be read with certainty cannot be kept, so it is not overwritten either."""
    from hostlink.board.dialogue.dialogue import Dialogue
    from hostlink.listing.parse import Line

    bench.put(holds=MINE)
    readings = iter(range(1000))

    def never_twice_the_same(_: Dialogue) -> Reading:
        return Reading({10: Line.from_text(f"10 REM {next(readings)}")})

    monkeypatch.setattr(Dialogue, "read_listing", never_twice_the_same)
    with pytest.raises(ReadBackError) as caught:
        bench.load(NEW, "NEW")
    assert MAY_HAVE_ONE_MORE in caught.value.kept
    assert "try again" in in_commands(caught.value.advice)
    assert bench.memory == MINE


def test_promise_1_only_discarding_skips_it_and_the_record_says_so(bench: Any) -> None:
    """--discard-board is the one way round, and it is on record for ever."""
    bench.put(holds=MINE)
    bench.load(NEW, "NEW", discard_board=True)
    assert bench.archive.rescues() == []
    assert (
        bench.archive.events(1)[0].detail["discarded"] == "2 lines that the board lists, 10 to 20"
    )
    bench.load(NEW, "NEW")
    assert "discarded" not in bench.archive.events(1)[0].detail


def test_promise_1_a_broken_load_leaves_no_false_knowledge(bench: Any) -> None:
    """After a load that broke off nothing is said to be on the board, and a save asks for a name.

    Otherwise half of one program would become the next revision of another.
    """
    bench.put(holds=MINE)
    bench.save("MINE")
    bench.put(faults=Faults(unplug_after_bytes=40), holds=MINE)
    with pytest.raises(LinkError) as caught:
        bench.load("".join(f"{n} REM {n:040}\n" for n in range(10, 200, 10)), "LONG")
    assert "What it held before is kept as MINE@1." in caught.value.kept
    (board,) = bench.archive.boards()
    copy = bench.archive.host_copy(board.uuid)
    bench.put(holds={10: "REM HALF"})
    if bench.archive.events(1)[0].detail["error"].count("was not touched"):
        pytest.fail("the board vanished too early for this test")
    assert copy.revision == ""
    with pytest.raises(RefusedError, match="no name"):
        bench.save()


def test_promise_1_what_a_broken_load_left_is_marked_for_good(bench: Any) -> None:
    """A save or a rescue of it says so, as long as lines of that load are in it."""
    bench.put(faults=Faults(unplug_after_bytes=700))
    lines = {n: f"REM {n:040}" for n in range(10, 200, 10)}
    with pytest.raises(LinkError):
        bench.load("".join(f"{n} {text}\n" for n, text in lines.items()), "LONG")
    bench.put(holds={10: lines[10], 20: lines[20]})
    saved = bench.save("MINE")
    assert saved.revision.origin.unproven == "left of a load of LONG@1 that was cut off"
    assert saved.doubt is None
    bench.put(holds={10: lines[10], 20: "PRINT 2"})
    bench.load("10 END\n", "SHORT")
    (rescue,) = bench.archive.rescues()
    assert rescue.origin.unproven == ""  # somebody worked on what was saved
    bench.save("SHORT")
    assert bench.archive.revision("SHORT").origin.unproven == ""


def test_promise_1_a_rescue_of_what_a_broken_load_left_is_marked(bench: Any) -> None:
    """Also where the next load comes first; a program of other lines has no such mark."""
    lines = {n: f"REM {n:040}" for n in range(10, 200, 10)}
    text = "".join(f"{n} {line}\n" for n, line in lines.items())
    for held, unproven in (
        ({10: lines[10]}, "left of a load of LONG@1 that was cut off"),
        ({10: "PRINT 1"}, ""),
    ):
        bench.put(faults=Faults(unplug_after_bytes=700))
        with pytest.raises(LinkError):
            bench.load(text, "LONG")
        bench.put(holds=held)
        bench.load("10 END\n", "SHORT")
        assert bench.archive.rescues(limit=1)[0].origin.unproven == unproven


# --- 2: loaded means proven ------------------------------------------------------------------


def test_promise_2_loaded_means_proven(bench: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """A board that stores a line wrong, whatever it echoes, never counts as loaded."""
    from hostlink.practice.program_memory import ProgramMemory

    real = ProgramMemory.put

    def wrong(memory: ProgramMemory, number: int, text: bytes) -> None:
        real(memory, number, text.replace(b"ONE", b"0NE"))

    monkeypatch.setattr(ProgramMemory, "put", wrong)
    with pytest.raises(ReadBackError) as caught:
        bench.load(NEW, "NEW")
    assert 'It holds line 20 as "20 PRINT "0NE""' in caught.value.what
    assert caught.value.status is ExitStatus.READ_BACK_DIFFERS
    assert "The listing is kept as NEW@1." in caught.value.kept
    assert bench.archive.events(1)[0].outcome == "failed"
    (board,) = bench.archive.boards()
    assert bench.archive.host_copy(board.uuid).revision == ""


def test_promise_2_a_line_stored_wrong_once_is_found_and_sent_again(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The read-back finds it, the repair is counted, and only then it is loaded."""
    from hostlink.practice.program_memory import ProgramMemory

    real = ProgramMemory.put
    spoilt = iter([True])

    def wrong_once(memory: ProgramMemory, number: int, text: bytes) -> None:
        spoil = number == 20 and next(spoilt, False)
        real(memory, number, text.replace(b"ONE", b"0NE") if spoil else text)

    monkeypatch.setattr(ProgramMemory, "put", wrong_once)
    loaded = bench.load(NEW, "NEW")
    assert bench.memory == NEW_LINES
    assert loaded.report.captures >= 2
    assert next(spoilt, None) is None


def test_promise_2_the_proof_is_on_record(bench: Any) -> None:
    """Our copy of the board is marked as proven, as the revision that was loaded."""
    loaded = bench.load(NEW, "NEW")
    (board,) = bench.archive.boards()
    copy = bench.archive.host_copy(board.uuid)
    assert (copy.revision, loaded.spec) == ("NEW@1", "NEW@1")
    assert copy.proven_at is not None
    assert loaded.free == 999 - loaded.size


def test_promise_2_a_proven_load_that_cannot_be_noted_says_that_it_is_proven(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that fills up in the last moment does not make a good load look bad."""
    real = Archive.set_host_copy

    def full(archive: Archive, *args: Any, **named: Any) -> None:
        if named.get("proven"):
            raise ArchiveError("The host copy was not kept: the disk is full.")
        real(archive, *args, **named)

    monkeypatch.setattr(Archive, "set_host_copy", full)
    with pytest.raises(ArchiveError) as caught:
        bench.load(NEW, "NEW")
    assert "NEW.bas is on the board and proven." in caught.value.kept
    assert bench.memory == NEW_LINES


# --- 3: saved means proven -------------------------------------------------------------------


def test_promise_3_saved_means_proven(bench: Any) -> None:
    """Captures that agree, three of so few bytes, and the count is kept with the revision."""
    bench.put(holds=MINE)
    saved = bench.save("MINE")
    assert saved.captures == 3
    assert bench.lines_of("MINE@1") == MINE
    assert bench.archive.history("MINE")[0].origin.captures == 3


def test_promise_3_a_capture_that_differs_calls_for_more(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One damaged reading is outvoted by more readings, and never kept."""
    from hostlink.board.dialogue.dialogue import Dialogue
    from hostlink.listing.parse import Line

    real = Dialogue.read_listing
    readings = iter(range(1000))

    def damaged_once(dialogue: Dialogue) -> Reading:
        reading = real(dialogue)
        if next(readings) == 1:
            reading.lines[10] = Line.from_text('10 PRINT "TAPED BY HAND"')
        return reading

    monkeypatch.setattr(Dialogue, "read_listing", damaged_once)
    bench.put(holds=MINE)
    saved = bench.save("MINE")
    assert saved.captures >= 3
    assert bench.lines_of("MINE@1") == MINE


def test_promise_3_captures_that_never_agree_are_no_save(
    bench: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is kept, status 4, and the program is said to be still there."""
    from hostlink.board.dialogue.dialogue import Dialogue
    from hostlink.listing.parse import Line

    readings = iter(range(1000))
    monkeypatch.setattr(
        Dialogue,
        "read_listing",
        lambda _: Reading({10: Line.from_text(f"10 REM {next(readings)}")}),
    )
    bench.put(holds=MINE)
    with pytest.raises(ReadBackError) as caught:
        bench.save("MINE")
    assert caught.value.status is ExitStatus.READ_BACK_DIFFERS
    assert "is still there" in caught.value.kept
    assert bench.archive.programs() == []
    assert bench.archive.events(1)[0].outcome == "failed"


# --- 4: an acknowledged revision survives ----------------------------------------------------

KILLED = """
import os, signal, sys
from hostlink.cli import entry
from hostlink.cli import progress
real = progress.Teller.emit
def emit(teller, event):
    real(teller, event)
    if type(event).__name__ == sys.argv[1]:
        sys.stderr.flush()
        os.kill(os.getpid(), signal.SIGKILL)
progress.Teller.emit = emit
entry.run_line(sys.argv[2:])
"""


@pytest.mark.one_in(2)
@pytest.mark.skipif(os.name != "posix", reason="kill -9 is a POSIX thing")
@pytest.mark.parametrize(
    ("event", "kept"), [("KeptAs", {"NEW@1"}), ("Rescued", {"NEW@1", "rescue@1"})]
)
def test_promise_4_an_acknowledged_revision_survives(
    event: str, kept: set[str], tmp_path: Path, bench: Any
) -> None:
    """kill -9 in the moment in which a revision or rescue is told: it is in the archive."""
    (tmp_path / "NEW.bas").write_text(NEW, encoding="utf-8")
    environment = {**os.environ, "HOSTLINK_PRACTICE": str(tmp_path / "practice")}
    shared = ("--port", "practice://k?time=virtual", "--archive", str(bench.archive.path))
    hand = tmp_path / "hand.txt"
    hand.write_text("10 REM BY HAND\n", encoding="utf-8")
    with hand.open("rb") as typed:
        subprocess.run(
            [sys.executable, "-m", "hostlink", "load", "-", *shared],
            stdin=typed,
            env=environment,
            check=True,
            capture_output=True,
        )
    killed = subprocess.run(
        [sys.executable, "-c", KILLED, event, "load", str(tmp_path / "NEW.bas"), *shared],
        env=environment,
        check=False,
        capture_output=True,
    )
    assert killed.returncode == -signal.SIGKILL
    held = {item.spec for item in bench.archive.rescues()}
    held |= {revision.spec for revision in bench.archive.history("NEW")}
    assert kept <= held
    assert bench.archive.prove().clean


# --- 5: the wire is never trusted ------------------------------------------------------------

TROUBLE = {
    "floods at once": Faults(flood_after_bytes=1),
    "floods in a command": Faults(flood_after_bytes=8),
    "floods while loading": Faults(flood_after_bytes=60),
    "stalls for ever": Faults(stall_every_bytes=20, stall_s=1e6),
    "stalls now and then": Faults(stall_every_bytes=15, stall_s=3.0),
    "restarts": Faults(restart_after_bytes=50),
    "is unplugged": Faults(unplug_after_bytes=50),
    "garbles one byte in five": Faults(seed=5, to_board=0.2, to_host=0.2),
    "garbles all it says": Faults(seed=6, to_host=1.0),
    "hears nothing right": Faults(seed=7, to_board=1.0),
}
JOBS: dict[str, Callable[[Any], object]] = {
    "load": lambda bench: bench.load(NEW, "NEW"),
    "save": lambda bench: bench.save("MINE"),
    "run": lambda bench: in_session(bench, lambda s: run(s, longest_s=2.0)),
    "stored": lambda bench: in_session(bench, stored_slots),
    "store": lambda bench: in_session(bench, lambda s: store(s, bench.archive, "SLOT")),
    "recall": lambda bench: in_session(bench, lambda s: recall(s, bench.archive, "SLOT")),
}


def in_session(bench: Any, job: Callable[..., object]) -> object:
    with bench.session() as session:
        return job(session)


@pytest.mark.one_in(6)
@pytest.mark.parametrize("trouble", TROUBLE)
@pytest.mark.parametrize("job", JOBS)
def test_promise_5_the_wire_is_never_trusted(job: str, trouble: str, bench: Any) -> None:
    """Whatever the board does, a job ends in bounded time: well, or with an error in words.

    And what it then says that it did is true.
    """
    bench.put(faults=TROUBLE[trouble], holds=MINE)
    before = bench.memory
    try:
        done = JOBS[job](bench)
    except HostlinkError as error:
        assert str(error).isprintable()
        assert error.what.endswith((".", '"'))
        assert len(str(error)) < 1000
    else:
        if job == "load":
            assert bench.memory == NEW_LINES
        elif job == "save":
            assert bench.lines_of(done.revision.spec) in (before, bench.memory)
    assert bench.clock.now() < LONGEST_S
    assert bench.archive.prove().clean
    for rescue in bench.archive.rescues():
        assert bench.lines_of(rescue.spec) in (before, {}, bench.memory)


def test_promise_5_what_a_board_says_is_shown_and_not_obeyed(bench: Any) -> None:
    """Escape sequences in a board's answer reach nobody but as text."""
    bench.put(BoardSettings(prompt=b"\x1b[2J\x07 READY FOR YOU "))
    with pytest.raises(LinkError) as caught:
        bench.save("X")
    assert "\\x1b[2J\\x07" in str(caught.value)
    assert str(caught.value).isprintable()


# --- 6: opening a port may restart a board ---------------------------------------------------

RESTARTS = BoardSettings(restarts_on_open=True, restart_ms=300)


def test_promise_6_restart_is_told(bench: Any) -> None:
    """A restart by our own opening is noticed, told, and what was lost can be put back."""
    bench.load(NEW, "NEW")
    bench.put(RESTARTS)
    with pytest.raises(RefusedError) as caught:
        bench.save("NEW")
    assert "it restarted when its port was opened, and lost its memory then" in caught.value.what
    assert "put it back with `hostlink load NEW@1`" in in_commands(caught.value.advice)
    told = [event.text for event in bench.told if isinstance(event, Warned)]
    assert any("restarted when its port was opened" in text for text in told)


def started_by_itself(bench: Any) -> None:
    """A board that restarts on opening and then holds a program that came from its EEPROM."""
    bench.put(RESTARTS)
    bench.machine.basic._state.eeprom.put("START", {10: b"END"})


def test_promise_6_a_save_after_a_restart_needs_a_yes_and_is_labelled(bench: Any) -> None:
    """A program that starts by itself looks like the user's: it is kept only on request."""
    started_by_itself(bench)
    with pytest.raises(RefusedError) as caught:
        bench.save("NEW")
    assert caught.value.status is ExitStatus.REFUSED
    assert "starts by itself" in caught.value.what
    assert "--yes" in in_commands(caught.value.advice)
    assert bench.archive.programs() == []
    saved = bench.save("NEW", after_restart=True)
    assert saved.revision.origin.after_restart
    assert bench.archive.revision("NEW@1").origin.after_restart


def test_promise_6_a_rescue_after_a_restart_is_labelled(bench: Any) -> None:
    """What is captured after a restart says so for ever."""
    started_by_itself(bench)
    bench.load(NEW, "NEW")
    assert [rescue.origin.after_restart for rescue in bench.archive.rescues()] == [True]


def test_promise_6_an_empty_capture_replaces_nothing(bench: Any) -> None:
    """An emptied board gives no rescue, no revision, and leaves those that there are."""
    bench.put(holds=MINE)
    bench.load(NEW, "NEW")
    bench.put(RESTARTS)
    bench.load(NEW, "NEW")
    assert [rescue.spec for rescue in bench.archive.rescues()] == ["rescue@1"]
    assert bench.lines_of("rescue@1") == MINE
    bench.put()
    with pytest.raises(RefusedError):
        bench.save("NEW", after_restart=True)
    assert [revision.number for revision in bench.archive.history("NEW")] == [1]


def test_promise_6_after_a_proven_load_the_restart_is_settled(bench: Any) -> None:
    """Over the same open port: what was proven since is the user's, and is not labelled."""
    from hostlink.jobs.listing_source import from_bytes
    from hostlink.jobs.loading import LoadOptions, load
    from hostlink.jobs.saving import SaveOptions, save

    bench.put(RESTARTS)
    with bench.session() as session:
        assert not session.restarts.memory_is_lost
        session.attach()
        assert session.restarts.memory_is_lost
        load(session, bench.archive, from_bytes(NEW.encode(), "n", name="NEW"), LoadOptions())
        assert not session.restarts.memory_is_lost
        saved = save(session, bench.archive, SaveOptions("NEW"))
    assert not saved.revision.origin.after_restart


# --- stopping --------------------------------------------------------------------------------


@pytest.mark.parametrize("turns", [1, 5, 20, 40, 60, 90, 130, 200])
def test_stopping_at_any_moment_leaves_a_stated_condition(turns: int, bench: Any) -> None:
    """Ctrl+C at any turn of the pump: the error says what the board holds, and that is true."""
    bench.put(holds=MINE)
    left = [turns]

    def cancelled() -> bool:
        left[0] -= 1
        return left[0] < 0

    from hostlink.jobs.listing_source import from_bytes
    from hostlink.jobs.loading import LoadOptions, load

    material = from_bytes(NEW.encode(), "n", name="NEW")
    try:
        with bench.session(cancelled) as session:
            load(session, bench.archive, material, LoadOptions())
    except Interrupted as error:
        assert error.status is ExitStatus.INTERRUPTED
        assert "The listing is kept as NEW@1." in error.kept or "proven" in error.kept
        if "was not touched" in error.kept:
            assert bench.memory == MINE
        elif "proven" in error.kept:
            assert bench.memory == NEW_LINES
        else:
            assert re.search("the board holds a part of it|and not proven", error.what)
            assert bench.lines_of("rescue@1") == MINE
        bench.machine.run_until(bench.clock.now() + 5)
        bench.load(NEW, "NEW")
    assert bench.memory == NEW_LINES
    assert bench.archive.prove().clean
