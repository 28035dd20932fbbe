"""The command class: a class handed out to, collected from, shown, written and not given away."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import Archive, Board

RED, BLUE = "practice://red?time=virtual", "practice://blue?time=virtual"
LAMP = '10 PRINT "LAMP"\n20 PRINT 1/0\n30 END\n'
REGISTER = f"""title = "Tuesday evening"
hand_out = "lamp.bas"
[[learner]]
name = "Ada Brook"
board = "{RED}"
[[learner]]
name = "Ben Oak"
board = "{BLUE}"
[[learner]]
name = "Cleo Reed"
board = "Violet"
[[learner]]
name = "Dan Moor"
"""


@pytest.fixture(autouse=True)
def evening(place: Path) -> Path:
    """A register with two boards that are here, one that is not, and a learner without one."""
    (place / "class.toml").write_text(REGISTER, encoding="utf-8")
    (place / "lamp.bas").write_text(LAMP, encoding="utf-8")
    return place


@pytest.fixture
def worked(hostlink: Callable, evening: Path) -> None:
    """Handed out; Ada added two lines and Ben none; both ran it, and both were collected from."""
    assert hostlink("class", "class.toml", "--hand-out").status == 1  # Cleo's board is not here
    hostlink("console", "--port", RED, stdin=b"5 REM MINE\n6 REM TOO\nleave!\n")
    hostlink("run", "--port", BLUE)
    (evening / "violet.txt").write_text("", encoding="utf-8")
    told = hostlink("class", "class.toml", "--collect")
    assert told.status == 1
    assert "Cleo Reed (Violet)" in told.err


def rows(out: str) -> dict[str, list[str]]:
    """The table's rows by name, their cells parted by two blanks or more."""
    found = (re.split(r" {2,}", row) for row in out.splitlines()[1:])
    return {cells[0]: cells[1:] for cells in found}


def test_a_look_at_a_class_opens_no_port(hostlink: Callable, archive: Archive) -> None:
    """The handout is measured for the boards that are known; nobody has it yet."""
    told = hostlink("class", "class.toml")
    assert told.status == 0
    shown = rows(told.out)
    assert list(shown) == ["Ada Brook", "Ben Oak", "Cleo Reed", "Dan Moor"]
    assert shown["Ada Brook"] == ["red", "not yet", "-", "33 of 999", "-", "not yet"]
    assert shown["Cleo Reed"] == ["Violet, unknown", "not yet", "-", "-", "-", "not yet"]
    assert shown["Dan Moor"][0] == "none yet"
    assert "4 learners, 0 with the handout" in told.err
    assert archive.boards() == []


@pytest.mark.usefixtures("worked")
def test_the_table_says_what_became_of_it(hostlink: Callable, archive: Archive) -> None:
    """Lines that differ, whether it fits, the error of the last run, and what is kept."""
    shown = rows(hostlink("class", "class.toml").out)
    assert shown["Ada Brook"][1:5] == ["LAMP@1", "2", "54 of 999", "-"]
    assert re.fullmatch(r"ADA-BROOK@1 \d\d:\d\d", shown["Ada Brook"][5])
    assert shown["Ben Oak"][1:3] == ["LAMP@1", "0"]
    assert shown["Ben Oak"][4].startswith("line 20: ")
    assert re.fullmatch(r"as handed out \d\d:\d\d", shown["Ben Oak"][5])
    assert {one.name: one.tags for one in archive.programs()} == {
        "ADA-BROOK": ("learner",),
        "LAMP": (),
    }
    assert archive.program("ADA-BROOK").title == "Ada Brook"


@pytest.mark.usefixtures("worked")
def test_an_error_before_the_handout_is_not_told_of_it(hostlink: Callable) -> None:
    """A run belongs to what was on the board then, also where the same is handed out again."""
    shown = rows(hostlink("class", "class.toml", "--hand-out").out)
    assert (shown["Ben Oak"][1], shown["Ben Oak"][4]) == ("LAMP@1", "-")


@pytest.mark.usefixtures("worked")
def test_json_tells_the_same(hostlink: Callable) -> None:
    """A row for each, with what failed in the job of this command."""
    read = hostlink("class", "class.toml", "--json").json
    assert read["title"] == "Tuesday evening"
    ada, ben, cleo, dan = read["learners"]
    assert (ada["program"], ada["changed"], ada["saved"]) == ("ADA-BROOK", 2, "ADA-BROOK@1")
    assert (ada["size_bytes"], ada["limit_bytes"], ada["fits"]) == (54, 999, True)
    assert (ben["saved"], ben["as_handed_out"]) == ("LAMP@1", True)
    assert (cleo["port"], cleo["handed_out"], dan["port"]) == (None, None, None)
    again = hostlink("class", "class.toml", "--hand-out", "--what", "NOBODY", "--json")
    assert again.status == 1
    refused = hostlink("class", "class.toml", "--hand-out", "--what", "long.bas")
    assert "long.bas" in refused.err


@pytest.mark.usefixtures("worked")
def test_a_page_and_folders_to_take_home(hostlink: Callable, place: Path) -> None:
    """The table to be printed; for each learner listing, sheet and history; nothing is replaced."""
    words = ("class", "class.toml", "--page", "page.html", "--folders", "home")
    told = hostlink(*words)
    assert told.status == 0
    assert "Nothing has been saved from Cleo Reed, Dan Moor." in told.err
    page = (place / "page.html").read_text(encoding="utf-8")
    assert page.count("<tr>") == 5
    assert "ADA-BROOK@1" in page
    home = {each.relative_to(place / "home").as_posix() for each in (place / "home").rglob("*.*")}
    assert home == {
        *(f"ada-brook/{name}" for name in ("ada-brook.bas", "ada-brook.html", "history.txt")),
        *(f"ben-oak/{name}" for name in ("lamp.bas", "lamp.html", "history.txt")),
    }
    taken = (place / "home" / "ada-brook" / "ada-brook.bas").read_text(encoding="utf-8")
    assert taken == f"5 REM MINE\n6 REM TOO\n{LAMP}"
    assert hostlink("keep", "home/ada-brook/ada-brook.html", "--as", "BACK").status == 0
    again = hostlink(*words)
    assert (again.status, "or replace it with --yes" in again.err) == (1, True)
    again = hostlink(*words, "--collect")
    assert (again.status, "without --collect and --hand-out" in again.err) == (1, True)
    assert hostlink(*words, "--yes").status == 0


@pytest.mark.usefixtures("worked")
def test_a_learner_takes_home_their_work_beside_a_later_handout(
    hostlink: Callable, place: Path
) -> None:
    """And every revision of it, however the register spells the program's name."""
    text = REGISTER.replace('name = "Ada Brook"', 'name = "Ada Brook"\nprogram = "ada-brook"')
    (place / "class.toml").write_text(text, encoding="utf-8")
    (place / "song.bas").write_text('10 PRINT "LA"\n', encoding="utf-8")
    hostlink("class", "class.toml", "--hand-out", "--what", "song.bas")
    told = hostlink("class", "class.toml", "--collect", "--folders", "home")
    assert rows(told.out)["Ada Brook"][5].startswith("as handed out")
    taken = place / "home" / "ada-brook"
    assert {each.name for each in taken.iterdir()} == {
        *(f"{name}.{kind}" for name in ("ada-brook", "song") for kind in ("bas", "html")),
        "history.txt",
    }
    assert (taken / "ada-brook.bas").read_text(encoding="utf-8").startswith("5 REM MINE\n")
    history = (taken / "history.txt").read_text(encoding="utf-8")
    assert "Saved as handed out: SONG@1" in history
    assert "ADA-BROOK@1  " in history


def test_a_board_that_nobody_knows_is_not_just_absent(hostlink: Callable, archive: Archive) -> None:
    """A label with a slip in it would be waited for in vain."""
    told = hostlink("class", "class.toml", "--hand-out")
    assert "No board is known as Violet. List the known boards with `hostlink boards`." in told.err
    archive.board_label(archive.board_seen(serial="K42", vid=0x1234, pid=1).uuid, "Violet")
    told = hostlink("class", "class.toml", "--hand-out")
    assert rows(told.out)["Cleo Reed"][0] == "Violet, absent"
    assert "No board is known" not in told.err


def test_a_shipped_handout_is_adapted_on_every_evening(hostlink: Callable, place: Path) -> None:
    """Also when the archive holds it, and what was adapted for one kind of board, since the first;
    another program is refused, with the option of this command that adapts it."""
    text = REGISTER.replace("lamp.bas", "HAIL").replace(RED, f"{RED}&kind=capital")
    (place / "class.toml").write_text(text, encoding="utf-8")
    for _ in range(2):
        shown = rows(hostlink("class", "class.toml", "--hand-out").out)
        assert shown["Ada Brook"][1:3] == ["HAIL@2", "0"]
        assert shown["Ben Oak"][1:3] == ["HAIL@1", "0"]
    told = hostlink("class", "class.toml", "--hand-out", "--what", "HAIL@1")
    assert "Ada Brook: HAIL@1 was written for the BASIC of practice" in told.err
    assert "load it adapted with --adapt, or" in told.err


def test_lines_are_counted_against_what_is_told_as_handed_out(
    hostlink: Callable, place: Path
) -> None:
    """Also where that was cut off: not against the handout before, which is no longer there."""
    many = "".join(f"{number} PRINT {number}\n" for number in range(10, 310, 10))
    (place / "many.bas").write_text(many, encoding="utf-8")
    hostlink("class", "class.toml", "--hand-out")
    cut = REGISTER.replace(RED, f"{RED}&unplug_after_bytes=200")
    (place / "class.toml").write_text(cut, encoding="utf-8")
    told = hostlink("class", "class.toml", "--hand-out", "--what", "many.bas")
    assert rows(told.out)["Ada Brook"][1:3] == ["MANY@1 cut off", "-"]
    (place / "class.toml").write_text(REGISTER, encoding="utf-8")
    shown = rows(hostlink("class", "class.toml", "--collect").out)["Ada Brook"]
    left = hostlink("show", "ADA-BROOK").out.splitlines()
    assert 0 < len(left) < 30
    assert shown[1:3] == ["MANY@1 cut off", str(30 - len(left))]


def test_another_program_on_a_learners_board_is_no_handout(
    hostlink: Callable, evening: Path
) -> None:
    """Cut off, it is named and nothing is measured; whole, it is compared with the handout."""
    many = "".join(f"{number} REM LINE\n" for number in range(1, 31))
    (evening / "many.bas").write_text(many, encoding="utf-8")
    hostlink("class", "class.toml", "--hand-out")
    assert hostlink("load", "many.bas", "--port", f"{RED}&unplug_after_bytes=300").status == 3
    told = hostlink("class", "class.toml")
    assert rows(told.out)["Ada Brook"][1:4] == ["LAMP@1 then MANY@1 cut off", "-", "-"]
    assert "4 learners, 1 with the handout" in told.err
    assert hostlink("load", "many.bas", "--port", RED).status == 0
    shown = rows(hostlink("class", "class.toml").out)
    assert shown["Ada Brook"][1:3] == ["LAMP@1", "30"]
    assert shown["Ben Oak"][1:3] == ["LAMP@1", "0"]


@pytest.mark.usefixtures("worked")
def test_work_stays_its_learner_s_where_a_handout_to_another_did_not_begin(
    hostlink: Callable, archive: Archive, place: Path
) -> None:
    """The board was unplugged before it was overwritten, so what it holds is Ada's as before."""
    swapped = REGISTER.replace(BLUE, "Blue").replace(RED, BLUE).replace("Blue", RED)
    unplugged = swapped.replace(RED, f"{RED}&unplug_after_bytes=9")
    (place / "class.toml").write_text(unplugged, encoding="utf-8")
    told = hostlink("class", "class.toml", "--hand-out")
    assert rows(told.out)["Ben Oak"][1] == "LAMP@1"  # that of their own board
    (place / "class.toml").write_text(swapped, encoding="utf-8")
    told = hostlink("class", "class.toml", "--collect")
    assert "Ben Oak: This board's last handout was to ADA-BROOK" in told.err
    assert {one.name for one in archive.programs()} == {"ADA-BROOK", "LAMP"}


@pytest.mark.usefixtures("worked")
def test_names_of_learners_are_in_no_bag_unless_asked_for(
    hostlink: Callable, archive: Archive, place: Path
) -> None:
    """No file of an export holds a name, nor does the name of a file; all else is there."""
    hostlink("load", "tide", "--port", RED)  # its event tells that the board held ADA-BROOK@1
    archive.note("LAMP", "ADA-BROOK made it blink")
    archive.note("LAMP", "for the first evening")
    hostlink("keep", "ADA-BROOK@1", "--as", "BLINK")
    red: Board = next(each for each in archive.boards() if each.serial == "practice:red")
    archive.rescue(
        archive.content(archive.revision("ADA-BROOK@1")),
        archive.revision("ADA-BROOK@1").origin,
        program="ADA-BROOK",
    )
    told = hostlink("archive", "export", "bag", "--json")
    assert told.status == 0
    assert told.json["learners_left_out"] == 1
    assert "Learners' work is not in it: 1 program, and 3 records" in told.err
    assert names_in(place / "bag") == []
    assert (place / "bag" / "data" / "programs" / "LAMP" / "LAMP-1.bas").exists()
    assert (
        "for the first evening" in (place / "bag" / "data" / "records" / "notes.jsonl").read_text()
    )
    assert red.uuid in (place / "bag" / "data" / "records" / "boards.jsonl").read_text()
    assert hostlink("archive", "import", "bag").status == 0
    assert hostlink("archive", "import", "bag", "--archive", "new.sqlite3").status == 0

    assert hostlink("archive", "export", "all", "--learners").status == 0
    assert len(names_in(place / "all")) > 3
    assert hostlink("archive", "import", "all", "--archive", "new.sqlite3").status == 0
    with Archive.open(place / "new.sqlite3") as new:
        assert new.program("ADA-BROOK").tags == ("learner",)
    assert hostlink("archive", "export", "one", "--only", "ADA-BROOK").status == 0
    assert (place / "one" / "data" / "programs" / "ADA-BROOK").is_dir()


@pytest.mark.usefixtures("worked")
def test_the_work_of_learners_is_given_to_nobody_unless_it_is_named(
    hostlink: Callable, place: Path
) -> None:
    """All programs means those that have no person's name; a site is for the world."""
    told = hostlink("give", "-o", "given")
    assert told.status == 0
    assert "Passed over: 1 program with a learner's name." in told.err
    assert [each.name for each in (place / "given").iterdir()] == ["lamp.bas"]
    assert hostlink("site", "-o", "made").status == 0
    pages = [each for each in (place / "made").rglob("*") if each.is_file()]
    assert not [each for each in pages if b"brook" in each.read_bytes().lower()]
    (place / "song.bas").write_text('10 PRINT "LA"\n', encoding="utf-8")
    hostlink("keep", "song.bas")
    assert "Passed" not in hostlink("site", "--find", "song", "-o", "found").err
    told = hostlink("site", "--find", "mine", "-o", "none")
    assert told.status == 1
    assert 'no program with "mine" that is not a learner\'s' in told.err
    assert "Passed over: 1 program" in told.err
    assert hostlink("give", "ADA-BROOK", "-o", "one").status == 0
    told = hostlink("booklet", "--tag", "learner", "-o", "all.html")
    assert told.status == 1
    assert "Passed over: 1 program" in told.err
    assert not (place / "all.html").exists()


def names_in(bag: Path) -> list[Path]:
    """The files of a bag with a learner's name in them, or in their own names."""
    named = re.compile("ada.?brook|ben.?oak|cleo.?reed|dan.?moor", re.IGNORECASE)
    files = [each for each in bag.rglob("*") if each.is_file()]
    assert len(files) > 10
    return [each for each in files if named.search(f"{each.relative_to(bag)}{each.read_text()}")]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--wait", "1"), "--wait needs"),
        (("--wait", "1", "--collect", "--hand-out"), "needs either"),
        (("--own",), "--hand-out"),
        (("--collect", "--what", "TIDE"), "--hand-out"),
        (("--hand-out", "--what", "TIDE", "--own"), "choose"),
    ],
)
def test_options_that_contradict_each_other_are_refused(
    words: tuple[str, ...], said: str, hostlink: Callable, archive: Archive
) -> None:
    """As wrong use, before any port is opened."""
    told = hostlink("class", "class.toml", *words)
    assert told.status == 2
    assert said in told.err
    assert archive.boards() == []


def test_waiting_ends_after_its_time(hostlink: Callable, monkeypatch: pytest.MonkeyPatch) -> None:
    """Those that came are served, the others named."""
    monkeypatch.setattr("hostlink.jobs.class_register.evening._LOOK_S", 0.01)
    told = hostlink("class", "class.toml", "--hand-out", "--wait", "0.01")
    assert told.status == 1
    assert rows(told.out)["Ada Brook"][1] == "LAMP@1"
    assert "nothing was done for: Cleo Reed (Violet)" in told.err


def test_each_mistake_is_a_row(hostlink: Callable, place: Path) -> None:
    """With the file and its line."""
    (place / "class.toml").write_text('colour = 1\n[[learner]]\nnam = "Ada"\n', encoding="utf-8")
    told = hostlink("class", "class.toml")
    assert told.status == 1
    lines = [row.strip().removeprefix("hostlink: ").split(":")[0] for row in told.err.splitlines()]
    assert lines[:3] == [f"class.toml, line {number}" for number in (1, 2, 3)]


def test_two_learners_cannot_have_one_board(hostlink: Callable, place: Path) -> None:
    """Though it is called by its label here and by its address there."""
    hostlink("boards", "--label", "Red", "--port", RED)
    (place / "class.toml").write_text(REGISTER.replace("Violet", "Red"), encoding="utf-8")
    told = hostlink("class", "class.toml")
    assert told.status == 2
    assert "Ada Brook" in told.err
    assert "have the same board" in told.err


@pytest.mark.usefixtures("worked")
def test_the_table_fits_80_columns(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch, archive: Archive
) -> None:
    """A row that is wider is broken between words."""
    archive.board_label(archive.board_seen(serial="practice:blue").uuid, "The blue one")
    size = os.terminal_size((80, 24))
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(shutil, "get_terminal_size", lambda *_, **__: size)
    told = hostlink("class", "class.toml")
    assert max(map(len, told.out.splitlines())) <= 80
    assert {"LAMP@1", "ADA-BROOK@1"} <= set(told.out.split())


def test_a_handout_that_is_not_there_is_told_with_the_learner(
    hostlink: Callable, evening: Path
) -> None:
    """One wrong word in the register of a class: whose, and that nobody was sent anything."""
    text = REGISTER.replace('name = "Ben Oak"', 'name = "Ben Oak"\nhand_out = "NOSUCH"')
    (evening / "class.toml").write_text(text, encoding="utf-8")
    told = hostlink("class", "class.toml", "--hand-out")
    assert told.status == 1
    assert "Ben Oak cannot be given their handout. There is no file" in told.err
    assert "Nothing was sent." in told.err


ONE = REGISTER[: REGISTER.index('[[learner]]\nname = "Ben')]
SONG = '10 PRINT "SONG"\n'


def test_what_was_typed_before_the_next_handout_is_the_learner_s(
    hostlink: Callable, evening: Path, archive: Archive
) -> None:
    """It is their next revision, saved before this handout, and no rescue without a name."""
    (evening / "one.toml").write_text(ONE, encoding="utf-8")
    (evening / "song.bas").write_text(SONG, encoding="utf-8")
    hostlink("console", "--port", RED, stdin=b"5 REM FIRST\nleave!\n")
    assert hostlink("class", "one.toml", "--hand-out").status == 0
    hostlink("console", "--port", RED, stdin=b"5 REM MINE\nleave!\n")
    told = hostlink("class", "one.toml", "--hand-out", "--what", "song.bas")
    assert told.status == 0
    assert rows(told.out)["Ada Brook"][5].startswith("before: ADA-BROOK@2 ")
    assert archive.rescues() == []
    assert hostlink("show", "ADA-BROOK@2").out == f"5 REM MINE\n{LAMP}"
    told = hostlink("class", "one.toml", "--hand-out", "--own")
    assert rows(told.out)["Ada Brook"][1:3] == ["ADA-BROOK@2", "0"]
    assert archive.program("ADA-BROOK").revisions == 2  # SONG, unchanged, is not kept again


def test_an_earlier_handout_is_no_work_of_the_learner(hostlink: Callable, evening: Path) -> None:
    """Ada was given another program at another board since; this one holds what it was given. A
    program that she loaded herself is her work."""
    (evening / "song.bas").write_text(SONG, encoding="utf-8")
    for board, what in ((RED, "lamp.bas"), (BLUE, "song.bas")):
        (evening / "one.toml").write_text(ONE.replace(RED, board), encoding="utf-8")
        assert hostlink("class", "one.toml", "--hand-out", "--what", what).status == 0
    (evening / "one.toml").write_text(ONE, encoding="utf-8")
    assert hostlink("class", "one.toml", "--collect").status == 0
    (ada,) = hostlink("class", "one.toml", "--json").json["learners"]
    assert (ada["saved"], ada["as_handed_out"]) == ("LAMP@1", True)
    shown = rows(hostlink("class", "one.toml").out)["Ada Brook"]
    assert shown[1] == "SONG@1"
    assert shown[5].startswith("LAMP@1 ")
    hostlink("load", "tide", "--port", RED)
    assert hostlink("class", "one.toml", "--collect").status == 0
    (ada,) = hostlink("class", "one.toml", "--json").json["learners"]
    assert (ada["saved"], ada["as_handed_out"]) == ("ADA-BROOK@1", False)


def test_a_handout_that_did_not_begin_is_nobody_s(hostlink: Callable, evening: Path) -> None:
    """Stopped early, it looks the same for the learner whose turn it was and for the next one: both
    have what they had, and the sentence on the class names it."""
    (evening / "song.bas").write_text(SONG, encoding="utf-8")
    two = REGISTER[: REGISTER.index('[[learner]]\nname = "Cleo')]
    (evening / "two.toml").write_text(two, encoding="utf-8")
    assert hostlink("class", "two.toml", "--hand-out").status == 0
    unplugged = two.replace(RED, f"{RED}&unplug_after_bytes=9").replace(BLUE, "Violet")
    (evening / "cut.toml").write_text(unplugged, encoding="utf-8")
    hostlink("class", "cut.toml", "--hand-out", "--what", "song.bas")
    told = hostlink("class", "two.toml", "--collect")
    shown = rows(told.out)
    assert shown["Ada Brook"] == ["red", *shown["Ben Oak"][1:]]
    assert shown["Ada Brook"][1:4] == ["LAMP@1", "0", "33 of 999"]
    assert shown["Ada Brook"][5].startswith("as handed out ")
    assert "2 learners, 2 with the handout" in told.err


def test_the_sentence_on_a_class_names_the_handouts_where_they_differ(
    hostlink: Callable, evening: Path
) -> None:
    """A board that was not served still has the handout before."""
    (evening / "song.bas").write_text(SONG, encoding="utf-8")
    hostlink("class", "class.toml", "--hand-out")
    (evening / "one.toml").write_text(ONE, encoding="utf-8")
    hostlink("class", "one.toml", "--hand-out", "--what", "song.bas")
    told = hostlink("class", "class.toml")
    assert "4 learners, 1 with SONG, 1 with LAMP, 0 saved since." in told.err
    hostlink("console", "--port", RED, stdin=b"5 REM MINE\nleave!\n")
    hostlink("class", "one.toml", "--collect")
    hostlink("class", "one.toml", "--hand-out", "--own")
    told = hostlink("class", "class.toml")
    assert "4 learners, 1 with their own, 1 with LAMP, 0 saved since." in told.err


def test_a_size_is_told_where_the_limit_is_not_known(hostlink: Callable, evening: Path) -> None:
    """The profile of some kinds of board leaves it open."""
    (evening / "one.toml").write_text(ONE.replace(RED, f"{RED}&kind=token"), encoding="utf-8")
    hostlink("class", "one.toml", "--hand-out")
    shown = rows(hostlink("class", "one.toml").out)["Ada Brook"]
    assert re.fullmatch(r"\d+ bytes", shown[3])


def test_a_handout_that_is_nowhere_is_named_in_the_table(hostlink: Callable, evening: Path) -> None:
    """Before anybody tries to hand it out."""
    text = REGISTER.replace('name = "Ben Oak"', 'name = "Ben Oak"\nhand_out = "NOSUCH"')
    (evening / "class.toml").write_text(text, encoding="utf-8")
    shown = rows(hostlink("class", "class.toml").out)
    assert shown["Ben Oak"][1:4] == ["not yet, there is no NOSUCH", "-", "-"]
    assert shown["Ada Brook"][1] == "not yet"


def test_names_of_learners_of_whom_nothing_was_saved_are_in_no_bag(
    hostlink: Callable, archive: Archive, place: Path
) -> None:
    """Though handouts and a rescue name them, and no program is tagged as a learner's."""
    hostlink("class", "class.toml", "--hand-out")
    hostlink("console", "--port", BLUE, stdin=b"5 REM MINE\nleave!\n")
    assert hostlink("load", "tide", "--port", BLUE).status == 0
    assert [each.origin.note for each in archive.rescues()] == ["may be the work of BEN-OAK"]
    told = hostlink("archive", "export", "bag")
    assert "0 programs, and 1 record naming them. To export it too" in told.err
    assert names_in(place / "bag") == []
