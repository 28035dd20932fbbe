"""together: several commands over one open port."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive

RESTARTS = "practice://class?time=virtual&restarts_on_open=yes"


@pytest.fixture
def steps(place: Path) -> Callable[..., str]:
    """Writes a file of commands and gives its name."""

    def write(*lines: str) -> str:
        (place / "steps.txt").write_text("".join(line + "\n" for line in lines), encoding="utf-8")
        return "steps.txt"

    return write


def test_separate_commands_lose_the_program_of_a_board_that_restarts(hostlink: Callable) -> None:
    """Each opening restarts such a board: what the first command loaded is gone for the second."""
    assert hostlink("load", "tide", "--port", RESTARTS).status == 0
    told = hostlink("save", "tide", "--port", RESTARTS)
    assert told.status == 1
    assert "The board holds no program: it restarted when its port was opened" in told.err


def test_together_keeps_the_program_of_a_board_that_restarts(
    hostlink: Callable, steps: Callable, archive: Archive
) -> None:
    """Over one open port the program stays, and a save after a proven load needs no --yes."""
    name = steps("# class two", "load tide", "", "save tide  # read back", "store HARBOUR")
    told = hostlink("together", name, "--port", RESTARTS)
    assert told.status == 0
    assert "2: load tide" in told.err
    assert "5: store HARBOUR" in told.err
    jobs = [event.job for event in archive.events() if event.job != "rescue"]
    assert jobs == ["store", "save", "load"]


def test_the_first_failure_ends_the_work_with_its_status(
    hostlink: Callable, steps: Callable, archive: Archive
) -> None:
    """What comes after a line that failed is not run, and how much that is is said."""
    name = steps("load tide", "recall NOTHING", "store A", "store B")
    told = hostlink("together", name)
    assert told.status == 1
    assert (
        "Line 2 of steps.txt ended with status 1; the remaining 2 lines were not run." in told.err
    )
    assert [event.job for event in archive.events()] == ["recall", "load"]


@pytest.mark.parametrize(
    ("line", "said", "status"),
    [
        (
            "restart",
            "Restarting erases the program in memory, so it must be confirmed.",
            1,
        ),
        ("firmware write --previous", "The archive has no earlier firmware of this board", 1),
        ("console", '"console" cannot be used in a command file.', 2),
        ("survey --keep a/b", '"a/b" cannot be the name of a profile', 2),
        ("survey --against nothing", 'There is no profile "nothing".', 2),
        ("load no-such.bas", 'no shipped program called "no-such.bas".', 1),
        ("load tide --as a@b", "the @ is reserved for revision numbers", 1),
        ("save a@b", "the @ is reserved for revision numbers", 1),
        ("putback backup@7", "There is no backup 7 in the archive.", 1),
        ("run --input none.txt", "The input file none.txt cannot be read", 1),
        ("run -o steps.txt", "steps.txt already exists.", 1),
        ("show NOBODY", '"NOBODY"', 1),
        ("mend shipped:TIDE -o steps.txt", "steps.txt already exists.", 1),
        ("note NOBODY text", "NOBODY", 1),
    ],
)
def test_what_can_be_refused_without_a_board_is_refused_first(
    line: str, said: str, status: int, hostlink: Callable, steps: Callable, place: Path
) -> None:
    """A later line that will be refused is told before the first is run, and nothing is kept."""
    told = hostlink("together", steps("load tide", line))
    assert told.status == status, told.err
    assert told.err.startswith("hostlink: Line 2 of steps.txt: ")
    assert said in told.err
    assert "Nothing was run. The port was not opened." in told.err
    assert not (place / "practice").exists()
    assert told.out == ""


def test_what_an_earlier_line_makes_is_no_reason_to_refuse(
    hostlink: Callable, steps: Callable, listing: Callable, archive: Archive
) -> None:
    """A file, a program, a rescue and a backup that come to be on the way; each is made once."""
    listing("10 PRINT 1", name="one.bas")
    told = hostlink(
        "together",
        steps(
            "keep one.bas",
            "load ONE",
            "save OTHER",
            "mend OTHER -o two.bas",
            "load two.bas",
            "load tide",
            "backup",
            "putback backup@1",
            "note ONE first",
        ),
    )
    assert told.status == 0, told.err
    assert [each.name for each in archive.programs()] == ["ONE", "OTHER", "TIDE", "TWO"]
    assert archive.program("ONE").latest == 1
    assert archive.program("ONE").note == "first"


def test_a_line_that_makes_no_sense_stops_everything_before_it_begins(
    hostlink: Callable, steps: Callable, place: Path
) -> None:
    """All lines are looked at first: a mistake in the last one costs nothing."""
    told = hostlink("together", steps("load tide", "laod dice"))
    assert told.status == 2
    assert 'Line 2 of steps.txt: "laod" cannot be used in a command file.' in told.err
    assert "Nothing was run. The port was not opened." in told.err
    assert not (place / "practice").exists()


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("together steps.txt", '"together" cannot be used in a command file'),
        ('load "tide', "no closing quotation"),
    ],
)
def test_lines_that_cannot_stand_there(
    line: str, said: str, hostlink: Callable, steps: Callable
) -> None:
    """A nested `together` and an open quotation mark are named with their line."""
    told = hostlink("together", steps(line))
    assert told.status == 2
    assert said in told.err


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("save z --nonsense", "No such option '--nonsense'."),
        ("load", "Missing argument 'WHAT'."),
        ("load tide --speed fast", "No such option"),
        ("archive prov", 'There is no command "prov". Did you mean prove?'),
    ],
)
def test_a_wrong_option_in_a_later_line_is_found_first(
    line: str, said: str, hostlink: Callable, steps: Callable, place: Path
) -> None:
    """Each line is read as its command will read it, before the port is opened."""
    told = hostlink("together", steps("load tide", line))
    assert told.status == 2
    assert f"Line 2 of steps.txt: {said}" in told.err
    assert "Nothing was run. The port was not opened." in told.err
    assert not (place / "practice").exists()


@pytest.mark.parametrize(
    "option",
    [
        "--port practice://two",
        "--archive b.sqlite3",
        "--baud 300",
        "--record w.txt",
        "--stop-running",
        "--profile tiny",
    ],
)
def test_what_is_chosen_at_opening_is_chosen_once(
    option: str, hostlink: Callable, steps: Callable
) -> None:
    """An option that a line could not heed any more is refused, never ignored."""
    told = hostlink("together", steps(f"save TIDE {option}"))
    assert told.status == 2
    assert "is given only once, to `together` itself." in told.err


def test_a_profile_may_be_named_where_no_port_is_used(hostlink: Callable, steps: Callable) -> None:
    """review and compare work for any profile, also in the midst of other lines."""
    told = hostlink("together", steps("review tide --profile tiny"))
    assert "for profile tiny" in told.out


def test_commands_come_from_standard_input(hostlink: Callable) -> None:
    """Without a file, or with -, the lines are read from standard input."""
    assert "TIDE@1 is on the board" in hostlink("together", stdin=b"load tide\n").err
    assert hostlink("together", "-", stdin=b"save tide\n").status == 0


def test_quiet_holds_for_every_line(hostlink: Callable, steps: Callable) -> None:
    """--quiet given to together is not forgotten by the commands in it."""
    told = hostlink("together", steps("load tide", "save", "programs"), "--quiet")
    assert (told.status, told.err) == (0, "")
    assert "TIDE" in told.out


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "holds no command"),
        (b"# only a remark\n\n", "holds no command"),
        (b"\xff\xfe\x00load", "it is not UTF-8 text"),
        (b"# long\n" * 200_000, "is larger than 1,048,576 bytes"),
    ],
)
def test_a_file_that_is_no_list_of_commands(
    content: bytes, said: str, hostlink: Callable, place: Path
) -> None:
    """Each kind of useless file gets its sentence; the port stays shut."""
    (place / "junk").write_bytes(content)
    told = hostlink("together", "junk")
    assert told.status == 1
    assert said in told.err
    assert not (place / "practice").exists()


def test_a_file_that_cannot_be_read(hostlink: Callable, place: Path) -> None:
    """A folder and a missing file are told by the system's own words."""
    (place / "folder").mkdir()
    assert "folder cannot be read: Is a directory." in hostlink("together", "folder").err
    assert "none cannot be read: No such file or directory." in hostlink("together", "none").err
