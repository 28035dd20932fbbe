"""`hostlink runs`, `run --plot` and `find --printed`: what programs printed, kept and drawn."""

from __future__ import annotations

import csv
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from hostlink.archive import Archive
from hostlink.cli.plot_screen import PlotScreen
from hostlink.cli.run_screens import QuestionScreen
from hostlink.errors import ArchiveError
from hostlink.jobs.events import RowOpen, RowPrinted
from hostlink.jobs.run.answers import Given
from hostlink.publish.numbers import Columns, Numbers

TIDE = ('10 PRINT "HIGH LOW"', "20 LET A=3", "30 PRINT A,9-A", "40 LET A=A+1", "50 IF A<7 THEN 30",
        '60 PRINT "HIGH WATER"')  # fmt: skip
PRINTED = "HIGH LOW\n 3       6\n 4       5\n 5       4\n 6       3\nHIGH WATER"
REAL = ("--port", "practice://class", "--quiet")
Hostlink = Callable[..., Any]


@pytest.fixture
def ran(hostlink: Hostlink, listing: Callable[..., str]) -> str:
    """TIDE was run twice, its second revision with an error; what the first run printed."""
    assert hostlink("load", listing(*TIDE, name="tide.bas"), "--run").status == 0
    failing = listing(*TIDE[:-1], "60 PRINT 7/0", name="tide.bas")
    assert hostlink("load", failing, "--run").status == 1
    return PRINTED


def test_the_runs_of_a_program_are_listed(hostlink: Hostlink, ran: str) -> None:
    """When, which revision, how long, how it ended; the newest first. As JSON every field."""
    told = hostlink("runs", "tide")
    heads, second, first = told.out.splitlines()
    assert heads.split() == ["run", "when", "revision", "board", "took", "rows", "ended"]
    assert second.split()[0] == "run@2" and "TIDE@2" in second
    assert second.endswith("error in line 60: cannot divide by 0")
    assert first.split()[0] == "run@1" and "TIDE@1" in first and first.endswith("6  done")
    assert told.err == "2 results.\n"
    both = hostlink("runs", "--json").json
    assert [(each["run"], each["revision"], each["line"]) for each in both] == [
        ("run@2", "TIDE@2", 60), ("run@1", "TIDE@1", None),
    ]  # fmt: skip
    assert both[1]["output"] == ran and both[1]["command"] == "RUN"
    assert hostlink("runs", "TIDE", "--limit", "1").err.startswith("1 result; there may be more")


@pytest.mark.parametrize("what", ["run@1", "TIDE@1"])
def test_one_run_is_shown(hostlink: Hostlink, ran: str, what: str) -> None:
    """What revision 1 printed is the data; the rest is talk."""
    told = hostlink("runs", what)
    assert told.out == f"{ran}\n"
    assert told.err.startswith(
        "run@1 of TIDE@1 on a board without a label, "
    ) and told.err.endswith(" s; done.\n")
    assert hostlink("runs", what, "--json").json["output"] == ran


@pytest.mark.usefixtures("ran")
def test_two_runs_are_compared(hostlink: Hostlink) -> None:
    """The rows that differ as a unified diff, status 1; equal output is status 0."""
    told = hostlink("runs", "TIDE@1", "TIDE@2")
    assert told.status == 1
    assert told.out.splitlines()[-2:] == ["-HIGH WATER", "+! cannot divide by 0 in 60"]
    assert told.err.splitlines()[-1] == "They differ."
    same = hostlink("runs", "run@1", "TIDE@1", "--json")
    assert (same.status, same.json["equal"], same.json["diff"]) == (0, True, [])


@pytest.mark.usefixtures("ran")
def test_numbers_are_written_as_csv_and_drawn_as_svg(hostlink: Hostlink, place: Path) -> None:
    """Of the last run of a program; a file is replaced with consent only."""
    told = hostlink("runs", "TIDE@1", "--csv", "t.csv", "--svg", "t.svg")
    assert told.err.splitlines()[-1] == "4 rows of numbers written to t.svg."
    with (place / "t.csv").open(newline="", encoding="utf-8") as file:
        assert list(csv.reader(file)) == [["HIGH", "LOW"], ["3", "6"], ["4", "5"], ["5", "4"],
                                          ["6", "3"]]  # fmt: skip
    picture = ElementTree.parse(place / "t.svg").getroot()
    title = picture.find("{http://www.w3.org/2000/svg}title")
    assert title is not None and str(title.text).startswith("TIDE@1, run@1, ")
    assert hostlink("runs", "tide", "--csv", "t.csv").status == 1
    assert hostlink("runs", "tide", "--csv", "t.csv", "--yes").status == 0
    told = hostlink("runs", "TIDE@1", "--csv", "-")
    assert (told.status, told.out) == (0, "HIGH,LOW\n3,6\n4,5\n5,4\n6,3\n")
    assert not (place / "-").exists()


@pytest.mark.parametrize("more", [("--json",), ("--plot",), ("--svg", "-")])
@pytest.mark.usefixtures("ran")
def test_standard_output_takes_one_thing(hostlink: Hostlink, more: tuple[str, ...]) -> None:
    """Nobody could part what is mixed there; a file of another name takes it beside JSON."""
    told = hostlink("runs", "TIDE@1", "--csv", "-", *more)
    assert (told.status, told.out) == (2, "")
    assert "nothing else can go to standard output" in told.err
    assert hostlink("runs", "TIDE@1", "--csv", "t.csv", "--json").json["run"] == "run@1"


@pytest.mark.usefixtures("ran")
def test_numbers_are_drawn_in_the_terminal(hostlink: Hostlink) -> None:
    """On stdout: axes, the signs of both series, their names."""
    drawn = hostlink("runs", "tide", "--plot").out
    assert drawn.splitlines()[-1] == "* LOW   across: HIGH"
    assert "┤" in drawn and "└" in drawn and drawn.count("*") > 20


def test_a_run_without_numbers_is_not_drawn(
    hostlink: Hostlink, listing: Callable[..., str]
) -> None:
    """Told in one sentence, with what to do."""
    hostlink("load", listing('10 PRINT "HELLO"', name="hello.bas"), "--run")
    told = hostlink("runs", "hello", "--svg", "h.svg")
    assert told.status == 1 and "run@1 printed no numbers." in told.err
    assert not Path("h.svg").exists()


@pytest.mark.usefixtures("ran")
@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (["nothing"], 1, 'There is no program "nothing"'),
        (["run@9"], 1, "There is no run 9 in the archive"),
        (["tide@9"], 1, "tide has no revision 9"),
        (["run@x"], 1, "after the @ comes a number"),
        (["--plot"], 2, "need one WHAT"),
        (["tide", "run@1", "--plot"], 2, "need one WHAT"),
    ],
)
def test_what_cannot_be_shown_is_told(
    hostlink: Hostlink, words: list[str], status: int, said: str
) -> None:
    """No traceback; the right exit status."""
    told = hostlink("runs", *words)
    assert told.status == status and said in told.err


@pytest.mark.usefixtures("ran")
def test_programs_are_found_by_what_they_printed(hostlink: Hostlink) -> None:
    """`find --printed` searches kept runs only: listings hold the same words."""
    told = hostlink("find", "--printed", "HIGH WATER")
    assert told.out.splitlines()[1].startswith("TIDE@1  run@1")
    assert told.out.splitlines()[1].endswith("»HIGH« »WATER«")
    assert [each["row"] for each in hostlink("find", "--printed", "divide", "--json").json] == [
        "! cannot divide by 0 in 60"
    ]
    assert hostlink("find", "--printed", "let").out == ""
    told = hostlink("find", "--printed", '"%')
    said = "Only letters and digits can be searched for.\n0 results.\n"
    assert (told.status, told.err) == (0, said)
    for words in (["--printed"], ["--printed", "high", "--tag", "sea"]):
        assert hostlink("find", *words).status == 2


def test_what_was_cut_is_told(hostlink: Hostlink, listing: Callable[..., str]) -> None:
    """A run of more than 64 kB: how much is missing where."""
    loop = listing("10 LET A=1", '20 PRINT "0123456789012345678901234567890123456789"',
                   "30 LET A=A+1", "40 IF A<1800 THEN 20", name="long.bas")  # fmt: skip
    assert hostlink("load", loop, "--run").status == 0
    told = hostlink("runs", "long@1")
    assert "bytes printed here were not kept.)" in told.err
    kept = hostlink("runs", "long@1", "--json").json
    assert kept["bytes_cut"] == 41 * 1799 - len(kept["output"]) - 1
    assert kept["cut_after_row"] == 32_768 // 41


@pytest.mark.usefixtures("ran")
def test_a_run_says_as_what_it_was_kept(hostlink: Hostlink) -> None:
    """In its JSON, so that a script can go on with it."""
    assert hostlink("run", "--json").json["run"] == "run@3"


@pytest.mark.usefixtures("ran")
def test_an_archive_that_is_read_only_stops_no_run(
    hostlink: Hostlink, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The program runs to its end; then it is said what was not kept."""
    monkeypatch.setattr(type(archive), "read_only", property(lambda _: True))

    def refuse(*_: object, **__: object) -> None:
        raise ArchiveError("The run was not kept: the archive is read-only.")

    monkeypatch.setattr(type(archive), "keep_run", refuse)
    told = hostlink("run")
    assert "The run was not kept: the archive is read-only." in told.err
    assert "HIGH LOW" in told.out


def test_a_run_of_an_earlier_line_is_shown_by_a_later_one(
    hostlink: Hostlink, listing: Callable[..., str]
) -> None:
    """In a file of `together`, which is gone through before anything is run."""
    assert hostlink("load", listing(*TIDE, name="tide.bas")).status == 0
    told = hostlink("together", listing("run", "runs run@1", name="class.txt"))
    assert told.status == 0 and told.out.count(PRINTED) == 2
    assert hostlink("together", listing("runs run@9", name="class.txt")).status == 1


def test_a_plot_is_drawn_at_the_end_where_stderr_is_no_terminal(
    hostlink: Hostlink, ran: str, listing: Callable[..., str]
) -> None:
    """Every row is data on stdout; the drawing is talk."""
    hostlink("load", listing(*TIDE, name="tide.bas"))
    told = hostlink("run", "--plot")
    assert told.out == f"{ran}\n"
    assert "* LOW   across: HIGH" in told.err and "┤" in told.err


def test_the_pins_of_a_practice_board_are_drawn_as_a_try_draws_them(
    hostlink: Hostlink, listing: Callable[..., str]
) -> None:
    """Up to the end of the program, in the times of the board; those of the run before are gone."""
    lines = ("10 FOR I=0 TO 3", "20 OUT 13,I-I/2*2", "30 WAIT 250", "40 NEXT I", "50 PRINT 7")
    hostlink("load", listing(*lines, name="lamp.bas"))
    both = [hostlink("run", "--plot").err, hostlink("try", "lamp.bas", "--plot").out]
    lamps = [told[told.index("pin 13") :].splitlines()[:5] for told in both]
    assert lamps[0] == lamps[1]
    assert "1000" in lamps[0][-1]
    hostlink("load", listing("10 PRINT 1", name="still.bas"))
    assert "pin" not in hostlink("run", "--plot").err


def test_a_plot_grows_in_a_terminal_while_the_program_runs(
    seat: Callable[..., Any], hostlink: Hostlink, listing: Callable[..., str]
) -> None:
    """A question is asked and answered above it; numbers are drawn and not printed as rows."""
    asks = listing('10 PRINT "START";', "20 INPUT A", "30 PRINT A", "40 LET A=A+111",
                   "50 IF A<2000 THEN 30", '60 PRINT "DONE"', name="asks.bas")  # fmt: skip
    assert hostlink("load", asks, *REAL).status == 0
    at = seat("run", "--plot", *REAL, terminal=True, stderr=subprocess.STDOUT)
    at.until(r"START\? ?$")
    at.type("111\n")
    assert at.end() == 0
    assert at.out.index("START") < at.out.index("DONE") < at.out.rindex("* printed")
    assert at.out.count("START") == 1 and "┤" in at.out and "1332" not in at.out


def test_a_question_that_comes_in_parts_is_asked_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Where nothing but questions is shown, each part of one is printed when it comes."""

    class Somebody:
        live = True

        def take(self) -> str | None:
            return None

    screen = QuestionScreen(lambda _: None, Somebody())
    for event in (RowOpen("AGE?"), RowOpen("AGE? "), RowPrinted("AGE? 7"), RowOpen("AGE? ")):
        screen.emit(event)
    assert capsys.readouterr().err == "AGE? AGE? "


@pytest.mark.parametrize("drawn", [True, False])
def test_each_row_is_drawn_or_printed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, drawn: bool
) -> None:
    """In a terminal: a title and a total with a number stay, only the columns are drawn alone.

    If the drawing goes elsewhere, as after 2>FILE, all rows stay.
    """
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: drawn, raising=False)
    rows = ("SQUARES TO 4", "N SQUARE", "1 1", "2 4", "3 9", "4 16", "IN ALL 30")
    screen = PlotScreen(lambda _: None, Given())
    for row in rows:
        screen.emit(RowPrinted(row))
    said = [row for row in rows if not (drawn and row in ("2 4", "3 9", "4 16"))]
    assert capsys.readouterr().out.splitlines() == said
    screen.close()
    assert "* SQUARE   across: N" in capsys.readouterr().err


def test_a_row_that_comes_while_the_drawing_is_made_waits(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A drawing has the numbers of one moment, so that none lies outside its axes."""
    screen = PlotScreen(lambda _: None, Given())
    late = threading.Thread(target=screen.emit, args=(RowPrinted("3"),))
    drawn: list[int] = []

    class Interrupted(Numbers):
        @property
        def shown(self) -> Columns | None:
            columns = super().shown
            if columns is not None and not drawn:
                drawn.append(columns.rows)
                late.start()
                late.join(0.1)  # without a lock it would be over by then
                drawn.append(columns.rows)
            return columns

    screen._numbers = Interrupted(["1", "2"])
    screen.close()
    late.join()
    assert drawn == [2, 2] and screen._numbers.shown is not None
    assert screen._numbers.shown.rows == 3
    assert "┤" in capsys.readouterr().err
