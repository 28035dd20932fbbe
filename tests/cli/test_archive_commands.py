"""The commands that need no board: programs, find, show, history, compare, review, mend, ..."""

from __future__ import annotations

import dataclasses
import io
import json
import re
import shutil
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from hostlink.archive import Archive, BackupItem, Content, Origin
from hostlink.cli.entry import run_line
from hostlink.shipped import library_folder


@pytest.fixture
def kept(
    hostlink: Callable, listing: Callable, place: Path, tmp_path_factory: pytest.TempPathFactory
) -> Callable:
    """An archive with two revisions of LIGHT, one shipped program and one rescue."""
    model = tmp_path_factory.getbasetemp() / "kept-model"
    if not model.exists():
        _fill(hostlink, listing)
        shutil.copytree(place, model)
    shutil.copytree(model, place, dirs_exist_ok=True)
    return hostlink


def _fill(hostlink: Callable, listing: Callable) -> None:
    listing('10 PRINT "ON"', "20 GOTO 10")
    assert hostlink("load", "light.bas").status == 0
    listing('10 PRINT "OFF"', "20 GOTO 10", "30 END")
    assert hostlink("load", "light.bas").status == 0
    assert hostlink("load", "-", stdin=b"10 REM TYPED ON THE BOARD\n").status == 0
    assert hostlink("load", "tide").status == 0


PROGRAM_KEYS = {
    *("name", "title", "tags", "note", "revisions", "latest", "size_bytes", "lines", "kept_at"),
    "retired",
}
ITEM_KEYS = {
    *("spec", "program", "number", "size_bytes", "lines", "kept_at", "from", "where", "profile"),
    *("sha256", "captures", "after_restart", "unproven"),
}


def test_programs_lists_what_there_is(kept: Callable) -> None:
    """A table with a head, one row a program, sizes in bytes, columns in line."""
    told = kept("programs")
    head, *rows = told.out.splitlines()
    assert head.split() == ["program", "revision", "bytes", "lines", "kept", "title", "tags"]
    assert [row.split()[0] for row in rows] == ["LIGHT", "TIDE"]
    end = head.index("bytes") + len("bytes")
    assert [row[:end].split()[-1] for row in rows] == ["30", "609"]
    assert "2 programs in " in told.err


def test_programs_in_json(kept: Callable) -> None:
    """Every documented key, with times that any tool can read."""
    light, tide = kept("programs", "--json").json
    assert set(light) == set(tide) == PROGRAM_KEYS
    assert (light["revisions"], light["latest"], light["lines"]) == (2, 2, 3)
    assert datetime.fromisoformat(tide["kept_at"]).tzinfo is not None


def test_rescues_are_listed(kept: Callable) -> None:
    """What was kept before an overwrite has a list of its own."""
    (rescue,) = kept("programs", "--rescues", "--json").json
    assert set(rescue) == ITEM_KEYS
    assert (rescue["spec"], rescue["from"], rescue["captures"]) == ("rescue@1", "rescue", 3)
    assert kept("programs", "--rescues").out.splitlines()[1].startswith("rescue@1")


def test_shipped_programs_are_listed(hostlink: Callable) -> None:
    """The examples that come with hostlink, also as JSON and by tag; no archive is needed."""
    everything = hostlink("programs", "--shipped", "--json").json
    assert len(everything) >= 15
    assert set(everything[0]) == {"name", "title", "notes", "tags", "runs_on"}
    told = hostlink("programs", "--shipped", "--tag", "harbour")
    assert "TIDE" in told.out
    assert len(told.out.splitlines()) < len(everything)


def test_a_new_user_sees_where_the_archive_will_be(hostlink: Callable) -> None:
    """With nothing kept yet the answer is no error and names the next step."""
    told = hostlink("programs")
    assert (told.status, told.out) == (0, "")
    assert "0 programs in" in told.err
    assert "`hostlink load` and `hostlink save` put programs there." in told.err


def test_retired_programs_leave_the_list_and_come_back(kept: Callable) -> None:
    """retire hides, return shows again; nothing is deleted, and an empty list says why."""
    assert kept("retire", "light").status == 0
    assert [each["name"] for each in kept("programs", "--json").json] == ["TIDE"]
    assert [each["name"] for each in kept("programs", "--retired", "--json").json] == ["LIGHT"]
    assert kept("show", "LIGHT@1").out == '10 PRINT "ON"\n20 GOTO 10\n'
    assert kept("retire", "tide").status == 0
    assert "It holds 2 programs in all, with the retired ones." in kept("programs").err
    assert kept("return", "light").status == 0
    assert [each["name"] for each in kept("programs", "--json").json] == ["LIGHT"]


def test_find_shows_the_line(kept: Callable) -> None:
    """Words are found in listings, rescues too; the line that holds them is shown."""
    told = kept("find", "typed", "board")
    assert told.out.splitlines()[1].split() == [
        *("rescue@1", "25"),
        *("10", "REM", "»TYPED«", "ON", "THE", "»BOARD«"),
    ]
    (found,) = kept("find", "off", "--json").json
    assert set(found) == ITEM_KEYS | {"line", "title", "marks", "words"}
    assert (found["spec"], found["line"]) == ("LIGHT@2", '10 PRINT "OFF"')


def test_find_says_when_there_may_be_more(kept: Callable) -> None:
    """A cut list is told as cut, with the option that shows the rest."""
    told = kept("find", "PRINT", "--limit", "1")
    assert "1 result; there may be more, --limit 2 shows them." in told.err
    assert "may be more" not in kept("find", "PRINT").err


def test_find_without_a_hit_is_no_error(kept: Callable) -> None:
    """Nothing found is an answer."""
    told = kept("find", "zebra")
    assert (told.status, told.out, told.err) == (0, "", "0 results.\n")


@pytest.mark.parametrize("question", ['"', "AND", "*", "NEAR(", "a:b", "-"])
def test_find_takes_any_text(question: str, kept: Callable) -> None:
    """What a search language would take for an operator is only text here."""
    assert kept("find", "--", question).status == 0


def test_show_prints_and_writes_exact_bytes(hostlink: Callable, place: Path) -> None:
    """On stdout the text; with -o every byte as it was read, CR LF and all."""
    raw = b'\xef\xbb\xbf10 PRINT "A"\r\n20 END'
    (place / "odd.bas").write_bytes(raw)
    assert hostlink("load", "odd.bas").status == 0
    assert hostlink("show", "ODD").out == '10 PRINT "A"\n20 END\n'
    assert hostlink("show", "ODD", "-o", "copy.bas").status == 0
    assert (place / "copy.bas").read_bytes() == raw


def test_show_prints_a_listing_with_its_origin_as_json(kept: Callable) -> None:
    """The listing with where it came from."""
    shown = kept("show", "LIGHT@1", "--json").json
    assert set(shown) == {"listing", "name", "lines", "text", "from", "where"}
    assert (shown["listing"], shown["from"], shown["lines"]) == ("LIGHT@1", "file", 2)


def test_show_never_overwrites_unasked(kept: Callable, place: Path) -> None:
    """An existing file is left as it is, unless --yes."""
    (place / "mine.txt").write_text("mine", encoding="utf-8")
    told = kept("show", "LIGHT", "-o", "mine.txt")
    assert told.status == 1
    assert "It was not changed." in told.err
    assert (place / "mine.txt").read_text(encoding="utf-8") == "mine"
    assert kept("show", "LIGHT", "-o", "mine.txt", "--yes").status == 0
    assert "OFF" in (place / "mine.txt").read_text(encoding="utf-8")


def test_show_escapes_what_a_terminal_would_obey(hostlink: Callable, place: Path) -> None:
    """A listing with an escape sequence is shown, not obeyed."""
    (place / "bad.bas").write_bytes(b'10 PRINT "CLEARS THE SCREEN \x1b[2J"\n')
    assert hostlink("show", "bad.bas").out == '10 PRINT "CLEARS THE SCREEN \\x1b[2J"\n'


def test_history_tells_what_changed(kept: Callable) -> None:
    """Each revision with the lines added, removed and changed since the one before."""
    head, first, second = kept("history", "light").out.splitlines()
    assert head.split() == ["revision", "kept", "bytes", "lines", "change", "from", "note"]
    assert "first" in first
    assert "1 added, 1 changed" in second
    assert "file light.bas" in second
    one, two = kept("history", "light", "--json").json
    assert set(one) == ITEM_KEYS | {"note", "parent", "changes"}
    assert (one["parent"], one["changes"]) == (None, None)
    assert two["parent"] == "LIGHT@1"
    assert two["changes"] == {"added": 1, "removed": 0, "changed": 1}


def test_history_of_a_listing_with_other_line_ends(hostlink: Callable, place: Path) -> None:
    """A revision that differs in no line is not called a change of lines."""
    for raw in (b"10 END\n", b"10 END\r\n"):
        (place / "a.bas").write_bytes(raw)
        assert hostlink("load", "a.bas").status == 0
    assert "line ends only" in hostlink("history", "A").out


def test_equal_revisions_of_two_archives_show_no_change(hostlink: Callable, place: Path) -> None:
    """Two archives that kept the same change of a program, merged: the second changed nothing."""
    (place / "a.bas").write_bytes(b"10 END\n")
    assert hostlink("load", "a.bas").status == 0
    assert hostlink("archive", "export", "bag").status == 0
    assert hostlink("archive", "import", "bag", "--archive", "other.sqlite3").status == 0
    (place / "a.bas").write_bytes(b"20 END\n")
    assert hostlink("load", "a.bas").status == 0
    assert hostlink("load", "a.bas", "--archive", "other.sqlite3").status == 0
    assert hostlink("archive", "import", "other.sqlite3").status == 0
    last = hostlink("history", "A").out.splitlines()[-1]
    assert " none " in last and "line ends" not in last


@pytest.mark.parametrize("options", [(), ("--unified",), ("--json",)])
def test_compare_ends_with_1_where_listings_differ(
    options: tuple[str, ...], kept: Callable
) -> None:
    """A script can tell by the status; both ways round and in every form."""
    assert kept("compare", "LIGHT@1", "LIGHT@2", *options).status == 1
    assert kept("compare", "LIGHT@2", "LIGHT@1", *options).status == 1
    assert kept("compare", "LIGHT@2", "light.bas", *options).status == 0


def test_compare_marks_the_changed_characters(kept: Callable) -> None:
    """Line by line, in the order of the line numbers, with the differing characters marked."""
    assert kept("compare", "LIGHT@1", "LIGHT@2").out.splitlines() == [
        'changed   10 PRINT "ON"',
        "                     ^",
        '     to   10 PRINT "OFF"',
        "                     ^^",
        "added     30 END",
    ]


def test_compare_in_json_and_unified(kept: Callable) -> None:
    """For scripts: keys with lines; for other tools: a plain unified diff."""
    differs = kept("compare", "LIGHT@1", "LIGHT@2", "--json").json
    assert set(differs) == {"a", "b", "equal", "same_lines", "added", "removed", "changed"}
    assert differs["added"] == ["30 END"]
    assert differs["changed"][0]["stretches"] == [[11, 12, 11, 13]]
    diff = kept("compare", "LIGHT@1", "LIGHT@2", "--unified").out.splitlines()
    assert diff[:2] == ["--- LIGHT@1", "+++ LIGHT@2"]
    assert '-10 PRINT "ON"' in diff


def test_compare_exact_counts_what_the_board_rewrites(hostlink: Callable, place: Path) -> None:
    """Blanks after the number: the same program for the board, not the same text."""
    (place / "a.bas").write_text("10 END\n", encoding="utf-8")
    (place / "b.bas").write_text("10   END\n", encoding="utf-8")
    assert hostlink("compare", "a.bas", "b.bas").status == 0
    assert hostlink("compare", "a.bas", "b.bas", "--exact").status == 1


def test_notes_and_tags_are_shown_and_found(kept: Callable) -> None:
    """Notes and tags are shown and found; the last note counts."""
    assert kept("note", "LIGHT", "for the window").status == 0
    assert kept("note", "LIGHT", "for the door").status == 0
    assert kept("note", "LIGHT@1", "the first try").status == 0
    assert "LIGHT has the tags evening, lamp." in kept("tag", "LIGHT", "lamp", "evening").err
    assert "LIGHT has the tag lamp." in kept("tag", "LIGHT", "evening", "--off").err
    light = kept("programs", "--tag", "lamp", "--json").json[0]
    assert (light["name"], light["note"], light["tags"]) == ("LIGHT", "for the door", ["lamp"])
    assert "the first try" in kept("history", "LIGHT").out.splitlines()[1]
    assert [each["program"] for each in kept("find", "door", "--json").json] == ["LIGHT"]
    assert kept("tag", "LIGHT", "two words").status == 1
    assert kept("note", "rescue@1", "x").status == 1


def test_review_shows_the_ledger(hostlink: Callable, listing: Callable) -> None:
    """Cost and running total beside each line, the verdict below, status by the errors."""
    told = hostlink("review", listing("10 PRINT 1", "20 END"))
    assert told.status == 0
    # Practice profile: 2 bytes of number, the text, 1 byte of end.
    assert told.out.splitlines() == [
        "cost  so far  line",
        "  10      10  10 PRINT 1",
        "   6      16  20 END",
        "",
        "16 of 999 bytes for profile practice: fits; 0 errors, 0 warnings.",
    ]


def test_review_in_json_with_findings(hostlink: Callable, listing: Callable) -> None:
    """Findings with their rule, place and advice; status 1 where there is an error."""
    told = hostlink("review", listing("10 GOTO 50", "X"), "--json")
    assert told.status == 1
    answer = told.json
    assert set(answer) == {
        *("listing", "profile", "size_bytes", "limit_bytes", "over_bytes", "fits", "ledger"),
        *("findings", "silenced"),
    }
    rules = {finding["rule"]: finding for finding in answer["findings"]}
    assert set(rules) == {"missing-jump-target", "no-line-number"}
    assert rules["missing-jump-target"]["number"] == 10
    assert set(rules["no-line-number"]) == {
        *("rule", "severity", "number", "row", "column", "message", "advice"),
    }
    assert set(answer["ledger"][0]) == {"number", "text", "cost", "so_far", "standing"}


def test_review_of_what_does_not_fit(hostlink: Callable, listing: Callable) -> None:
    """Too large is an error in words: how many bytes over."""
    told = hostlink("review", listing(*(f"{n} REM {'X' * 60}" for n in range(10, 200, 10))))
    assert told.status == 1
    assert "bytes over" in told.out.splitlines()[-1]


def test_mend_prints_the_listing_and_tells_each_repair(hostlink: Callable) -> None:
    """The mended listing is data, the repairs are talk, row by row."""
    told = hostlink("mend", "-", stdin="> 10 PRINT “A”\n> 20 END\n".encode())
    assert told.out == '10 PRINT "A"\n20 END\n'
    assert "row 1: " in told.err
    assert "standard input: " in told.err
    answer = hostlink("mend", "-", "--json", stdin="10 PRINT “A”\n".encode()).json
    assert set(answer) == {"listing", "text", "mends", "doubts"}
    assert set(answer["mends"][0]) == {"row", "kind", "before", "after", "sentence"}


def test_mend_to_a_file(hostlink: Callable, place: Path) -> None:
    """-o writes the file and says so; stdout stays empty."""
    told = hostlink("mend", "-", "-o", "new.bas", stdin="10 PRINT “A”\n".encode())
    assert (told.status, told.out) == (0, "")
    assert (place / "new.bas").read_text(encoding="utf-8") == '10 PRINT "A"\n'
    assert "written to new.bas" in told.err


def test_a_sound_archive_is_proven_with_counts_in_words(kept: Callable) -> None:
    """A sound archive: clean, with counts in words, status 0."""
    told = kept("archive", "prove")
    assert told.status == 0
    assert "clean (2 programs, 3 revisions, 1 rescue, " in told.out
    answer = kept("archive", "prove", "--json").json
    assert set(answer) == {"archive", "accepted", "clean", "findings", "skipped", "counts"}
    assert answer["clean"] is True
    assert answer["counts"]["revisions"] == 3


def test_archive_prove_finds_a_changed_listing(kept: Callable, place: Path) -> None:
    """A listing that was changed behind hostlink's back is a finding, and the status says so."""
    import sqlite3

    db = sqlite3.connect(place / "archive.sqlite3")
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    db.execute("UPDATE listings SET text = replace(text, 'FERRY', 'FAIRY')")
    db.commit()
    db.close()
    told = kept("archive", "prove")
    assert told.status == 1
    assert "finding" in told.out.splitlines()[-1]


def test_archive_prove_rebuilds_what_can_be_made_anew(kept: Callable, place: Path) -> None:
    """A broken search index is found, the option named, and with it all is well again; a listing
    that is damaged too stays found, and the words say where to look for it."""
    import sqlite3

    def change(*statements: str) -> None:
        db = sqlite3.connect(place / "archive.sqlite3")
        for statement in statements:
            db.execute(statement)
        db.commit()
        db.close()

    kept("programs")
    change("DELETE FROM listing_words_data")
    assert kept("find", "ferry").status == 1
    told = kept("archive", "prove")
    assert (told.status, "prove --rebuild" in told.err) == (1, True)
    assert "What cannot" not in told.err
    told = kept("archive", "prove", "--rebuild")
    assert (told.status, ": clean (" in told.out) == (0, True)
    assert "rebuilt" in told.err
    assert kept("find", "ferry").out
    change("DROP TRIGGER listings_never_change", "UPDATE listings SET text = 'x' WHERE id = 1")
    told = kept("archive", "prove", "--rebuild", "--json")
    assert told.status == 1
    assert "Importing a duplicate or an export with `hostlink archive import` heals" in told.err
    assert all("Listing 1" in finding for finding in told.json["findings"])


def test_a_duplicate_is_an_archive_of_its_own(kept: Callable, place: Path) -> None:
    """The duplicate is an archive of its own with everything in it."""
    assert kept("archive", "duplicate", "spare.sqlite3").status == 0
    listed = kept("programs", "--archive", "spare.sqlite3", "--json").json
    assert [each["name"] for each in listed] == ["LIGHT", "TIDE"]
    told = kept("archive", "duplicate", "spare.sqlite3")
    assert told.status == 1
    assert "already exists" in told.err
    assert (place / "spare.sqlite3").exists()


def test_boards_tells_what_each_last_held(kept: Callable) -> None:
    """A board is listed by its label with what it was last known to hold; also as JSON."""
    assert "is Red." in kept("boards", "--label", "Red").err
    told = kept("boards")
    assert told.status == 0
    assert "Red" in told.out
    assert "TIDE@1" in told.out
    rows = json.loads(kept("boards", "--json").out)
    (row,) = [row for row in rows if row["label"] == "Red"]
    assert {"label", "port", "chip", "recognised_by", "profile", "holds"} <= set(row)
    assert (row["holds"], row["profile"]) == ("TIDE@1", "practice")
    assert "is without a label; it was Red." in kept("boards", "--label", "").err


@pytest.mark.parametrize(
    "words",
    [
        ("show", "lihgt"),
        ("history", "lihgt"),
        ("note", "lihgt", "x"),
        ("tag", "lihgt", "x"),
        ("retire", "lihgt"),
        ("return", "lihgt"),
        ("load", "lihgt"),
    ],
    ids=lambda words: words[0],
)
def test_a_mistyped_program_gets_the_nearest(words: tuple[str, ...], kept: Callable) -> None:
    """Every command that takes a program names what was probably meant."""
    told = kept(*words)
    assert told.status == 1
    assert "LIGHT" in told.err


def test_a_revision_that_is_not_there(kept: Callable) -> None:
    """How far the revisions go is part of the answer."""
    told = kept("show", "LIGHT@9")
    assert told.status == 1
    assert "LIGHT has no revision 9." in told.err
    assert "go up to 2" in told.err
    assert "names no revision" in kept("show", "LIGHT@x").err
    assert "no rescue 7" in kept("show", "rescue@7").err


def test_what_speaks_against_a_listing_is_shown(hostlink: Callable, archive: Archive) -> None:
    """In the history, with the rescues and the backups, in text and in JSON."""
    board = archive.board_seen(serial="practice:red")
    text = "10 PRINT 1\n"
    content = Content(text.encode(), text, text, "practice", "latin-1", 11)
    why = "the board reports 818 bytes free, by its listing it should be 844"
    origin = Origin("board", "practice://red", board.uuid, "mine", unproven=why)
    archive.keep("SHORT", content, origin)
    archive.rescue(content, dataclasses.replace(origin, kind="rescue", after_restart=True))
    items = [BackupItem("memory", content, 2, unproven=why), BackupItem("stored", content, 2, "A")]
    archive.keep_backup(board.uuid, items, profile="practice")
    assert f"board practice://red (not proven: {why})" in hostlink("history", "SHORT").out
    marked = f"after a restart, not proven: {why}"
    assert marked in hostlink("programs", "--rescues").out
    assert "memory (not proven), A" in hostlink("backup", "--list").out
    (revision,) = hostlink("history", "SHORT", "--json").json
    assert (revision["unproven"], revision["note"]) == (why, "mine")
    (backup,) = hostlink("backup", "--list", "--json").json
    assert [item["unproven"] for item in backup["items"]] == [why, None]


@pytest.fixture
def laptop(hostlink: Callable, place: Path) -> str:
    """Another archive, with a program that is the same here, one that is not, and a new one."""
    for name, text in (("sea", "10 END"), ("tide", "10 REM")):
        (place / f"{name}.bas").write_text(f"{text}\n")
        for archive in ("archive.sqlite3", "laptop.sqlite3"):
            assert hostlink("keep", f"{name}.bas", "--archive", archive).status == 0
    (place / "tide.bas").write_text("10 REM\n20 END\n")
    (place / "moon.bas").write_text("10 PRINT 1\n")
    assert hostlink("keep", "tide.bas", "moon.bas", "--archive", "laptop.sqlite3").status == 0
    return "laptop.sqlite3"


def test_an_import_tells_first_what_it_would_do(hostlink: Callable, laptop: str) -> None:
    """What is new, different and the same; nothing is taken in."""
    told = hostlink("archive", "import", laptop, "--preview")
    assert told.status == 0
    assert told.err.splitlines()[:3] == [
        "New here: MOON (1 revision).",
        "Different: TIDE (2 revisions, 1 with a listing not here).",
        "The same text: SEA (1 revision).",
    ]
    assert "Imported" not in told.err
    (moon, *_) = hostlink("archive", "import", laptop, "--preview", "--json").json["programs"]
    assert moon == {"name": "MOON", "is_new": True, "new": 1, "same": 0, "other": 1}
    assert [each["name"] for each in hostlink("programs", "--json").json] == ["SEA", "TIDE"]


@pytest.mark.parametrize(("answer", "status", "count"), [("y\n", 0, 3), ("\n", 1, 2), ("", 130, 2)])
def test_a_person_is_asked_before_an_import(
    answer: str,
    status: int,
    count: int,
    hostlink: Callable,
    laptop: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Yes takes it in; Return alone, and walking away, do not. Nothing new is not asked about."""
    typed = io.StringIO(answer)
    typed.isatty = lambda: True  # type: ignore[method-assign]
    monkeypatch.setattr(sys, "stdin", typed)
    assert run_line(["archive", "import", laptop]) == status
    assert ("Imported" in capsys.readouterr().err) == (status == 0)
    assert len(hostlink("programs", "--json").json) == count
    assert hostlink("archive", "import", laptop).status == 0
    typed = io.StringIO()
    typed.isatty = lambda: True  # type: ignore[method-assign]
    monkeypatch.setattr(sys, "stdin", typed)
    assert run_line(["archive", "import", laptop]) == 0
    assert "nothing new" in capsys.readouterr().err


def test_the_history_of_two_computers_tells_what_each_changed(
    hostlink: Callable, place: Path
) -> None:
    """A revision is compared with the one that it was made from, which is named unless it stands
    just above."""
    other = ("--archive", "other.sqlite3")
    (place / "a.bas").write_text("10 END\n")
    assert hostlink("keep", "a.bas").status == 0
    assert hostlink("archive", "import", "archive.sqlite3", *other).status == 0
    (place / "a.bas").write_text("10 PRINT 1\n20 PRINT 2\n")
    assert hostlink("keep", "a.bas").status == 0
    (place / "a.bas").write_text("10 END\n30 REM\n")
    assert hostlink("keep", "a.bas", *other).status == 0
    assert hostlink("archive", "import", "other.sqlite3").status == 0
    rows = hostlink("history", "A").out.splitlines()
    assert "1 added, 1 changed  " in rows[2]
    assert "1 added since A@1  " in rows[3]


def test_a_shipped_program_kept_from_its_file_is_the_shipped_one(
    hostlink: Callable, place: Path
) -> None:
    """One laptop loaded HAIL, another kept the whole folder: merged, it is there once."""
    shutil.copy(library_folder() / "hail.bas", place / "hail.bas")
    assert hostlink("keep", "hail.bas", "--archive", "other.sqlite3").status == 0
    assert hostlink("load", "shipped:hail").status == 0
    assert hostlink("archive", "import", "other.sqlite3").status == 0
    assert [each["name"] for each in hostlink("programs", "--json").json] == ["HAIL"]


@pytest.mark.usefixtures("laptop")
def test_a_long_list_tells_how_many_there_are_and_how_to_see_fewer(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """More rows than a screen or two end with what narrows them; a short list does not."""
    assert "list fewer" not in hostlink("programs").err
    monkeypatch.setattr("hostlink.cli.commands.programs._MOST_AT_A_GLANCE", 1)
    told = hostlink("programs").err
    assert "2 programs in" in told and "`hostlink find WORDS` and --tag TAG list fewer." in told


def test_an_import_names_a_dozen_programs_and_counts_the_others(
    hostlink: Callable, place: Path
) -> None:
    """In the order in which people count: TIDE2 before TIDE10."""
    folder = place / "many"
    folder.mkdir()
    for number in range(1, 15):
        (folder / f"tide{number}.bas").write_text(f"10 PRINT {number}\n")
    assert hostlink("keep", "many", "--archive", "other.sqlite3").status == 0
    (row, *_) = hostlink("archive", "import", "other.sqlite3", "--preview").err.splitlines()
    assert row.startswith("New here: TIDE1 (1 revision), TIDE2 (1 revision), TIDE3")
    assert row.endswith("TIDE12 (1 revision) and 2 more.")


@pytest.mark.parametrize(
    "line", [("keep", "hail"), ("keep", "shipped:hail"), ("show", "hail", "--origins")]
)
def test_a_shipped_program_is_kept_by_what_is_advised(
    hostlink: Callable, line: tuple[str, ...]
) -> None:
    """It has no file to take the name from; the command that is advised works as it stands."""
    told = hostlink(*line)
    assert told.status == 1
    (advised,) = re.findall("`hostlink (.*)`", told.err)
    assert hostlink(*advised.split()).status == 0
    assert hostlink("show", "hail", "--origins").out.count("HAIL@1") > 1


def test_what_an_import_brings_of_each_program_is_all_that_it_brings(
    hostlink: Callable, laptop: str
) -> None:
    """Also the revisions of a program that is the same here, kept once more there."""
    told = hostlink("archive", "import", laptop, "--preview").err
    total = int(re.findall(r"would bring .*?(\d+) revisions?", told)[0])
    named, _, _ = told.partition("would bring")
    assert sum(int(each) for each in re.findall(r"\((\d+) revision", named)) == total
