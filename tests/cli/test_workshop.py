"""The workshop at the command line: renumber, shrink, sheet, card, keep, give, review, compare."""

from __future__ import annotations

import io
import json
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from hostlink.cli.entry import run_line
from hostlink.jobs import adapting
from hostlink.listing import Listing
from hostlink.publish.sheet_file import read_sheet


def test_renumber_gives_the_listing_on_stdout_and_the_count_on_stderr(hostlink, listing):
    """What goes on to the next command is the listing alone."""
    name = listing("5 PRINT", "7 GOTO 5")
    told = hostlink("renumber", name)
    assert (told.status, told.out) == (0, "10 PRINT\n20 GOTO 10\n")
    assert "2 lines renumbered" in told.err
    told = hostlink("renumber", name, "--start", "100", "--step", "5", "-o", "new.bas")
    assert (told.status, told.out) == (0, "")
    assert Path("new.bas").read_text() == "100 PRINT\n105 GOTO 100\n"
    assert hostlink("renumber", "new.bas", "--first", "105", "--start", "200").out == (
        "100 PRINT\n200 GOTO 100\n"
    )


def test_renumber_stops_at_a_computed_jump_unless_forced(hostlink, listing):
    """Status 1 with the line named; --force leaves the jump and names it."""
    name = listing("5 PRINT", "7 GOTO 5*A")
    told = hostlink("renumber", name)
    assert (told.status, told.out) == (1, "")
    assert "Line 7" in told.err
    told = hostlink("renumber", name, "--force")
    assert (told.status, told.out) == (0, "10 PRINT\n20 GOTO 5*A\n")
    assert "7 GOTO 5*A" in told.err


def test_renumber_as_json_tells_old_and_new(hostlink, listing):
    """For programs that go on with it."""
    told = hostlink("renumber", listing("5 PRINT"), "--json").json
    assert told["numbers"] == [{"old": 5, "new": 10}]
    assert told["text"] == "10 PRINT\n"


def test_shrink_tells_what_each_level_saved(hostlink, listing):
    """The listing on stdout; bytes by level and in all on stderr, which is also in the JSON."""
    name = listing("10 REM TITLE", "20 LET A = 1", "30 PRINT A", "40 GOTO 20")
    told = hostlink("shrink", name)
    assert told.status == 0
    assert Listing.from_text(told.out).numbered()
    for words in ("spaces: ", "remarks: 12 bytes saved", "words: ", "before, "):
        assert words in told.err
    held = hostlink("shrink", name, "--json").json
    assert held["before_bytes"] - held["after_bytes"] == sum(
        step["saved_bytes"] for step in held["steps"]
    )
    assert hostlink("shrink", name, "--level", "spaces").out.splitlines()[1] == "20 LETA=1"


def test_shrink_keeps_the_smaller_listing_with_its_parent(hostlink):
    """The original is kept first, and the history shows what the revision was made from."""
    told = hostlink("shrink", "tide", "--keep", "--json").json
    assert told["kept"] == "TIDE@2"
    assert hostlink("show", "TIDE@2").out == told["text"]
    rows = hostlink("history", "TIDE", "--json").json
    assert [row["note"] for row in rows] == ["", "made smaller"]
    assert rows[1]["parent"] == "TIDE@1"


def test_adapt_shows_each_change_and_proves_the_result(hostlink):
    """The listing on stdout; changes with reason and cost, and the proof, on stderr."""
    told = hostlink("adapt", "tide", "--profile", "capital")
    assert told.status == 0
    assert "210 IF T<1440 GOTO 240\n" in told.out
    assert "210 IF T<1440 THEN 240\n  becomes 210 IF T<1440 GOTO 240\n" in told.err
    assert "  because this board has no THEN (5 bytes less)\n" in told.err
    assert "Proven: both were run and printed the same" in told.err


def test_adapt_names_what_has_no_equal(hostlink, listing):
    """Status 1, the line stays and what it needs is named; nothing is called proven."""
    name = listing('10 LET C$="HI"', "20 PRINT C$", "30 PRINT 1")
    told = hostlink("adapt", name, "--from", "token", "--profile", "capital")
    assert told.status == 1
    assert told.out == Path(name).read_text()
    assert "Left as it is: strings: this board has no variables for text; lines 10, 20." in told.err
    assert "Not proven" in told.err


def test_adapt_guesses_which_board_a_file_is_for(hostlink, listing):
    """The guess and what speaks for it are said; --from overrides it."""
    name = listing("10 IF A=1 THEN 20", '20 PRINT A;"X"')
    told = hostlink("adapt", name, "--profile", "capital")
    assert told.status == 0
    assert "Assumed to be for practice, which takes the forms found in it: THEN " in told.err
    assert "So do token, " in told.err
    assert "Taken as" not in hostlink("adapt", name, "--from", "token", "--profile", "capital").err


def test_adapt_asks_where_no_kind_takes_all_that_a_file_holds(hostlink, listing):
    """It is refused with what it holds; the file is left alone."""
    name = listing('10 IF A#1 PRINT "A"', "20 PRINT A$;RIGHT$(A$,2)")
    told = hostlink("adapt", name, "--profile", "capital")
    assert (told.status, told.out) == (2, "")
    assert "# for unequal (line 10)" in told.err
    assert "Name the kind with --from PROFILE." in told.err


def test_adapt_asks_where_the_likely_kinds_differ_in_what_a_form_does(hostlink, listing):
    """RND(2) begins with 0 on one of them, with 1 on another; --from decides."""
    name = listing('10 IF RND(2)=0 THEN PRINT "HEADS"')
    told = hostlink("adapt", name, "--profile", "capital")
    assert (told.status, told.out) == (2, "")
    assert (
        "The kinds practice, token, ready treat these differently: the word RND (line 10)."
        in told.err
    )
    assert "Name the kind with --from PROFILE." in told.err
    told = hostlink("adapt", name, "--from", "token", "--profile", "capital")
    assert (told.status, told.out) == (0, '10 IF RND(2)=0 PRINT "HEADS"\n')


def test_adapt_runs_both_with_the_lines_of_a_file(hostlink, listing):
    """A program that asks is proven with --input, and not without."""
    name = listing("10 INPUT A", "20 PRINT A*2")
    words = ("adapt", name, "--from", "practice", "--profile", "capital", "--json")
    assert hostlink(*words).json["proof"]["result"] == "open"
    Path("answers.txt").write_text("21\n")
    assert hostlink(*words, "--input", "answers.txt").json["proof"]["result"] == "proven"


def test_adapt_keeps_the_result_as_a_revision_for_that_board(hostlink):
    """The revision has the original as its parent, and adapting it again begins from its board."""
    told = hostlink("adapt", "wire", "--profile", "capital", "--keep", "--json").json
    assert told["kept"] == "WIRE@2"
    rows = hostlink("history", "WIRE", "--json").json
    assert rows[1]["parent"] == "WIRE@1"
    assert rows[1]["note"] == "adapted from practice for capital"
    assert hostlink("adapt", "WIRE@2", "--profile", "token", "--json").json["from"] == "capital"


def test_adapt_keeps_nothing_that_prints_something_else(hostlink, listing, monkeypatch):
    """It is called wrong, status 1, and the archive stays as it was."""
    name = listing("10 PRINT 5", name="five.bas")
    wrong = Listing.from_text("10 PRINT 6\n")
    real = adapting.adapt_for
    monkeypatch.setattr(adapting, "adapt_for", lambda *a: replace(real(*a), listing=wrong))
    words = ("adapt", name, "--from", "practice", "--profile", "capital", "--keep")
    told = hostlink(*words)
    assert told.status == 1
    assert "Nothing was kept: the result does not do what the original does." in told.err
    assert "kept" not in hostlink(*words, "--json").json
    assert hostlink("programs", "--json").json == []


def test_adapt_marks_what_it_keeps_without_a_proof(hostlink, listing):
    """The history and its JSON say why the result was not compared."""
    name = listing("10 INPUT A", "20 IF A=1 THEN 10", name="ask.bas")
    hostlink("adapt", name, "--from", "practice", "--profile", "capital", "--keep")
    first, made = hostlink("history", "ASK", "--json").json
    assert first["unproven"] is None
    assert made["unproven"].startswith("it was not compared with its original: the program asks")
    assert "not proven: it was not compared" in hostlink("history", "ASK").out


DEAD = ("10 PRINT 1", "20 END", "30 PRINT 2", "40 GOTO 30")


def test_shrink_offers_to_remove_lines_that_are_never_reached(hostlink, listing):
    """A script gets them by an option only; the result is proven by running both."""
    name = listing(*DEAD)
    told = hostlink("shrink", name)
    assert "Never reached: lines 30, 40 (20 bytes). RUN 30 typed by hand" in told.err
    assert "--unreached removes them" in told.err
    assert told.out.count("\n") == 2
    told = hostlink("shrink", name, "--unreached")
    assert "unreached: 20 bytes saved in 2 lines (lines that are never reached)" in told.err
    assert "Proven: both were run and printed the same." in told.err
    assert "Never reached: lines 30, 40 (20 bytes)" in told.err
    assert "--unreached" not in told.err
    assert told.out == "10 PRINT1\n"
    assert "Never" not in hostlink("shrink", name, "--unreached", "--quiet").err
    held = hostlink("shrink", name, "--unreached", "--json").json
    assert held["unreached"] == [30, 40] and held["proof"]["result"] == "proven"
    assert hostlink("shrink", name, "--json").json["proof"] is None
    assert "Never" not in hostlink("shrink", name, "--quiet").err


@pytest.mark.parametrize(("answer", "rows"), [("y\n", 1), ("\n", 2)])
def test_a_person_is_asked_whether_unreached_lines_go(answer, rows, listing, monkeypatch, capsys):
    """Yes removes them; Return alone leaves them."""
    typed = io.StringIO(answer)
    typed.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", typed)
    assert run_line(["shrink", listing(*DEAD)]) == 0
    assert len(capsys.readouterr().out.splitlines()) == rows


def test_unreached_lines_stay_where_the_result_prints_otherwise(hostlink, listing, monkeypatch):
    """A proof that fails is told, and the lines are not removed."""
    monkeypatch.setattr(
        "hostlink.listing.shrinking.unreached.unreached", lambda made, _: tuple(made)[:1]
    )
    told = hostlink("shrink", listing(*DEAD), "--unreached")
    assert "Not removed, because otherwise it prints something different from" in told.err
    assert "1 PRINT1" in told.out


def test_who_asks_for_unreached_lines_is_told_why_none_goes(hostlink, listing):
    """One that does not ask for them hears nothing of it."""
    name = listing("10 END", "20 HOP 40", "30 PRINT 2")
    told = hostlink("shrink", name, "--unreached")
    assert "a word of line 20 might be a jump. This board's BASIC has no HOP" in told.err
    assert len(told.out.splitlines()) == 3
    assert "jump" not in hostlink("shrink", name).err


def test_lines_go_unproven_only_after_a_yes(hostlink, listing):
    """A program that never ends cannot be compared; what is kept without them is marked."""
    words = ("shrink", listing("10 GOTO 10", "20 PRINT 2"), "--unreached")
    told = hostlink(*words, "--keep")
    assert "Not proven: The program ran" in told.err
    assert "They stay; --yes removes them anyway." in told.err
    assert len(told.out.splitlines()) == 2
    assert "not proven" not in hostlink("history", "LIGHT").out
    told = hostlink(*words, "--keep", "--yes")
    assert "They stay" not in told.err
    assert len(told.out.splitlines()) == 1
    assert "not proven: it was not compared" in hostlink("history", "LIGHT").out


@pytest.mark.parametrize(("answer", "rows"), [("y\n", 1), ("\n", 2)])
def test_the_question_says_that_the_proof_is_open(answer, rows, listing, monkeypatch, capsys):
    """Before it is answered, also where the option asked for it."""
    typed = io.StringIO(answer)
    typed.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", typed)
    assert run_line(["shrink", listing("10 GOTO 10", "20 PRINT 2"), "--unreached"]) == 0
    told = capsys.readouterr()
    assert told.err.index("Not proven") < told.err.index("Remove them anyway?")
    assert len(told.out.splitlines()) == rows


def test_shrink_to_fit_stops_early_and_says_when_it_is_not_enough(hostlink, listing):
    """Status 0 where it fits, with the rest untouched; 1 with the bytes over where it cannot."""
    rows = [f'{n} PRINT "{"X" * 40}"' for n in range(10, 320, 10)]  # 31 lines of 51 bytes
    told = hostlink("shrink", listing(*rows, name="big.bas"), "--to-fit")
    assert told.status == 1
    assert "still" in told.err
    rows = [f'{n} PRINT "{"X" * 37}"' for n in range(10, 220, 10)]  # 21 of 48: 9 bytes over
    told = hostlink("shrink", listing(*rows, name="near.bas"), "--to-fit")
    assert told.status == 0
    assert told.out.count('PRINT "') == 12  # 9 blanks out of 21 were enough
    assert hostlink("review", "-", stdin=told.out.encode()).status == 0


def test_review_goes_deep_and_can_be_silenced(hostlink, listing):
    """Variables, flow and words are looked at; a rule falls silent by option or by a note."""
    name = listing("10 PRINT A", "20 END", "30 PRINT", name="odd.bas")
    told = hostlink("review", name)
    assert (told.status, "variable-never-set" in told.out) == (0, True)
    assert "unreachable-line" in told.out
    told = hostlink("review", name, "--silence", "unreachable-line")
    assert "unreachable-line" not in told.out
    assert "1 silenced" in told.out
    assert hostlink("review", name, "--silence", "nothing").status == 2
    assert hostlink("keep", name).status == 0
    hostlink("note", "ODD", "silence: variable-never-set unreachable-line")
    told = hostlink("review", "ODD")
    assert "0 warnings, 2 silenced" in told.out


def test_review_names_its_rules_and_the_place_of_each_finding(hostlink, listing):
    """All rules with what they find, without a listing; line and column stand in the text too."""
    from hostlink.listing.finding import RULES

    told = hostlink("review", "--rules")
    assert (told.status, told.err) == (0, "")
    assert [row.split()[0] for row in told.out.splitlines()[1:]] == list(RULES)
    for words in (("--rules", "--json"), ("--json", "--rules")):
        told = hostlink("review", *words)
        assert {each["rule"]: each["finds"] for each in told.json} == RULES
    assert hostlink("review").status == 2
    assert "warning: line 10, column 10: A is used" in hostlink("review", listing("10 PRINT A")).out


def test_review_shows_the_cross_reference(hostlink, listing):
    """Who names each line, and where variables are set and read."""
    name = listing("10 LET A=1", "20 GOTO 10", "30 GOTO 99")
    told = hostlink("review", name, "--cross-reference")
    assert "GOTO in 20" in told.out
    assert "no such line" in told.out
    held = hostlink("review", name, "--cross-reference", "--json").json["cross_reference"]
    assert held["variables"] == [{"name": "A", "set_in": [10], "read_in": []}]


def test_a_program_typed_wrong_is_told_by_its_sheet(hostlink, listing):
    """The whole way: sheet out, program typed with slips, lines named; typed right, status 0."""
    rows = ['10 PRINT "TIDE"', "20 LET A=1", "30 GOTO 10"]
    assert hostlink("sheet", listing(*rows, name="tide.bas"), "-o", "tide.html").status == 0
    slips = listing('10 PRINT "TIED"', "20 LET A=1", "40 END", name="typed.bas")
    told = hostlink("compare", slips, "--sheet", "tide.html")
    assert told.status == 1
    assert [row.split()[:2] for row in told.out.splitlines()] == [
        ["wrong", "10"],
        ["on", "sheet"],
        ["missing", "30"],
        ["too", "many"],
    ]
    assert "1 line right, 1 wrong, 1 missing, 1 too many" in told.err
    told = hostlink("compare", listing(*rows, name="right.bas"), "--sheet", "tide.html")
    assert (told.status, told.out) == (0, "")
    held = hostlink("compare", slips, "--sheet", "tide.html", "--json").json
    assert (held["right"], held["missing"], held["extra"]) == (False, [30], [40])


def test_codes_typed_from_paper_check_the_lines_they_name(hostlink, listing):
    """Some codes are enough for some lines; a wrong code names its line."""
    name = listing('10 PRINT "TIDE"', "20 LET A=1")
    assert hostlink("sheet", name, "-o", "s.html").status == 0
    codes = read_sheet(Path("s.html").read_text(encoding="utf-8"), name="s").codes
    typed = f"10 {codes.lines[10]}\n".encode()
    told = hostlink("compare", name, "--codes", "-", stdin=typed)
    assert (told.status, told.out) == (0, "")
    assert "1 without a code" in told.err
    whole = typed + f"20 {codes.lines[20]}\nall {codes.whole}\n".encode()
    assert hostlink("compare", name, "--codes", "-", stdin=whole).status == 0
    slip = whole.replace(codes.lines[20].encode(), codes.lines[20][::-1].encode())
    told = hostlink("compare", name, "--codes", "-", stdin=slip)
    assert (told.status, "the listing is right and these codes were mistyped" in told.out) == (
        0,
        True,
    )
    wrong = whole.replace(b"all " + codes.whole.encode(), b"all 0000")
    told = hostlink("compare", name, "--codes", "-", stdin=wrong)
    assert (told.status, "all lines together" in told.out) == (1, True)
    partly = typed + b"all 0000\n"
    told = hostlink("compare", name, "--codes", "-", stdin=partly)
    assert (told.status, "type the other codes too" in told.out) == (1, True)
    longer = listing('10 PRINT "TIDE"', "20 LET A=1", "30 END", name="longer.bas")
    told = hostlink("compare", longer, "--codes", "-", stdin=whole)
    assert (told.status, told.out.split()[:3]) == (1, ["too", "many", "30"])
    assert "1 too many." in told.err


def test_a_wrong_line_is_offered_as_it_may_have_been(hostlink, listing):
    """One slip of the typist is found by the codes alone; JSON has the same offers."""
    right = listing('10 PRINT "TIDE"', "20 LET A=1")
    assert hostlink("sheet", right, "-o", "s.html").status == 0
    codes = read_sheet(Path("s.html").read_text(encoding="utf-8"), name="s").codes
    rows = [f"{number} {code}" for number, code in codes.lines.items()]
    typed = "\n".join([*rows, f"ALL {codes.whole}"]).encode()
    wrong = listing('10 PRINT "TDIE"', "20 LET A=1")
    told = hostlink("compare", wrong, "--codes", "-", stdin=typed)
    assert told.status == 1
    assert 'perhaps   10 PRINT "TIDE"   (I and D were swapped)' in told.out.splitlines()
    told = hostlink("compare", wrong, "--codes", "-", "--json", stdin=typed)
    assert json.loads(told.out)["perhaps"] == {
        "10": [{"text": '10 PRINT "TIDE"', "slip": "I and D were swapped"}]
    }


def test_compare_wants_one_thing_to_compare_with(hostlink, listing):
    """Neither nor, and both, are wrong use."""
    name = listing("10 END")
    assert hostlink("compare", name).status == 2
    assert hostlink("compare", name, name, "--codes", "x").status == 2
    assert hostlink("compare", name, "--sheet", "nowhere.html").status == 1
    assert hostlink("compare", name, "--sheet", name).status == 1


def test_a_sheet_is_a_listing_like_any_other(hostlink, listing):
    """WHAT may be a sheet: its listing is reviewed, loaded, kept, with title and note."""
    name = listing("10 PRINT", name="tide.bas")
    told = hostlink("sheet", name, "-o", "tide.html", "--title", "Tides", "--notes", "At sea.")
    assert told.status == 0
    assert hostlink("show", "tide.html").out == "10 PRINT\n"
    assert hostlink("keep", "tide.html").status == 0
    assert "Tides" in hostlink("programs").out
    assert hostlink("sheet", "TIDE", "-o", "again.html").status == 0
    details = read_sheet(Path("again.html").read_text(encoding="utf-8"), name="s").details
    assert (details.title, details.notes) == ("Tides", "At sea.")


def test_a_sheet_is_not_written_over_without_consent(hostlink, listing):
    """What exists stays; --yes replaces it."""
    name = listing("10 PRINT")
    Path("s.html").write_text("mine")
    assert hostlink("sheet", name, "-o", "s.html").status == 1
    assert Path("s.html").read_text() == "mine"
    assert hostlink("sheet", name, "-o", "s.html", "--yes").status == 0
    assert hostlink("card", "-o", "c.html", "--profile", "palo-alto").status == 0
    assert "SIZE" in Path("c.html").read_text(encoding="utf-8")


def test_a_rescue_is_kept_under_a_name(hostlink, place):
    """A rescue, an older revision and a file become a revision of the program that is named."""
    (place / "tide.bas").write_text("10 REM TIDE\n")
    (place / "ebb.bas").write_text("10 REM EBB\n")
    assert hostlink("load", "tide.bas").status == 0
    assert hostlink("console", stdin=b"20 REM BY HAND\n").status == 0
    assert hostlink("load", "ebb.bas").status == 0
    (rescue,) = hostlink("programs", "--rescues", "--json").json
    assert rescue["spec"] == "rescue@1"
    told = hostlink("keep", "rescue@1")
    assert (told.status, "keep rescue@1 --as NAME" in told.err) == (1, True)
    told = hostlink("keep", "rescue@1", "--as", "byhand", "--json")
    assert told.json["kept"] == [{"spec": "byhand@1", "new": True, "from": "rescue@1"}]
    (kept,) = hostlink("history", "byhand", "--json").json
    for same in ("sha256", "from", "where", "captures", "size_bytes", "profile"):
        assert kept[same] == rescue[same]
    assert kept["note"] == "kept from rescue@1"
    assert hostlink("show", "byhand").out == "10 REM TIDE\n20 REM BY HAND\n"
    assert hostlink("keep", "tide@1", "--as", "byhand").status == 0
    assert hostlink("keep", "ebb.bas", "--as", "byhand").status == 0
    found = hostlink("history", "byhand", "--json").json
    assert [(each["number"], each["note"]) for each in found] == [
        (1, "kept from rescue@1"), (2, "kept from TIDE@1"), (3, ""),
    ]  # fmt: skip


def test_keep_as_names_one_program_for_one_listing(hostlink, place):
    """What cannot be kept under a name is refused in a sentence, and nothing is kept."""
    (place / "a.bas").write_text("10 REM A\n")
    (place / "none.bas").write_text("no line\n")
    for words, status, said in (
        (("a.bas", "a.bas", "--as", "B"), 2, "one listing"),
        (("rescue@7", "--as", "B"), 1, "no rescue 7"),
        (("none.bas", "--as", "B"), 1, "no numbered line"),
        ((".", "--as", "B"), 1, "is a folder"),
        (("a.bas", "--as", "rescue"), 1, "cannot be a program's name"),
    ):
        told = hostlink("keep", *words)
        assert (told.status, said in told.err) == (status, True), (words, told)
    assert hostlink("programs", "--json").json == []


def test_keep_and_give_carry_a_folder_and_a_zip(hostlink, place):
    """Kept from a folder, given out as a zip, kept again from that: the same revisions."""
    folder = place / "class"
    folder.mkdir()
    (folder / "one.bas").write_text("10 PRINT 1\n")
    (folder / "two.txt").write_text("10 PRINT 2\n")
    (folder / "notes.md").write_text("not a listing")
    (folder / "bad.bas").write_text("no number")
    told = hostlink("keep", "class")
    assert told.status == 1
    assert "bad.bas" in told.err
    assert "2 listings kept, 1 left out. 1 other file passed over." in told.err
    assert hostlink("give", "-o", "out.zip").status == 0
    with zipfile.ZipFile("out.zip") as opened:
        assert opened.namelist() == ["one.bas", "two.bas"]
    told = hostlink("keep", "out.zip", "--json")
    assert [(k["spec"], k["new"]) for k in told.json["kept"]] == [
        ("ONE@1", False),
        ("TWO@1", False),
    ]
    assert hostlink("give", "ONE", "-o", "given").status == 0
    assert (place / "given" / "one.bas").read_text() == "10 PRINT 1\n"
    assert hostlink("give", "ONE", "-o", "given").status == 1
    assert hostlink("give", "ONE", "-o", "given", "--yes").status == 0


def test_a_program_s_name_names_no_folder(hostlink, place):
    """Names that reach elsewhere, as another archive may bring them, stay inside what is given."""
    (place / "one.bas").write_text("10 PRINT 1\n")
    for name in ("../out", "a/b", "/evil", "con"):
        assert hostlink("keep", "one.bas", "--as", name).status == 0
    assert hostlink("give", "-o", "given").status == 0
    assert not [*place.glob("out*"), *Path("/").glob("evil*")]
    names = sorted(path.name for path in (place / "given").iterdir())
    assert set(names) == {"_out.bas", "a_b.bas", "_evil.bas", "_con.bas"}


def test_characters_that_the_board_cannot_take_are_stopped_on_the_way_in(hostlink, place):
    """Left out with the character named; kept where that is asked for."""
    (place / "odd.bas").write_text("10 PRINT \u201cA\u201d\n", encoding="utf-8")
    told = hostlink("keep", "odd.bas")
    assert (told.status, "U+201C" in told.err) == (1, True)
    assert hostlink("keep", "odd.bas", "--any-characters").status == 0


@pytest.mark.parametrize(
    ("name", "told"),
    [("../../evil.bas", "outside itself"), ("/etc/evil.bas", "outside itself")],
)
def test_a_zip_that_reaches_outside_is_refused_whole(hostlink, place, name, told):
    """Nothing of it is kept, nothing is written."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as opened:
        opened.writestr("good.bas", "10 PRINT\n")
        opened.writestr(name, "10 PRINT\n")
    (place / "class.zip").write_bytes(out.getvalue())
    outcome = hostlink("keep", "class.zip")
    assert (outcome.status, told in outcome.err) == (1, True)
    assert "GOOD" not in hostlink("programs").out


def test_what_is_not_there_is_named(hostlink):
    """A source that does not exist, a program that does not, an archive without programs."""
    assert hostlink("keep", "nowhere.bas").status == 1
    assert hostlink("renumber", "nowhere").status == 1
    assert hostlink("shrink", "nowhere").status == 1


def test_the_levels_offered_are_those_there_are():
    """The command names them itself, so that --help loads no listing functions."""
    from hostlink.cli.commands.renumber_shrink import _LEVELS
    from hostlink.listing.shrinking.shrink import LEVELS

    assert tuple(LEVELS) == _LEVELS


def test_show_tells_which_revision_each_line_came_from(hostlink, listing):
    """The changed line came with the second revision; a file has no earlier ones."""
    first = listing("10 LET A=1", "20 END")
    assert hostlink("keep", first, "--as", "LAMP").status == 0
    second = listing("10 LET A=2", "20 END")
    assert hostlink("keep", second, "--as", "LAMP").status == 0
    told = hostlink("show", "lamp", "--origins", "--json")
    assert [(row["revision"], row["line"]) for row in json.loads(told.out)] == [
        ("LAMP@2", "10 LET A=2"),
        ("LAMP@1", "20 END"),
    ]
    assert "LAMP@1" in hostlink("show", "lamp", "--origins").out.splitlines()[2]
    assert hostlink("show", second, "--origins").status == 1
    assert hostlink("show", "lamp", "--origins", "-o", "x.bas").status == 2


def test_the_sizes_of_a_program_are_drawn(hostlink, listing):
    """One row for each revision, by the limit of the board's profile."""
    for text in ("10 END", f'10 PRINT "{"X" * 50}"'):
        hostlink("keep", listing(text, name="lamp.bas"))
    rows = hostlink("history", "lamp", "--sizes").out.splitlines()
    assert [row.split()[0] for row in rows] == ["1", "2", "┃"]
    assert rows[2].endswith("is the board's limit, 999 bytes")
    assert rows[0].count("━") < rows[1].count("━")
