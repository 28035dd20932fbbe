"""Adapted programs print what the originals print: both run on practice boards of their kinds.

The kinds are files of their own, measured on real interpreters; the practice board shares no
code with the rules of rewriting.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.errors import ListingError, UsageError
from hostlink.jobs.adapting import adapt_for, shrunk_to_fit
from hostlink.jobs.listing_source import read_shipped, shipped_programs
from hostlink.jobs.proving import how_alike, inputs_of, prove
from hostlink.listing import Listing
from hostlink.shipped import library_folder

# What prints another number on each board, so that the two runs cannot be compared.
ASKS_FREE = "ROOM"


@pytest.mark.one_in(3)
@pytest.mark.parametrize("kind", ["capital", "token", "ready"])
def test_the_index_says_where_each_shipped_program_runs(kind: str) -> None:
    """All are adapted for all kinds and run there; what the index leaves out needs something."""
    source, target = find_profile("practice"), find_profile(kind)
    for name, entry in shipped_programs().items():
        material = read_shipped(name)
        made = adapt_for(material.listing, source, target)
        proof = prove(material.listing, made, ("practice", kind), inputs_of(material))
        assert bool(made.needs) == (kind not in entry.runs_on), (name, made.needs)
        if not made.needs and name != ASKS_FREE:
            assert proof.result == "proven", (name, proof.says)
        assert made.fits
        assert "practice" in entry.runs_on


def test_free_memory_and_four_loops_are_all_that_a_shipped_program_needs() -> None:
    """On the measured kinds all run but one each, and that one is named."""
    programs = shipped_programs()
    lacking = {
        kind: [name for name, entry in programs.items() if kind not in entry.runs_on]
        for kind in ("capital", "token", "ready")
    }
    pins = [name for name, entry in programs.items() if "pins" in entry.tags]
    assert len(pins) == 6
    assert lacking == {"capital": [ASKS_FREE, *pins], "token": ["CHANGE", *pins], "ready": pins}


def test_what_does_not_fit_is_made_smaller_and_proven_again() -> None:
    """By the costs of the board that it is for, and no further than it has to be."""
    text = "".join(f"{n} IF A > 1 THEN LET B = B + 1\n" for n in range(10, 500, 10))
    source, target = find_profile("practice"), find_profile("capital")
    listing = Listing.from_text(f"{text}500 PRINT B\n")
    made = adapt_for(listing, source, target)
    assert not made.fits
    small = shrunk_to_fit(made, target)
    assert small.fits
    assert 900 < small.after <= target.rules.storage.room
    assert any(note.startswith("Made smaller to fit: ") for note in small.notes)
    rows = [row for change in small.changes for row in change.after]
    assert set(rows) <= {line.typed for line in small.listing}
    assert small.changes[0].after == ("10 IFA>1LETB=B+1",)
    assert small.changes[0].why[-1] == "the program must fit"
    assert sum(change.cost_bytes for change in small.changes) == small.after - made.before
    assert prove(listing, small, ("practice", "capital"), None).result == "proven"
    assert shrunk_to_fit(small, target) is small


def test_a_program_with_new_numbers_shows_which_line_became_which() -> None:
    """Where only shorter line numbers make it fit, the changes show the new ones."""
    rows = "".join(f"{n} GOTO {n + 1000}\n" for n in range(10000, 10090))
    rows += "".join(f"{n} PRINT A;B\n" for n in range(11000, 11090))
    made = adapt_for(
        Listing.from_text(rows), find_profile("practice"), (target := find_profile("capital"))
    )
    small = shrunk_to_fit(made, target)
    assert any(note.endswith("; the lines have new numbers.") for note in small.notes)
    shown = {row for change in small.changes for row in change.after}
    assert shown == {line.typed for line in small.listing}
    assert sum(change.cost_bytes for change in small.changes) == small.after - made.before


@pytest.mark.parametrize(("start", "proven"), [(1, "proven"), (4, "differs")])
def test_a_loop_that_may_run_no_round_is_said_and_noticed(start: int, proven: str) -> None:
    """Boards differ in whether FOR tests its end first; the proof sees where that matters."""
    listing = Listing.from_text(f"10 FOR I={start} TO 3\n20 PRINT I\n30 NEXT I\n")
    made = adapt_for(listing, find_profile("practice"), find_profile("token"))
    assert "A FOR loop whose end is before its start does not run" in " ".join(made.notes)
    assert prove(listing, made, ("practice", "token"), None).result == proven


def test_a_wrong_result_is_noticed() -> None:
    """The proof is one: a result that prints another word is called different."""
    source, target = find_profile("practice"), find_profile("capital")
    listing = Listing.from_text('10 PRINT "TEA"\n20 PRINT 7\n')
    made = adapt_for(listing, source, target)
    assert prove(listing, made, ("practice", "capital"), None).result == "proven"
    wrong = replace(made, listing=Listing.from_text('10 PRINT "TEA"\n20 PRINT 8\n'))
    proof = prove(listing, wrong, ("practice", "capital"), None)
    assert proof.result == "differs"
    assert "something different" in proof.says


def test_a_result_that_stops_where_the_original_ran_is_wrong() -> None:
    """It is not called open: the original was run, and the result refused a line or stopped."""
    source, target = find_profile("practice"), find_profile("ready")
    listing = Listing.from_text('10 PRINT "TEA"\n')
    made = adapt_for(listing, source, target)
    for wrong in ('10 PRINT "TEA\n20 GOTO 7\n', "10 PRONT 1\n", "10 GOTO 10\n"):
        stops = replace(made, listing=Listing.from_text(wrong))
        proof = prove(listing, stops, ("practice", "ready"), None)
        assert proof.result == "differs", proof.says
        assert proof.says.startswith("Do not use the result: it does not run. ")


@pytest.mark.parametrize("wrong", ["RED  TEA", "REDTEA", " RED TEA", "RED TEA "])
def test_a_blank_more_or_less_in_a_text_is_noticed(wrong: str) -> None:
    """Only what the boards set of their own is free."""
    listing = Listing.from_text('10 PRINT "RED TEA"\n')
    made = adapt_for(listing, find_profile("practice"), find_profile("capital"))
    changed = replace(made, listing=Listing.from_text(f'10 PRINT "{wrong}"\n'))
    assert prove(listing, changed, ("practice", "capital"), None).result == "differs"


def test_what_keeps_columns_and_numbers_apart_is_not_free() -> None:
    """The proof of 1 2 and of two columns says what differs; 12 and one word are wrong."""
    listing = Listing.from_text('10 PRINT 1;2\n20 PRINT "NAME","AGE"\n')
    made = adapt_for(listing, find_profile("practice"), find_profile("capital"))
    proof = prove(listing, made, ("practice", "capital"), None)
    assert proof.says == (
        "Proven: both were run and printed the same, apart from blanks beside numbers and between "
        "columns."
    )
    for wrong in ('10 PRINT 1,2\n20 PRINT "NAME AGE"\n', '10 PRINT "1 2"\n20 PRINT "NAMEAGE"\n'):
        changed = replace(made, listing=Listing.from_text(wrong))
        assert prove(listing, changed, ("practice", "capital"), None).result == "differs"


def test_a_word_for_input_in_a_text_asks_nothing() -> None:
    """Whether a program asks is seen when it runs."""
    listing = Listing.from_text('10 PRINT "INPUT RND": REM INPUT\n20 END\n30 INPUT A\n')
    made = adapt_for(listing, find_profile("practice"), find_profile("token"))
    assert prove(listing, made, ("practice", "token"), None).result == "proven"


@pytest.mark.parametrize(
    ("text", "kinds", "said"),
    [
        ("10 INPUT A", ("practice", "capital"), "asks for input"),
        ("10 GOTO 10", ("practice", "capital"), "without ending"),
        ("10 PRINT 1/0", ("practice", "capital"), "cannot divide by 0 in 10"),
        ("10 PRINT 1", ("practice", "palo-alto"), "no practice board of the kind palo-alto"),
    ],
)
def test_what_cannot_be_run_is_not_proven(text: str, kinds: tuple[str, str], said: str) -> None:
    """The sentence says why, and nothing is called proven."""
    listing = Listing.from_text(text)
    made = adapt_for(listing, find_profile(kinds[0]), find_profile(kinds[1]))
    proof = prove(listing, made, kinds, None)
    assert proof.result == "open"
    assert proof.says.startswith("Not proven: ")
    assert said in proof.says


def test_a_profile_without_forms_is_refused() -> None:
    """Nothing is guessed for a board whose profile does not say what its BASIC takes."""
    with pytest.raises(UsageError, match="tiny does not state"):
        adapt_for(Listing.from_text("10 END"), find_profile("practice"), find_profile("tiny"))


def test_a_listing_without_a_numbered_line_is_refused() -> None:
    """There is nothing to adapt in it, and no empty listing is made of it."""
    with pytest.raises(ListingError, match="no numbered line"):
        adapt_for(Listing.from_text("hello world\n"), *map(find_profile, ("practice", "token")))


def test_a_line_without_a_number_is_told() -> None:
    """It is not part of the program that the board would hold."""
    listing = Listing.from_text("10 PRINT 1\nPRINT 2\n\n20 PRINT 3\n")
    made = adapt_for(listing, find_profile("practice"), find_profile("token"))
    assert "Left out, without a number: 1 line, such as 'PRINT 2'." in made.notes
    assert "PRINT 2" not in made.listing.text()


@pytest.mark.parametrize(
    ("first", "second", "how"),
    [
        ("A 1\n", "A 1\n", "same"),
        ("A\x1f1\n", "A 1\n", "same"),
        ("\x1f1\x1f2\n", "1   2\n", "numbers"),
        ("12\n", "\x1f1\x1f2\n", "numbers"),
        ("N\x1f-5\n", "N-5\n", "numbers"),
        ("NAME\x1f\x1f\x1fAGE\n", "NAME AGE\n", "columns"),
        ("NAME\x1f\x1f\x1fAGE\n", "NAMEAGE\n", "other"),
        ("RED TEA\n", "RED  TEA\n", "other"),
        ("RED TEA\n", "REDTEA\n", "other"),
        ("A\n \nB\n", "A\n\nB\n", "other"),
        ("\x1f12\x1f3\n", "\x1f1\x1f23\n", "other"),
        ("1\x1f2\n", "12\n", "other"),
        ("12\n", "1 2\n", "other"),
        ("-5-1\n", "-5 -1\n", "numbers"),
        ("12\n", "1\n2\n", "other"),
        ("1 2\n", "1 3\n", "other"),
    ],
)
def test_outputs_are_compared_row_by_row(first: str, second: str, how: str) -> None:
    """Free are the blanks that a board sets of its own, here \\x1f; all else must be equal."""
    assert how_alike(first, second) == how


def test_the_answers_of_shipped_programs_are_those_of_the_index() -> None:
    """A shipped program that asks is run with what its index types."""
    index = tomllib.loads((library_folder() / "index.toml").read_text(encoding="utf-8"))
    for entry in index["program"]:
        material = read_shipped(entry["file"].removesuffix(".bas").upper())
        assert list(inputs_of(material) or ()) == entry["inputs"]


def test_text_and_long_names_are_run_where_both_boards_have_them() -> None:
    """Whole division is written out, text stays; the kinds token and ready print the same."""
    text = (
        '10 LET C$="TEA":N1=7\n20 IF C$="TEA" THEN PRINT C$;" ";N1/2;LEN(C$)\n'
        '30 INPUT C$\n40 PRINT "IT IS ";C$\n'
    )
    source, target = find_profile("token"), find_profile("ready")
    listing = Listing.from_text(text)
    made = adapt_for(listing, source, target)
    assert '20 IF C$="TEA" THEN PRINT C$;" ";FNQ(N1/2);LEN(C$)\n' in made.listing.text()
    assert prove(listing, made, ("token", "ready"), ("MILK",)).result == "proven"


@pytest.mark.parametrize(
    ("kinds", "text", "inputs"),
    [
        (("token", "practice"), '10 INPUT "HOW MANY? ",A\n20 PRINT "OK"\n', ("4",)),
        (("token", "ready"), '10 INPUT "A",A\n20 INPUT "B",B\n30 PRINT A+B\n', ("4", "5")),
        (("token", "capital"), '10 INPUT "A",A\n20 INPUT "B",B\n30 PRINT "!"\n', ("4", "5")),
        (("ready", "capital"), "10 A=-5:PRINT A;-1;A;4\n", ()),
        (("ready", "token"), "10 A=-5:PRINT A;-1;A;4\n", ()),
        (("ready", "token"), "10 ABLE=3:PRINT AB+1\n", ()),
        (
            ("practice", "capital"),
            "10 GOSUB 40:PRINT X:GOSUB 40\n20 IF X>9 THEN GOSUB 40:PRINT X\n30 END\n"
            "40 X=X+5:RETURN\n",
            (),
        ),
    ],
)
def test_what_boards_take_in_their_own_way_is_proven(
    kinds: tuple[str, str], text: str, inputs: tuple[str, ...]
) -> None:
    """Questions, signs in place of blanks, long names, and lines that end with a jump."""
    listing = Listing.from_text(text)
    made = adapt_for(listing, find_profile(kinds[0]), find_profile(kinds[1]))
    assert not made.needs
    assert prove(listing, made, kinds, inputs).result == "proven"
