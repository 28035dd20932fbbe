"""The command try: a listing run without a board, and held against what is expected of it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path

import pytest

from hostlink.jobs.pin_file import read_pin_file
from hostlink.practice.kind_file import find_kind
from hostlink.practice.pin_bank import PinInput
from hostlink.shipped import library_folder

Listing = Callable[..., str]
DOUBLE = ('10 PRINT "A"', "20 INPUT N", "30 PRINT N*2", "40 IF N>5 THEN PRINT 1/0")


@pytest.fixture
def answers(place: Path) -> Callable[[str], str]:
    """Writes a file of answers and gives its name."""

    def write(*lines: str) -> str:
        (place / "answers.txt").write_text("".join(f"{line}\n" for line in lines), "utf-8")
        return "answers.txt"

    return write


def test_a_file_is_run_in_the_language_of_a_profile(hostlink: Callable, listing: Listing) -> None:
    """Without a board and without an archive; the output alone is on stdout."""
    name = listing("10 PRINT 7/2;", "20 PRINT 2=2")
    told = hostlink("try", name, "--profile", "token")
    assert (told.status, told.out) == (0, "3-1\n")
    assert "2 statements" in told.err
    told = hostlink("try", name, "--profile", "practice")
    assert told.status == 1
    assert "The program stopped with an error in line 20: puzzled by =2\nLine 20 is: 20" in told.err


def test_minimal_basic_tests_a_loop_before_its_first_round(
    hostlink: Callable, listing: Listing
) -> None:
    """Standard ECMA-55, section 13, from memory."""
    name = listing("10 FOR I=5 TO 1", '20 PRINT "BODY"', "30 NEXT I", "40 PRINT 7", "50 END")
    assert hostlink("try", name, "--profile", "ecma-55").out.split() == ["7"]


def test_a_shipped_program_is_adapted_for_the_profile(hostlink: Callable) -> None:
    """As a load of it would be."""
    told = hostlink("try", "shipped:tide", "--profile", "capital")
    assert told.status == 0
    assert "TIDES AT THE FERRY STEPS" in told.out
    assert "was adapted for capital" in told.err
    told = hostlink("try", "shipped:tide", "--profile", "ecma-55")
    assert told.status == 1
    assert "Nothing was run.\n  Try it on another kind of board" in told.err


def test_an_endless_program_is_stopped(hostlink: Callable, listing: Listing) -> None:
    """By statements or seconds: in the words and with the status of a run that is stopped so."""
    name = listing("10 LET A=A+1", "20 GOTO 10", "30 PRINT A")
    told = hostlink("try", name, "--statements", "500")
    assert told.status == 1
    assert "The program did not end within 500 statements; it was stopped in line" in told.err
    told = hostlink("try", name, "--seconds", "2", "--json")
    assert told.status == 1 and "The program did not end within 2 s; it was stopped in" in told.err
    assert told.json["ended"] == "seconds"
    assert 2 <= told.json["seconds"] < 2.1


def test_output_that_is_cut_is_told(hostlink: Callable, listing: Listing) -> None:
    """A program that floods is bounded in memory, and nothing is left out in silence."""
    name = listing(f'10 PRINT "{"A" * 50}"', "20 GOTO 10")
    told = hostlink("try", name, "--statements", "60000")
    assert "It printed more than 1,048,576 bytes; the rest is not shown." in told.err
    assert len(told.out) < 1_100_000


def test_a_question_without_an_answer_is_no_end(
    hostlink: Callable, listing: Listing, answers: Callable
) -> None:
    """Whether answers were given before or not, as in a run on a board."""
    name = listing("10 INPUT N", "20 PRINT N", "30 GOTO 10")
    told = hostlink("try", name)
    assert (told.status, told.out) == (1, "")
    asks = 'The program asks "?" in line 10, and there is no more input. Give an answer for each'
    assert f"{asks} question: with --input FILE.\n" in told.err
    told = hostlink("try", name, "--input", answers("4", "5"))
    assert (told.status, told.out) == (1, "? 4\n 4\n? 5\n 5\n")


def test_what_was_kept_as_expected_is_compared(
    hostlink: Callable, listing: Listing, answers: Callable
) -> None:
    """With the same answers, after the program was changed: status 4 and the rows that differ."""
    hostlink("keep", listing(*DOUBLE))
    told = hostlink("try", "LIGHT", "--input", answers("3"), "--expect")
    assert (told.status, told.out) == (0, "A\n? 3\n 6\n")
    assert hostlink("try", "LIGHT").status == 0
    hostlink("keep", listing(*[line.replace("N*2", "N+N") for line in DOUBLE]))
    told = hostlink("try", "LIGHT")
    assert told.status == 0
    assert "LIGHT@1 did the same" in told.err
    hostlink("keep", listing(*[line.replace("N*2", "N*3") for line in DOUBLE]))
    told = hostlink("try", "LIGHT")
    assert told.status == 4
    assert "- 6\n+ 9\n" in told.err
    assert told.out == "A\n? 3\n 9\n"
    told = hostlink("try", "LIGHT", "--json")
    assert told.json["expected"] == {
        "revision": "LIGHT@1",
        "differs": ["@@ -3 +3 @@", "- 6", "+ 9"],
    }


def test_all_programs_with_expected_output_are_tried(hostlink: Callable, listing: Listing) -> None:
    """Each by its latest revision; a tag chooses; programs without one are left out."""
    for name in ("one", "two", "three"):
        hostlink("keep", listing(f'10 PRINT "{name.upper()}"', name=f"{name}.bas"))
    hostlink("tag", "two", "class")
    assert hostlink("try", "--all").status == 2
    assert hostlink("try", "one", "--expect").status == 0
    assert hostlink("try", "two", "--expect").status == 0
    told = hostlink("try", "--all", "--json")
    assert told.status == 0
    results = [(each["program"], each["result"]) for each in told.json]
    assert results == [("ONE", "as expected"), ("TWO", "as expected")]
    hostlink("keep", listing('10 PRINT "OTHER"', name="one.bas"))
    told = hostlink("try", "--all")
    assert told.status == 4
    assert 'differs: expected "ONE", now "OTHER"' in told.out
    assert "1 of 2 programs as expected." in told.err
    assert hostlink("try", "--all", "--tag", "class").status == 0
    assert hostlink("try", "one", "--expect").status == 0
    assert hostlink("try", "--all").status == 0


def test_a_revision_that_cannot_be_run_is_told(hostlink: Callable, listing: Listing) -> None:
    """One that does not fit any more fails by itself, and the others are tried."""
    for name in ("one", "two"):
        hostlink("keep", listing('10 PRINT "HERE"', name=f"{name}.bas"))
        hostlink("try", name, "--expect")
    hostlink(
        "keep", listing(*(f'{n} PRINT "{"A" * 50}"' for n in range(10, 400, 10)), name="one.bas")
    )
    told = hostlink("try", "--all")
    assert told.status == 4
    assert "not tried" in told.out
    assert "1 of 2" in told.err


def test_expected_output_is_exported_and_merged(hostlink: Callable, listing: Listing) -> None:
    """It goes from one archive to another in a bag, once."""
    hostlink("keep", listing(*DOUBLE[:1]))
    hostlink("try", "LIGHT", "--expect")
    assert hostlink("archive", "export", "bag").status == 0
    other = ("--archive", "other.sqlite3")
    for _ in range(2):
        assert hostlink("archive", "import", "bag", *other).status == 0
    told = hostlink("try", "--all", "--json", *other)
    assert told.status == 0
    assert len(told.json) == 1
    assert told.json[0]["expected"].startswith("LIGHT@1/")  # the number of another archive


def test_the_newest_expectation_counts(hostlink: Callable, listing: Listing) -> None:
    """Also where an older one came later, from another archive."""
    hostlink("keep", listing('10 PRINT "OLD"'))
    hostlink("try", "LIGHT", "--expect")
    hostlink("archive", "export", "bag")
    other = ("--archive", "other.sqlite3")
    hostlink("archive", "import", "bag", *other)
    hostlink("keep", listing('10 PRINT "OTHER"'), *other)
    hostlink("try", "LIGHT", "--expect", *other)
    for text in ("SIDE", "NEW"):
        hostlink("keep", listing(f'10 PRINT "{text}"'))
    hostlink("try", "LIGHT", "--expect")
    hostlink("archive", "import", "other.sqlite3")
    assert hostlink("try", "--all").status == 0


def test_only_a_kept_program_has_expected_output(hostlink: Callable, listing: Listing) -> None:
    """And only one that comes to an end."""
    name = listing("10 GOTO 10")
    told = hostlink("try", name, "--expect")
    assert told.status == 2
    assert "keep light.bas" in told.err
    hostlink("keep", name)
    told = hostlink("try", "LIGHT", "--expect", "--statements", "10")
    assert told.status == 1
    assert hostlink("try", "--all").status == 2
    assert hostlink("try", "LIGHT", "--expect", "--seconds", "1").status == 0
    assert hostlink("try", "--all").status == 0


def test_what_does_not_go_together_is_refused(hostlink: Callable) -> None:
    """A listing and --all, a tag without --all, and nothing at all."""
    for words in (["try"], ["try", "x", "--all"], ["try", "x", "--tag", "a"]):
        assert hostlink(*words).status == 2
    assert hostlink("try", "--all", "--seconds", "1").status == 2


def test_a_trace_tells_each_statement(hostlink: Callable, listing: Listing) -> None:
    """Its line, what it sets and prints; as JSON one list, whatever its length."""
    name = listing("10 LET A=2: PRINT A", "20 IF A=2 THEN 40", "30 PRINT 9", "40 LET B=A*3")
    told = hostlink("try", name, "--trace", "--json")
    assert told.status == 0
    assert [(each["line"], each["sets"], each["prints"]) for each in told.json] == [
        (10, {"A": 2}, ""),
        (10, {}, " 2\n"),
        (20, {}, ""),
        (20, {}, ""),
        (40, {"B": 6}, ""),
    ]
    assert [each["statement"] for each in told.json] == [1, 2, 3, 4, 5]
    rows = hostlink("try", name, "--trace").out.splitlines()
    assert rows[0].split() == ["statement", "line", "ms", "sets,", "prints"]
    assert rows[1].split() == ["1", "10", "0.5", "A=2"]
    name = listing("10 LET A=A+1", "20 GOTO 10")
    told = hostlink("try", name, "--trace", "--json", "--statements", "1234")
    assert told.status == 1
    assert len(told.json) == 1234
    assert hostlink("try", name, "--trace", "--expect").status == 2


def test_pins_come_from_a_file_and_are_told(
    hostlink: Callable, listing: Listing, place: Path
) -> None:
    """What is put out is a table with its times; a wrong row is refused by its number."""
    name = listing("10 WAIT 100", "20 OUT 13,PIN(2)", "30 DUTY 9,LEVEL(0)/4")
    (place / "pins.csv").write_text("ms,pin,value\n0,adc0,400\n\n50,2,1\n", "utf-8")
    rows = read_pin_file(Path("pins.csv"), find_kind("practice").language.pins)
    assert rows == (PinInput(0, "ADC0", 400), PinInput(50, "2", 1))
    told = hostlink("try", name, "--pins", "pins.csv")
    assert told.status == 0
    assert [row.split() for row in told.out.splitlines()[1:]] == [
        ["101", "13", "on"],
        ["102", "9", "width", "100"],
    ]
    told = hostlink("try", name, "--pins", "pins.csv", "--json")
    assert [(each["pin"], each["value"]) for each in told.json["pins"]] == [
        ("13", 1),
        ("9", 100),
    ]
    for row in ("0,99,1", "0,2,2", "x,2,1", "1,2", "0,ADC6,1", "0,ADC0,1024", "0" * 140_000):
        (place / "pins.csv").write_text(f"ms,pin,value\n{row}\n", "utf-8")
        told = hostlink("try", name, "--pins", "pins.csv")
        assert told.status == 1
        assert "Row 2 of pins.csv" in told.err
    told = hostlink("try", name, "--pins", "pins.csv", "--profile", "capital")
    assert told.status == 1 and "this kind of board has no words for pins" in told.err


def test_a_shipped_pin_program_runs_with_its_own_inputs(hostlink: Callable) -> None:
    """Those of the run that was checked."""
    told = hostlink("try", "shipped:night")
    assert told.status == 0
    assert "DARK, LIGHT ON AT 250" in told.out


def test_expected_pins_are_compared(hostlink: Callable, listing: Listing) -> None:
    """Where a program puts out something else, although it prints the same."""
    hostlink("keep", listing("10 OUT 13,1"))
    hostlink("try", "LIGHT", "--expect")
    hostlink("keep", listing("10 WAIT 5: OUT 13,1"))
    assert hostlink("try", "LIGHT").status == 0  # the time alone is no difference
    hostlink("keep", listing("10 OUT 12,1"))
    told = hostlink("try", "LIGHT")
    assert told.status == 4
    assert "-pin 13: on\n+pin 12: on\n" in told.err


def test_expected_output_is_a_kept_run(hostlink: Callable, listing: Listing) -> None:
    """Listed and found like any other run."""
    hostlink("keep", listing('10 PRINT "HIGH WATER"'))
    hostlink("try", "LIGHT", "--expect")
    assert "HIGH WATER" in hostlink("runs", "LIGHT").out + hostlink("runs", "run@1").out
    assert "LIGHT" in hostlink("find", "--printed", "HIGH WATER").out


def test_pins_are_drawn_in_place_of_their_table(hostlink: Callable, listing: Listing) -> None:
    """On stdout behind what is printed, or in files; with --json only the files are written."""
    name = listing('10 PRINT "GO"', "20 OUT 13,1", "30 WAIT 50")
    told = hostlink("try", name, "--plot")
    assert told.out.splitlines()[:2] == ["GO", "pin 13"] and "no pin" not in told.err
    told = hostlink("try", name, "--plot", "--svg", "p.svg", "--json")
    assert told.json["pins"][0]["pin"] == "13" and "1 change of pins written" in told.err
    assert hostlink("try", name, "--svg", "p.svg").status == 1
    assert hostlink("try", name, "--svg", "p.svg", "--yes").status == 0
    assert hostlink("try", "--all", "--plot").status == 2
    told = hostlink("try", listing("10 PRINT 1", "20 PRINT 3"), "--plot")
    assert told.out.splitlines()[-1] == "* printed   across: row"


def test_how_it_ended_is_told_before_a_drawing_fails(hostlink: Callable, listing: Listing) -> None:
    """Without numbers, or where the file is there already, the error of BASIC is not lost."""
    told = hostlink("try", listing('10 PRINT "A"', "20 GOTO 99"), "--plot")
    assert told.status == 1
    before, drawing, _ = told.err.partition("printed no numbers")
    assert "stopped with an error in line 20" in before and drawing  # which has a number too


def test_rows_without_a_number_are_told(hostlink: Callable, listing: Listing) -> None:
    """They are no part of the program, and a load refuses them."""
    told = hostlink("try", listing("PRINT 5", "10 PRINT 1", "RUN"))
    assert (told.status, told.out) == (0, " 1\n")
    assert "Left out, without a number: 2 lines, such as 'PRINT 5'." in told.err


def test_another_kind_of_board_is_told(hostlink: Callable, listing: Listing) -> None:
    """One slip may make a listing look as if it were for another BASIC."""
    name = listing('10 PRINT "A"', "20 PRIMT 5")
    told = hostlink("try", name)
    assert "seems to be written for boards of the kind " in told.err
    assert "--profile practice tries it on one of that kind." in told.err
    assert "seems to be" not in hostlink("try", name, "--profile", "practice").err


def test_what_is_compared_is_told(hostlink: Callable, listing: Listing, answers: Callable) -> None:
    """As expected is only what was kept before, and tried in the same way."""
    hostlink("keep", listing(*DOUBLE[:3]))
    told = hostlink("try", "LIGHT", "--input", answers("3"), "--expect")
    assert "This is expected from LIGHT@1 on." in told.err
    assert "As expected" not in told.err
    assert "As expected: LIGHT@1 did the same." in hostlink("try", "LIGHT").err
    told = hostlink("try", "LIGHT", "--trace")
    assert told.status == 0 and '" 6\\n"' in told.out
    assert hostlink("try", "LIGHT", "--expect").out == "A\n? 3\n 6\n"  # with the answers known
    told = hostlink("try", "LIGHT", "--input", answers("4"))
    assert "It was tried with other settings, so it is not compared with LIGHT@1." in told.err


def test_what_was_printed_before_a_stop_is_shown(
    hostlink: Callable, listing: Listing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl+C stops an endless program; its output, and as JSON its trace, is whole."""
    looks = itertools.count()
    monkeypatch.setattr(
        "hostlink.cli.commands.trying.stoppable",
        lambda: nullcontext(lambda: next(looks) > 3),
    )
    name = listing('10 PRINT "HERE"', "20 GOTO 20")
    told = hostlink("try", name)
    assert (told.status, told.out) == (130, "HERE\n")
    assert "It was stopped in line 20; what it did until then is shown." in told.err
    looks = itertools.count()
    told = hostlink("try", name, "--trace", "--json")
    assert (told.status, [step["line"] for step in told.json]) == (130, [10, 20, 20, 20])
    looks = itertools.count()
    hostlink("keep", name)
    told = hostlink("try", "LIGHT", "--expect")
    assert "LIGHT@1 did not come to an end.\n  The expected output was not changed." in told.err


def test_more_than_is_kept_of_a_run_cannot_be_expected(
    hostlink: Callable, listing: Listing
) -> None:
    """A comparison of its first rows would not be one of what it prints."""
    hostlink("keep", listing("10 FOR I=1 TO 9999", "20 PRINT I,I", "30 NEXT I", name="much.bas"))
    told = hostlink("try", "much", "--expect")
    assert told.status == 1
    assert "The output and answers of MUCH@1 exceed 65,536 characters." in told.err
    assert "Stop it earlier with --seconds." in told.err
    assert hostlink("try", "much", "--expect", "--seconds", "1").status == 0


def test_answers_that_are_left_over_are_told(
    hostlink: Callable, listing: Listing, place: Path
) -> None:
    """They may be meant for another program, or for a question that did not come."""
    (place / "answers.txt").write_text("1\n2\n3\n", "utf-8")
    name = listing("10 INPUT A", "20 PRINT A")
    told = hostlink("try", name, "--input", "answers.txt")
    assert told.status == 0 and "Not asked for: 2 answers." in told.err
    assert "Not asked for" not in hostlink("try", name).err


def test_a_program_kept_for_another_kind_is_the_one_that_was_loaded(
    hostlink: Callable, listing: Listing
) -> None:
    """The board lists it in its own way: it has not changed, and is not kept a second time."""
    port = ("--port", "practice://other?kind=token&time=virtual", "--yes")
    hostlink("keep", listing('10 PRINT "HI"', "20 LET A=5"))
    for _ in range(2):
        told = hostlink("load", "LIGHT", *port)
        assert told.status == 0
        assert "escued" not in told.err
        assert "LIGHT@1, proven" in " ".join(hostlink("boards").out.split())
    assert "LIGHT@1" in hostlink("meet", *port[:2]).out
    assert "LIGHT@1, proven" in " ".join(hostlink("boards").out.split())
    hostlink("load", listing('10 PRINT "OTHER"', name="other.bas"), *port)
    assert "LIGHT@1" not in hostlink("boards").out


def test_what_was_tried_until_all_is_stopped_is_told(
    hostlink: Callable, listing: Listing, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The programs behind are not tried, and the one that was being tried does not count."""
    for name in ("one", "two", "three"):
        hostlink("keep", listing('10 PRINT "HERE"', name=f"{name}.bas"))
        assert hostlink("try", name, "--expect").status == 0
    asked = itertools.count()
    monkeypatch.setattr(
        "hostlink.cli.commands.trying.stoppable", lambda: nullcontext(lambda: next(asked) >= 1)
    )
    told = hostlink("try", "--all")
    assert told.status == 130
    assert len(told.out.splitlines()) == 2 and "as expected" in told.out
    assert "1 of 1 program as expected.\nIt was stopped; the other programs were not" in told.err


def test_drawn_values_take_the_place_of_the_output(hostlink: Callable, listing: Listing) -> None:
    """With - for a file stdout holds nothing else."""
    name = listing("10 FOR I=1 TO 3", "20 PRINT I", "30 NEXT I")
    assert hostlink("try", name, "--csv", "-").out == "printed\n1\n2\n3\n"
    assert hostlink("try", name, "--svg", "-").out.startswith("<svg ")
    for more in ("--json", "--plot", "--trace"):
        assert hostlink("try", name, "--csv", "-", more).status == 2


def test_an_expected_run_is_drawn_by_what_was_printed(hostlink: Callable, listing: Listing) -> None:
    """What it put out at pins is kept with it, and is no row of numbers that it printed."""
    name = listing("10 FOR I=1 TO 4", "20 TONE 8,440,50", "30 NEXT I", "40 PRINT 7,8")
    hostlink("keep", name)
    assert hostlink("try", "light", "--expect").status == 0
    assert hostlink("runs", "light@1", "--csv", "-").out == "printed\n7\n8\n"


def test_what_differs_first_is_told_with_what_came_instead(
    hostlink: Callable, listing: Listing
) -> None:
    """Of several rows that differ together: the first that is missing and the first that is new."""
    name = listing("10 PRINT 1", "20 PRINT 2", name="count.bas")
    hostlink("keep", name)
    assert hostlink("try", "count", "--expect").status == 0
    hostlink("keep", listing("10 PRINT 3", "20 PRINT 4", name="count.bas"))
    assert 'differs: expected "1", now "3"' in hostlink("try", "--all").out


def test_a_file_that_is_a_shipped_program_is_tried_as_it(hostlink: Callable) -> None:
    """With the answers, and with what comes to its pins, of the run that was checked."""
    shipped = hostlink("try", "shipped:night", "--quiet")
    assert "DARK, LIGHT ON AT" in shipped.out
    file = library_folder() / "night.bas"
    assert hostlink("try", str(file), "--quiet").out == shipped.out


def test_a_word_that_is_not_simulated_is_no_fault_of_the_listing(
    hostlink: Callable, listing: Listing
) -> None:
    """It is told before the run and at its end; what is expected is not kept or judged."""
    name = listing("10 PRINT 5", "20 POKE 1,2")
    told = hostlink("try", name, "--profile", "ready")
    assert (told.status, told.out) == (1, " 5\n")
    assert told.err.startswith(
        "The practice board cannot run POKE, which a real board of this kind can; it stops there.\n"
        "The practice board stopped in line 20, at POKE: this is not an error in the listing.\n"
    )
    json = hostlink("try", name, "--profile", "ready", "--json").json
    assert (json["lacked"], json["output"]) == (["POKE"], " 5\n")
    assert (
        json["error"] == "the practice board cannot run POKE, which a real board of this kind can"
    )
    hostlink("keep", name, "--profile", "ready")
    told = hostlink("try", "LIGHT", "--profile", "ready", "--expect")
    assert told.status == 1
    assert "What LIGHT@1 prints is not known" in told.err
    hostlink("keep", listing("10 PRINT 5"), "--profile", "ready")
    hostlink("try", "LIGHT", "--profile", "ready", "--expect")
    hostlink("keep", listing("10 PRINT 5", "20 GET A$"), "--profile", "ready")
    told = hostlink("try", "LIGHT")
    assert told.status == 1
    assert "so it is not compared with LIGHT@2" in told.err
    assert "not known: the practice board cannot run GET" in hostlink("try", "--all").out


def test_data_arrays_and_else_run_where_a_board_has_them(
    hostlink: Callable, listing: Listing
) -> None:
    """In the words of the kind where one goes wrong; a trace names elements."""
    name = listing(
        "10 DIM N$(3),M(1,2)",
        "20 FOR I=1 TO 3:READ N$(I),M(1,I-1):NEXT I",
        '30 DATA ANNA, 7,"BO, B",.5',
        "40 DATA CY:PRINT N$(1);N$(2);M(1,1)",
        "50 IF I=4 THEN IF I=1 THEN 10 ELSE PRINT 1 ELSE PRINT 2",
        "55 IF I=3 THEN IF I=1 THEN 10 ELSE PRINT 3 ELSE PRINT 2",
        "60 RESTORE:READ A$:PRINT A$;TAB(8);M(0,1)",
        "70 DATA 12",
    )
    told = hostlink("try", name, "--profile", "ready")
    assert told.out.splitlines() == ["ANNABO, B .5", " 1", " 2", "ANNA     0"]
    told = hostlink("try", name, "--profile", "ready", "--trace", "--json")
    assert told.json[2]["sets"] == {"N$(1)": "ANNA", "M(1,0)": 7}


def test_data_ends_and_arrays_have_bounds(hostlink: Callable, listing: Listing) -> None:
    """An array without DIM goes to 10: ECMA-55, section 7, from memory."""
    for line, words in (
        ("READ A,B", "Out of DATA Error"),
        ("A(11)=1", "Bad subscript Error"),
        ("A(1)=1:DIM A(5)", "Bad subscript Error"),
        ("PRINT A(1,1);A(1)", "Bad subscript Error"),
        ("DATA X:READ A,B", "Syntax Error"),
    ):
        told = hostlink("try", listing("10 DATA 5", f"20 {line}"), "--profile", "ready")
        assert (told.status, words in told.err) == (1, True), line


def test_text_in_data_is_no_basic(hostlink: Callable, listing: Listing) -> None:
    """A name with OR in it, TAB and a function behind a semicolon: the review finds no fault."""
    name = listing("10 READ A$,B", "20 PRINT A$;TAB(9);INT(B)", "30 DATA DORA,7.5")
    told = hostlink("review", name, "--profile", "ready")
    assert "0 errors, 0 warnings" in told.out + told.err
    told = hostlink("try", name)
    assert (told.status, told.out) == (0, "DORA      7\n")
    assert "seems to be written for boards of the kind ready" in told.err


def test_a_run_is_compared_with_a_try_by_what_it_printed(
    hostlink: Callable, listing: Listing
) -> None:
    """The rows on pins that a try adds are compared only with those of another try."""
    name = listing("10 PRINT 5", "20 OUT 13,1")
    hostlink("load", name)
    hostlink("run")
    hostlink("try", "LIGHT", "--expect")
    told = hostlink("runs", "run@1", "run@2")
    assert (told.status, told.out) == (0, "")
    assert "They printed the same." in told.err
    hostlink("keep", listing("10 PRINT 5"))
    hostlink("try", "LIGHT", "--expect")
    assert "-pin 13: on" in hostlink("runs", "run@2", "run@3").out
