"""load: what goes to the board, what is kept, what is said."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive
from hostlink.cli.commands import load_save

LAMP = ('10 PRINT "LAMP ON"', "20 GOTO 40", "30 REM NEVER", '40 PRINT "LAMP OFF"')


def test_a_file_goes_in_proven_and_is_kept(
    hostlink: Callable, listing: Callable, archive: Archive, board_holds: Callable
) -> None:
    """A loaded file is on the board line by line, and is the first revision of its own name."""
    told = hostlink("load", listing(*LAMP, name="lamp.bas"))
    assert told.status == 0
    assert "LAMP@1 is on the board, proven: 59 of 999 bytes (4 lines, sent in " in told.err
    assert [f"{number} {text}" for number, text in board_holds().items()] == list(LAMP)
    assert archive.history("LAMP")[0].origin.where == "lamp.bas"


def test_standard_input_is_a_listing_without_a_name(
    hostlink: Callable, archive: Archive, board_holds: Callable
) -> None:
    """`load -` loads what is piped in; without --as it is not kept, and that is said."""
    told = hostlink("load", "-", stdin=b"10 END\r\n")
    assert told.status == 0
    assert "give it a name with --as NAME" in told.err
    assert board_holds() == {10: "END"}
    assert archive.programs() == []
    assert hostlink("load", "-", "--as", "STOP", stdin=b"10 END\r\n").status == 0
    assert [program.name for program in archive.programs()] == ["STOP"]


def test_a_shipped_program_keeps_its_title_and_tags(hostlink: Callable, archive: Archive) -> None:
    """A shipped example comes into the archive with what its index says; twice is no news."""
    assert hostlink("load", "tide").status == 0
    assert hostlink("load", "shipped:tide").status == 0
    (program,) = archive.programs()
    assert (program.name, program.title, program.revisions) == ("TIDE", "Tide clock", 1)
    assert program.tags


def test_an_older_revision_can_be_loaded(
    hostlink: Callable, listing: Callable, board_holds: Callable
) -> None:
    """NAME@NUMBER goes back to an earlier listing; NAME alone is the latest."""
    listing("10 PRINT 1", name="step.bas")
    assert hostlink("load", "step.bas").status == 0
    listing("10 PRINT 2", name="step.bas")
    assert hostlink("load", "step.bas").status == 0
    assert hostlink("load", "STEP@1").status == 0
    assert board_holds() == {10: "PRINT 1"}
    assert hostlink("load", "step").status == 0
    assert board_holds() == {10: "PRINT 2"}


def test_a_rescue_can_be_loaded(
    hostlink: Callable, listing: Callable, board_holds: Callable
) -> None:
    """rescue@NUMBER puts back what was overwritten."""
    assert hostlink("load", "-", stdin=b"10 REM BY HAND\n").status == 0
    told = hostlink("load", listing(*LAMP))
    assert "Rescued what the board held as rescue@1 (1 line" in told.err
    assert hostlink("load", "rescue@1").status == 0
    assert board_holds() == {10: "REM BY HAND"}


def test_a_board_s_program_goes_by_the_name_it_was_loaded_under(hostlink: Callable) -> None:
    """Where another program is the same listing, what the board held is not called by its name."""
    hostlink("load", "hail")
    hostlink("show", "hail", "-o", "twin.bas")
    hostlink("keep", "twin.bas")
    assert hostlink("load", "tide", "--json").json["board_held"] == "HAIL@1"
    hostlink("load", "hail")
    hostlink("store", "TWIN")
    assert "the same as TWIN@1" in hostlink("recall", "TWIN").err


def test_run_runs_what_was_proven(hostlink: Callable, listing: Callable) -> None:
    """--run prints what the program prints."""
    assert hostlink("load", listing(*LAMP), "--run").out == "LAMP ON\nLAMP OFF\n"


def test_json_says_what_was_proven(hostlink: Callable, listing: Callable) -> None:
    """The answer as JSON has the documented keys and figures that agree with the listing."""
    told = hostlink("load", listing("10 END", name="a.bas"), "--json")
    answer = told.json
    assert set(answer) == {
        *("listing", "revision", "board_held", "proven", "lines", "bytes_sent", "size_bytes"),
        *("limit_bytes", "free_bytes", "repairs", "captures", "seconds"),
    }
    # Practice profile: 2 bytes of number + 3 of text + 1 of end.
    assert (answer["size_bytes"], answer["limit_bytes"], answer["free_bytes"]) == (6, 999, 993)
    assert (answer["revision"], answer["board_held"], answer["proven"]) == ("A@1", None, True)
    assert answer["bytes_sent"] == len("10 END\r")


def test_json_with_run_stays_one_document(hostlink: Callable, listing: Callable) -> None:
    """With --run the program's output is part of the JSON, not printed beside it."""
    told = hostlink("load", listing(*LAMP), "--run", "--json")
    assert told.json["output"] == "LAMP ON\nLAMP OFF"


def test_changes_sends_only_what_differs(
    hostlink: Callable, listing: Callable, place: Path, board_holds: Callable
) -> None:
    """--changes types the changed line, deletes the missing one, and leaves the others alone."""
    assert hostlink("load", listing(*LAMP)).status == 0
    listing(LAMP[0], '20 PRINT "DIM"', LAMP[3])
    told = hostlink("load", "light.bas", "--changes", "--record", "wire.txt")
    assert told.status == 0
    assert board_holds() == {10: 'PRINT "LAMP ON"', 20: 'PRINT "DIM"', 40: 'PRINT "LAMP OFF"'}
    typed = [row for row in (place / "wire.txt").read_text().splitlines() if "  host  " in row]
    sent = "".join(row.split("  host  ")[1].strip('"') for row in typed)
    assert "DIM" in sent
    assert "LAMP ON" not in sent
    assert "NEW" not in sent


def test_what_the_review_finds_is_refused_before_the_port_is_opened(
    hostlink: Callable, listing: Callable, place: Path
) -> None:
    """Opening a port may restart a board, so a listing that cannot load must not open one."""
    told = hostlink("load", listing("10 GOTO 50"), "--record", "wire.txt")
    assert told.status == 1
    assert "line 10: GOTO 50: there is no line 50." in told.err
    assert "Nothing was sent to the board." in told.err
    assert ".." not in told.err.replace("...", "")
    assert not (place / "practice").exists()
    assert not (place / "wire.txt").exists()


def test_a_refusal_tells_how_many_more_and_where_to_look(
    hostlink: Callable, listing: Callable
) -> None:
    """Several errors: the first is told, the others counted, and the next command named."""
    told = hostlink("load", listing("10 GOTO 50", "20 GOTO 60", "30 GOTO 70"))
    assert "There are 2 more errors." in told.err
    assert "See everything with `hostlink review light.bas --profile practice`." in told.err
    assert "mend" not in told.err


def test_a_pasted_listing_is_sent_to_mend(hostlink: Callable, place: Path) -> None:
    """Where mending would help, the refusal says so, with a command that then works."""
    pasted = "> 10 PRINT “ON”\n> 20 END\n"
    (place / "my page.txt").write_text(pasted, encoding="utf-8")
    told = hostlink("load", "my page.txt")
    assert told.status == 1
    assert (
        "Repair this with `hostlink mend 'my page.txt' --profile practice -o NEW-FILE`." in told.err
    )
    assert hostlink("mend", "my page.txt", "-o", "mended.bas").status == 0
    assert hostlink("load", "mended.bas").status == 0


def test_despite_review_loads_all_the_same(hostlink: Callable, listing: Callable) -> None:
    """--despite-review sends a listing with errors; the read-back still decides."""
    assert hostlink("load", listing("10 GOTO 50"), "--despite-review").status == 0


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--watch", "--json"), "--watch gives many"),
        (("--changes", "--discard-board"), "--discard-board does not look"),
    ],
)
def test_options_that_contradict_each_other_are_wrong_use(
    options: tuple[str, ...], said: str, hostlink: Callable, listing: Callable
) -> None:
    """Contradictions are told, not resolved in silence."""
    told = hostlink("load", listing("10 END"), *options)
    assert told.status == 2
    assert said in told.err


@pytest.mark.parametrize("what", ["-", "tide"])
def test_watch_needs_a_file(what: str, hostlink: Callable) -> None:
    """Only a file can be saved again."""
    told = hostlink("load", what, "--watch")
    assert told.status == 2
    assert "--watch needs a listing file" in told.err


def watched(monkeypatch: pytest.MonkeyPatch, path: Path, saves: list[str | None]) -> None:
    """Let each nap of the watch loop save the next text, and Ctrl+C come after the last."""
    texts = iter(saves)
    stamp = [1_000_000_000]

    def nap(seconds: float) -> None:
        assert 0 < seconds <= 1
        try:
            text = next(texts)
        except StopIteration:
            import signal

            signal.raise_signal(signal.SIGINT)
            return
        if text is None:
            path.unlink()
            return
        path.write_text(text, encoding="utf-8")
        stamp[0] += 1_000_000_000
        os.utime(path, ns=(stamp[0], stamp[0]))

    monkeypatch.setattr(load_save.time, "sleep", nap)


def test_watch_sends_each_saved_version(
    hostlink: Callable,
    listing: Callable,
    monkeypatch: pytest.MonkeyPatch,
    place: Path,
    board_holds: Callable,
    archive: Archive,
) -> None:
    """Each save of the file reaches the board and becomes a revision, until Ctrl+C."""
    name = listing("10 PRINT 1", "20 END")
    saves: list[str | None] = [
        "10 PRINT 2\n20 END\n",
        "10 PRINT 2\n20 END\n30 REM\n",
    ]
    watched(monkeypatch, place / name, saves)
    told = hostlink("load", name, "--watch")
    assert told.status == 0
    assert board_holds() == {10: "PRINT 2", 20: "END", 30: "REM"}
    assert [revision.number for revision in archive.history("LIGHT")] == [1, 2, 3]
    assert "Watching light.bas" in told.err
    assert "No longer watching. The board has not been read since the last load." in told.err


def test_watch_survives_a_bad_save_and_a_replaced_file(
    hostlink: Callable,
    listing: Callable,
    monkeypatch: pytest.MonkeyPatch,
    place: Path,
    board_holds: Callable,
) -> None:
    """A version with an error is told and not sent; a moment without the file is waited out."""
    name = listing("10 PRINT 1")
    saves: list[str | None] = ["10 GOTO 99\n", None, "", "10 PRINT 3\n"]
    watched(monkeypatch, place / name, saves)
    told = hostlink("load", name, "--watch")
    assert told.status == 0
    assert told.err.count("The board keeps what it holds.") == 2
    assert "there is no line 99" in told.err
    assert board_holds() == {10: "PRINT 3"}


def test_the_expected_time_is_said_first(hostlink: Callable) -> None:
    """Before anything is sent a person learns how long it will take."""
    told = hostlink(
        "load", "tide", "--port", "practice://slow?time=virtual&baud=300", "--baud", "300"
    )
    assert told.status == 0
    assert told.err.splitlines()[0].startswith("the shipped TIDE: about ")
    seconds = int(told.err.split("about ")[1].split(" s")[0])
    # 664 bytes at 30 a second are 22 s; with prompts, the rescue and the read-back up to 5 times.
    assert 44 <= seconds <= 110


def test_repairs_are_told(hostlink: Callable) -> None:
    """On a damaged wire: each line that is sent again, and how many; none otherwise."""
    told = hostlink("load", "tide", "--port", "practice://noisy?time=virtual&to_board=0.003&seed=3")
    assert told.status == 0
    assert "it is sent again." in told.err
    assert " sent again (32 lines" in told.err
    assert "sent again" not in hostlink("load", "hail").err


def test_discarding_what_the_board_holds_is_recorded(hostlink: Callable, archive: Archive) -> None:
    """--discard-board skips the rescue, says so, and the record says so for ever."""
    assert hostlink("load", "-", stdin=b"10 REM BY HAND\n").status == 0
    told = hostlink("load", "tide", "--discard-board")
    assert told.status == 0
    assert "Not kept, as you asked" in told.err
    assert archive.rescues() == []
    assert archive.events(1)[0].detail["discarded"] == "1 line that the board lists, 10"
