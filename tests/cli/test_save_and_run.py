"""save, run, stored, store, recall."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive
from hostlink.practice.machine import Machine

ASKS = ('10 PRINT "NAME"', "20 INPUT A", "30 PRINT", "40 PRINT A*2;")


def test_save_keeps_what_the_board_holds(hostlink: Callable, archive: Archive) -> None:
    """What was typed on the board becomes a revision of the program that is named."""
    assert hostlink("load", "-", stdin=b'10 PRINT "HELLO"\n').status == 0
    told = hostlink("save", "greet", "--note", "from the first evening")
    assert told.status == 0
    assert "greet@1, 1 line, 16 bytes, is proven by 3 captures." in told.err
    assert hostlink("show", "greet").out == '10 PRINT "HELLO"\n'
    (revision,) = archive.history("greet")
    assert (revision.origin.kind, revision.note) == ("board", "from the first evening")


def test_save_without_a_name_goes_to_what_the_board_held(
    hostlink: Callable, archive: Archive
) -> None:
    """After a load, save knows the program; the same listing is no new revision."""
    assert hostlink("load", "tide").status == 0
    told = hostlink("save")
    assert told.status == 0
    assert "Nothing new: it is TIDE@1 already." in told.err
    assert len(archive.history("TIDE")) == 1


def test_save_without_any_name_asks_for_one(hostlink: Callable) -> None:
    """A program that nobody has named is left on the board."""
    assert hostlink("load", "-", stdin=b"10 END\n").status == 0
    told = hostlink("save")
    assert told.status == 1
    assert "has no name here yet" in told.err
    assert "`hostlink save NAME`" in told.err


def test_save_of_an_empty_board_is_no_success(hostlink: Callable) -> None:
    """Nothing on the board is told, with what to do, and nothing is kept."""
    told = hostlink("save", "TIDE", "--port", "practice://empty?time=virtual")
    assert told.status == 1
    assert "The board holds no program." in told.err
    assert hostlink("programs", "--json").json == []


def test_save_says_where_the_lost_program_is(hostlink: Callable) -> None:
    """A board that lost its memory since: the archive's copy is offered."""
    assert hostlink("load", "tide").status == 0
    told = hostlink("save", "--port", "practice://class?time=virtual&restarts_on_open=yes")
    assert told.status == 1
    assert "it restarted when its port was opened, and lost its memory then" in told.err
    assert "`hostlink load TIDE@1 --port 'practice://class?" in told.err


def test_save_answers_in_json(hostlink: Callable) -> None:
    """The keys a script needs, the hash among them."""
    assert hostlink("load", "tide").status == 0
    answer = hostlink("save", "--json").json
    assert set(answer) == {
        "revision",
        "is_new",
        "captures",
        "proven",
        "size_bytes",
        "lines",
        "sha256",
    }
    assert answer["proven"] is True
    assert (answer["revision"], answer["is_new"], answer["captures"]) == ("TIDE@1", False, 2)


def test_run_types_the_input_and_keeps_the_transcript(
    hostlink: Callable, listing: Callable, place: Path
) -> None:
    """--input answers the program, -o keeps what it printed, blank rows too."""
    assert hostlink("load", listing(*ASKS)).status == 0
    (place / "answers.txt").write_text("21\n", encoding="utf-8")
    told = hostlink("run", "--input", "answers.txt", "-o", "transcript.txt")
    assert told.status == 0
    assert told.out == "NAME\n? 21\n\n 42\n"
    assert (place / "transcript.txt").read_text(encoding="utf-8") == told.out


def test_run_that_prints_without_end_is_stopped(hostlink: Callable, listing: Callable) -> None:
    """An endless program ends at its time, and the board is at its prompt again."""
    assert hostlink("load", listing('10 PRINT "X"', "20 GOTO 10")).status == 0
    told = hostlink("run", "--seconds", "2")
    assert told.status == 1
    assert "did not end within 2 s; it was still running" in told.err
    assert hostlink("save").status == 0


def test_what_the_board_prints_is_shown_and_not_obeyed(
    hostlink: Callable, machine_at_port: Callable[..., Machine], place: Path
) -> None:
    """Escape sequences and markup in a program's output have no effect on a terminal."""
    machine_at_port(program={10: b'PRINT "\x1b[31m[red]A\x07[/red]"'})
    told = hostlink("run", "-o", "out.txt")
    assert told.status == 0
    assert told.out == "\\x1b[31m[red]A\\x07[/red]\n"
    assert (place / "out.txt").read_text(encoding="utf-8") == told.out


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"1\n2\x03\n", "line 2 holds a control character"),
        (b"7\n" * 600_000, "larger than 1 MiB"),
    ],
)
def test_an_input_file_that_cannot_be_typed_is_refused(
    content: bytes, why: str, hostlink: Callable, place: Path
) -> None:
    """A control character would be obeyed by the board; nothing is run then."""
    (place / "answers.txt").write_bytes(content)
    told = hostlink("run", "--input", "answers.txt")
    assert told.status == 1
    assert why in told.err
    assert "Nothing was run." in told.err


def test_an_input_file_that_is_not_there_is_told(hostlink: Callable) -> None:
    """The name of the missing file is in the message."""
    told = hostlink("run", "--input", "none.txt")
    assert told.status == 1
    assert "none.txt cannot be read: No such file" in told.err


def test_an_output_file_that_exists_is_left_alone(hostlink: Callable, place: Path) -> None:
    """run never overwrites a transcript."""
    (place / "old.txt").write_text("mine", encoding="utf-8")
    told = hostlink("run", "-o", "old.txt")
    assert told.status == 1
    assert (place / "old.txt").read_text(encoding="utf-8") == "mine"


def test_a_stored_program_is_listed_and_recalled(hostlink: Callable, board_holds: Callable) -> None:
    """A program is stored, listed, and recalled over another, which the archive keeps."""
    assert hostlink("load", "tide").status == 0
    told = hostlink("store", "harbour")
    assert told.status == 0
    assert "100,000" in told.err  # ATmega328P data sheet DS40002061A: EEPROM write cycles
    listed = hostlink("stored", "--json").json
    assert listed == [{"name": "HARBOUR", "row": "HARBOUR 609"}]
    assert hostlink("stored").out.splitlines()[1].startswith("HARBOUR")
    assert hostlink("load", "-", stdin=b"10 REM BY HAND\n").status == 0
    told = hostlink("recall", "HARBOUR")
    assert told.status == 0
    assert "rescue@1" in told.err
    assert "HARBOUR is in memory: 32 lines, the same as TIDE@1." in told.err
    assert len(board_holds()) == 32
    assert "Nothing new: it is TIDE@1 already." in hostlink("save").err


def test_a_slot_that_is_overwritten_is_rescued_first(
    hostlink: Callable, archive: Archive, board_holds: Callable
) -> None:
    """Storing over a stored program keeps that one in the archive, and memory is as before."""
    assert hostlink("load", "-", stdin=b"10 REM THE OLD ONE\n").status == 0
    assert hostlink("store", "A").status == 0
    rescued = [item.spec for item in archive.rescues()]
    assert rescued == ["rescue@1"]  # memory was kept before it was stored
    assert hostlink("load", "-", stdin=b"10 REM THE NEW ONE\n").status == 0
    told = hostlink("store", "a")
    assert told.status == 0
    assert "it held what is kept as rescue@1" in told.err
    assert board_holds() == {10: "REM THE NEW ONE"}
    assert hostlink("show", "rescue@1").out == "10 REM THE OLD ONE\n"
    stores = [event for event in archive.events() if event.job == "store"]
    assert [event.outcome for event in stores] == ["done", "done"]
    assert stores[0].detail["slot_held"] == "rescue@1"


def test_storing_is_recorded_however_it_ends(hostlink: Callable, archive: Archive) -> None:
    """An event tells of each store and recall, also of one that the board refused."""
    told = hostlink("recall", "NOBODY")
    assert told.status == 1
    assert "The board has nothing stored as NOBODY." in told.err
    event = archive.events(1)[0]
    assert (event.job, event.outcome, event.detail["slot"]) == ("recall", "refused", "NOBODY")


def test_an_empty_board_stores_nothing(hostlink: Callable) -> None:
    """There must be a program to store."""
    told = hostlink("store", "A")
    assert told.status == 1
    assert "no program to store" in told.err


@pytest.mark.parametrize("name", ["two words", "", "x" * 40, "a\x03b", "A:NEW"])
def test_a_name_that_cannot_be_typed_is_refused(name: str, hostlink: Callable) -> None:
    """A slot's name goes to the board as typed; none is a statement of its own."""
    assert hostlink("load", "tide").status == 0
    for command in ("store", "recall"):
        told = hostlink(command, name)
        assert told.status == 1
        assert "cannot be the name of a stored program" in told.err


def test_a_board_without_eeprom_commands_says_so(hostlink: Callable, listing: Callable) -> None:
    """A profile that knows no store command refuses, and the board is not touched."""
    assert hostlink("load", listing("10 END")).status == 0
    for command in (("stored",), ("store", "A"), ("recall", "A")):
        told = hostlink(*command, "--profile", "ecma-55")
        assert told.status in (1, 3)
        assert "not touched" in told.err or "left as it is" in told.err


def test_a_run_without_a_program_says_what_to_do(hostlink: Callable) -> None:
    """Nothing is printed on an empty board; the sentence goes to stderr, and not with --quiet."""
    told = hostlink("run")
    assert (told.status, told.out) == (0, "")
    assert "It printed nothing." in told.err
    assert "It printed nothing." not in hostlink("run", "--quiet").err


def test_a_program_that_prints_the_boards_own_words_is_loaded_and_saved(
    hostlink: Callable, listing: Callable
) -> None:
    """The text that a board shows when it restarts stands in its lines: that is no restart."""
    name = listing('10 PRINT "practice board, 999 bytes for a program"\n20 REM practice board,')
    assert hostlink("load", name).status == 0
    told = hostlink("save", "OWN")
    assert (told.status, "is proven by" in told.err) == (0, True)
