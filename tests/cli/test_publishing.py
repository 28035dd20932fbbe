"""Booklets and sites at the command line: what is chosen, said, written and refused."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from hostlink.app.actions.table import ACTIONS
from hostlink.archive import Archive, Content, Origin, Revision, RunEnd, RunText
from hostlink.board.profile.file import find_profile
from hostlink.cli.entry import cli
from hostlink.publish.program import steps
from hostlink.publish.sheet_file import read_sheet


@pytest.fixture
def three(archive: Archive) -> Archive:
    """LAMP and TIDE with the tag evening, OLD without; LAMP has run twice."""
    revisions = {}
    for name, text in (
        ("LAMP", "10 PRINT 1\n"),
        ("TIDE", "10 GOTO 10\n"),
        ("OLD", "10 PRINT 2\n"),
    ):
        content = Content(text.encode(), text, text, "practice", "utf-8", len(text))
        kept = archive.keep(name, content, Origin("file"), title=name.title()).revision
        revisions[name] = kept
    archive.tag("LAMP", "evening")
    archive.tag("TIDE", "evening")
    archive.note("LAMP", "It blinks.\nauthor: Ida Moss\nlicence: MIT\nsilence: computed-jump")
    _ran(archive, revisions["LAMP"], "AS EXPECTED", expected=True)
    _ran(archive, revisions["LAMP"], "LATER")
    _ran(archive, revisions["OLD"], "STOPPED", outcome="interrupted")
    return archive


def _ran(archive: Archive, revision: Revision, row: str, *, outcome="done", expected=False) -> None:
    ended = RunEnd(outcome)
    archive.keep_run(
        RunText((row,)), ended, seconds=1, revision=revision, typed=("27",), expected=expected
    )


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ((), ["LAMP", "OLD", "TIDE"]),
        (("TIDE", "shipped:HAIL", "own.bas"), ["TIDE", "HAIL", "OWN"]),
        (("tide", "TIDE@1", "TIDE"), ["TIDE"]),
        (("--tag", "evening"), ["LAMP", "TIDE"]),
        (("--find", "print"), ["LAMP", "OLD"]),
        (("--find", "print", "--tag", "evening"), ["LAMP"]),
    ],
)
@pytest.mark.usefixtures("three")
def test_programs_are_chosen_by_name_tag_or_search(hostlink, words, found) -> None:
    """For a booklet as for a site and for files that are given out; in that order."""
    Path("own.bas").write_text("10 END\n")
    for command, target in (("booklet", "b.html"), ("site", "web")):
        told = hostlink(command, *words, "-o", target, "--json").json
        assert [each["program"] for each in told["programs"]] == found
        assert told["left_out"] == []
    assert hostlink("give", *words, "-o", "given").status == 0
    assert {path.stem.upper() for path in Path("given").iterdir()} == set(found)


@pytest.mark.usefixtures("three")
def test_nothing_is_chosen_in_vain(hostlink) -> None:
    """A tag or words that nothing has, names beside a choice, an archive that is not there."""
    for words, said, status in (
        (("--tag", "nope"), "no program with the tag nope", 1),
        (("--find", "zebra"), 'no program with "zebra"', 1),
        (("LAMP", "--tag", "evening"), "Name programs, or choose them", 2),
        (("NOBODY",), 'called "NOBODY"', 1),
        (("--archive", "none.sqlite3"), "no archive", 1),
    ):
        for command, target in (("booklet", "b.html"), ("site", "web")):
            told = hostlink(command, *words, "-o", target)
            assert (told.status, told.out) == (status, "")
            assert said in told.err
            assert not Path(target).exists()


@pytest.mark.usefixtures("three")
def test_a_page_of_a_site_tells_all_that_is_noted(hostlink) -> None:
    """Author and licence from the note, and of its runs the one that is expected."""
    told = hostlink("site", "-o", "web")
    assert (told.status, told.out) == (0, "")
    assert "The site of 3 programs is in web: 4 pages written, 0 as before." in told.err
    page = Path("web/lamp.html").read_text(encoding="utf-8")
    assert "AS EXPECTED" in page and "LATER" not in page and "computed-jump" not in page
    assert "What it prints" not in Path("web/old.html").read_text(encoding="utf-8")
    details = read_sheet(page, name="lamp").details
    assert (details.author, details.licence) == ("Ida Moss", "MIT")
    assert details.notes == "It blinks."
    assert hostlink("compare", "LAMP", "--sheet", "web/lamp.html").status == 0
    assert hostlink("keep", "web/lamp.html", "--archive", "other.sqlite3").status == 0
    shown = hostlink("sheet", "LAMP", "-o", "back.html", "--archive", "other.sqlite3")
    assert shown.status == 0
    assert read_sheet(Path("back.html").read_text(encoding="utf-8"), name="back").details == details


def test_only_pages_that_differ_are_written(hostlink, three) -> None:
    """A page that is the same keeps its time; one of a program not chosen is left and named."""
    hostlink("site", "-o", "web")
    before = {path: path.stat().st_mtime_ns for path in Path("web").iterdir()}
    assert "0 pages written, 4 as before" in hostlink("site", "-o", "web").err
    assert {path: path.stat().st_mtime_ns for path in Path("web").iterdir()} == before
    three.note("TIDE", "It rises.")
    told = hostlink("site", "-o", "web", "--tag", "evening").err
    assert f"{Path('web/old.html')} is the page of a program that was not chosen" in told
    assert "2 pages written, 1 as before" in told  # that of TIDE, and the contents
    changed = {path.name for path, time in before.items() if path.stat().st_mtime_ns != time}
    assert changed == {"tide.html", "index.html"}


@pytest.mark.usefixtures("three")
def test_a_folder_with_anything_else_is_refused(hostlink) -> None:
    """Other files, a page of somebody's own, a file in place of the folder; nothing is changed."""
    Path("other").mkdir()
    Path("other/notes.txt").write_text("mine")
    Path("page").mkdir()
    Path("page/index.html").write_text("<!DOCTYPE html><p>mine")
    Path("file").write_text("mine")
    hostlink("site", "-o", "mixed")
    Path("mixed/lamp.html").write_text("<!DOCTYPE html><p>mine")
    for folder, said in (
        ("other", "holds other files"),
        ("page", "holds other files"),
        ("mixed", "is not a page of the site"),
        ("file", "is a file"),
    ):
        told = hostlink("site", "-o", folder)
        assert told.status in (1, 2)
        assert said in told.err
    assert [path.name for path in Path("other").iterdir()] == ["notes.txt"]
    assert "mine" in Path("mixed/lamp.html").read_text()
    Path("new").mkdir()
    Path("new/.hidden").write_text("of the system")
    assert hostlink("site", "-o", "new").status == 0


@pytest.mark.usefixtures("three")
def test_what_has_no_code_is_left_out_and_named(hostlink) -> None:
    """The others are published, with status 1; if nothing is left nothing is written."""
    Path("odd.bas").write_text("10 PRINT \u00e9\n", encoding="utf-8")
    told = hostlink("booklet", "LAMP", "odd.bas", "-o", "b.html")
    assert told.status == 1
    assert "Left out: odd.bas. There is no check code for the character" in told.err
    assert "The booklet of 1 program is written to b.html." in told.err
    told = hostlink("site", "odd.bas", "-o", "web")
    assert told.status == 1
    assert "No program was found to publish." in told.err
    assert not Path("web").exists()


@pytest.mark.usefixtures("three")
@pytest.mark.parametrize("command", ["booklet", "site", "give"])
def test_a_file_without_a_listing_hinders_no_other(hostlink, command: str) -> None:
    """It is left out and named, with status 1; a name that stands for nothing is refused."""
    Path("empty.bas").write_bytes(b"")
    Path("blank.bas").write_bytes(b" \n\n")
    out = f"made{'.html' if command == 'booklet' else ''}"
    told = hostlink(command, "LAMP", "empty.bas", "blank.bas", "-o", out)
    assert told.status == 1
    assert "Left out: empty.bas. empty.bas is empty." in told.err
    assert "Left out: blank.bas. blank.bas holds nothing but blanks." in told.err
    assert Path(out).exists()
    for names in (("empty.bas", "blank.bas"), ("LAMP", "nosuch.bas")):
        told = hostlink(command, *names, "-o", "none")
        assert told.status == 1
        assert not Path("none").exists()


@pytest.mark.usefixtures("three")
def test_a_page_without_codes_is_kept_as_nothing(hostlink) -> None:
    """The sentence says which page of hostlink's it is."""
    assert hostlink("booklet", "-o", "b.html").status == 0
    told = hostlink("keep", "b.html")
    assert told.status == 1
    assert "b.html is a booklet page, not a listing sheet." in told.err
    assert "hostlink sheet" in told.err


@pytest.mark.usefixtures("three")
def test_a_booklet_is_not_written_over_without_consent(hostlink) -> None:
    """As every other file."""
    assert hostlink("booklet", "-o", "b.html").status == 0
    assert hostlink("booklet", "LAMP", "-o", "b.html").status == 1
    assert hostlink("booklet", "LAMP", "-o", "b.html", "--yes").status == 0


@pytest.mark.parametrize("name", ["TIDE", ""])
def test_what_a_page_tells_to_type_are_commands_and_an_action(name: str) -> None:
    """A printed page cannot be mended when a command, an option or an action is renamed."""
    page = re.sub("</?span[^>]*>", "", steps(find_profile("practice"), name))
    shown = [shlex.split(words) for words in re.findall(r"<code>hostlink ([^<]+)</code>", page)]
    assert [words[0] for words in shown] == ["save", "compare"]
    context = click.Context(cli)
    known: set[str] = set()
    for words in shown:
        command = cli.get_command(context, words[0])
        assert command is not None
        known = {option for param in command.params for option in param.opts}
        assert {word for word in words if word.startswith("--")} <= known
    assert set(re.findall(r"<code>(--[a-z]+)</code>", page)) <= known
    (button,) = re.findall("In the app, “([^”]+)”", page)
    assert button in {action.words for action in ACTIONS}
