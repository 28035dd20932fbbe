"""Nothing of a board, a file or the archive reaches the terminal unescaped, in any command.

Every command that shows such text is run over the same hostile text: terminal control sequences
(ECMA-48: CSI, OSC, the C1 set; DEL, BEL, NUL), markup, characters that turn the direction of
writing (Unicode Standard Annex 9), line and paragraph separators, bytes that are no UTF-8, and
rows of hundreds of characters. All of it is run at pipes and at real terminals, where live lines
and the console draw. A row of the tables below counts only where the hostile text was
there to be seen: it must stand, escaped, in what the command showed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from hostlink.archive import Archive, BackupItem, Content, Origin
from hostlink.archive.database.checksums import checksum
from hostlink.archive.database.tables import TABLES, Table
from hostlink.archive.exchange.bags import write_bag
from hostlink.cli.entry import COMMANDS, run_line
from hostlink.practice.machine import Machine
from hostlink.practice.settings import BoardSettings
from hostlink.words import fold

CONTROL = "\x1b[2J\x1b]0;owned\x07\x9b31m\x00\x7f\x08\r\u202eback\u2066\u2028\u2029\u200b\ufeff"
MARKUP = "[red]A[5][/red][/]"
FORGED = "\nFORGED"  # at the begin of a row, as if we had said it
HOSTILE = f"{CONTROL}{FORGED}{MARKUP}{'W' * 600}"
NAME = f"{CONTROL}{FORGED}{MARKUP}".replace("\0", "").replace("/", "")  # what a file system takes
ONE_ROW = CONTROL.replace("\r", "")
LISTING = f'10 PRINT "{CONTROL}{MARKUP}"\n20 REM {CONTROL}\n30 GOTO 10\n'
# The beginning of a control sequence, in text and in JSON. Either of two, since click takes the one
# that clears a screen out of what it says of an option.
ESCAPED = r"\\(x|u00)1b(\[2J|\]0;)"
INVISIBLE = r"\\u202e|U\+202E"  # of the characters that turn the direction of writing

Words = tuple[str, ...]


def unescaped(text: str) -> list[str]:
    """Characters that do something to a terminal, or to the order of what is read."""
    return sorted({character for character in text if not character.isprintable()} - {"\n"})


def _at_terminals(words: Words, stdin: bytes) -> tuple[int, str, str]:
    from terminal import terminals, without_own  # of POSIX systems

    with terminals(stdin) as ends:
        status = run_line(list(words))
    out, err = (without_own(end.got) for end in ends)
    return status, out, err


@pytest.fixture(params=["pipe", "terminal"] if os.name == "posix" else ["pipe"])
def where(request: pytest.FixtureRequest) -> str:
    """Where commands are run: at pipes, and at real terminals."""
    return str(request.param)


@pytest.fixture
def shown(hostlink: Callable, where: str) -> Callable[..., str]:
    """Runs a command and looks at all that it shows: shown(*words, status=0, sees=ESCAPED).

    status: its exit status; None for any but 0. sees: what must be found there, so that the row is
    known to have shown the hostile text.
    """

    def run(*words: str, status: int | None = 0, sees: str = ESCAPED, stdin: bytes = b"") -> str:
        if where == "terminal":
            ended, out, err = _at_terminals(words, stdin)
        else:
            told = hostlink(*words, stdin=stdin)
            ended, out, err = told.status, told.out, told.err
        assert "Traceback" not in err
        assert unescaped(out) == [], words
        assert unescaped(err) == [], words
        assert not re.search(r"^FORGED", out + err, re.MULTILINE), (words, out, err)
        assert ended == status or (status is None and ended), (words, out, err)
        text = out + err
        assert re.search(sees, text, re.IGNORECASE), (words, text)
        if "--json" in words:
            json.loads(out)
        return text

    return run


def content(text: str) -> Content:
    raw = text.encode("utf-8", "surrogatepass")
    return Content(raw, text, text, "practice", "utf-8", len(text))


def make_whole(db: sqlite3.Connection, table: Table) -> None:
    """Give the rows of a table right checksums, as a tool that wants to be believed would."""
    for row in db.execute(f"SELECT {', '.join(table.summed)} FROM {table.name}").fetchall():
        db.execute(
            f"UPDATE {table.name} SET checksum = ? WHERE {table.key} = ?",
            (checksum(table, row), row[0]),
        )


@pytest.fixture
def kept(archive: Archive, place: Path) -> Iterator[Archive]:
    """An archive full of hostile text: what its own rules let in, and what another tool put in."""
    board = archive.board_seen(location=f"practice://class{CONTROL}")
    origin = Origin("board", HOSTILE, board.uuid, note=HOSTILE)
    archive.keep("TIDE", content(LISTING), origin, title=HOSTILE)
    archive.keep("TIDE", content(f"{LISTING}40 REM MORE {CONTROL}\n"), origin)
    archive.keep("[red]A[5]", content(f"10 REM {MARKUP}\n"), Origin("file", HOSTILE))
    archive.note("TIDE", HOSTILE)
    archive.note("TIDE@1", HOSTILE)
    archive.rescue(content(f"10 REM RESCUED {CONTROL}{MARKUP}\n"), origin, program="TIDE")
    archive.set_host_copy(board.uuid, content(LISTING), proven=True)
    image = archive.keep_image(b"\x0c\x94\x40\x00" * 40, part=HOSTILE, name=HOSTILE)
    record = archive.begin_write(
        board.uuid, image, previous=None, role="computer", part=f"ATmega328P{CONTROL}"
    )
    archive.end_write(record, "done", banner=HOSTILE)
    items = [
        BackupItem("memory", content(LISTING), 2),
        BackupItem("stored", content(LISTING), 2, "ONE"),
    ]
    archive.keep_backup(
        board.uuid, items, profile=HOSTILE, where=HOSTILE, banner=HOSTILE, note=HOSTILE
    )
    with archive.event("load", board_uuid=board.uuid, program="TIDE") as job:
        job.detail["listing"] = HOSTILE
    other = sqlite3.connect(place / "archive.sqlite3")
    rule = "SELECT sql FROM sqlite_master WHERE name = 'programs_never_change'"
    (rule,) = other.execute(rule).fetchone()
    other.execute("DROP TRIGGER programs_never_change")
    other.execute("UPDATE boards SET label = ?, label_key = 'x'", (f"Red{HOSTILE}",))
    other.execute(
        "UPDATE programs SET name = ?, name_key = ? WHERE name LIKE '[red]%'", (NAME, fold(NAME))
    )
    other.execute("INSERT INTO tags (program_id, tag, tag_key) VALUES (1, ?, 'k')", (HOSTILE,))
    for name in ("boards", "programs", "tags"):
        make_whole(other, TABLES[name])
    other.execute(rule)
    other.commit()
    other.close()
    yield archive


# Commands over that archive, each with its exit status. Status 1: listings differ, or a review has
# errors, or there is no check code for such a character.
READING: list[tuple[Words, int]] = [
    (("programs",), 0),
    (("programs", "--rescues"), 0),
    (("programs", "--tag", "k"), 0),
    (("find", "print"), 0),
    (("find", "rescued"), 0),
    (("find", "owned"), 0),
    (("find", "--size", "1-"), 0),
    (("show", "TIDE"), 0),
    (("show", "TIDE@1"), 0),
    (("show", "rescue@1"), 0),
    (("history", "TIDE"), 0),
    (("history", NAME), 0),
    (("compare", "TIDE@1", "TIDE@2"), 1),
    (("compare", "TIDE", "rescue@1"), 1),
    (("review", "TIDE"), 1),
    (("review", "rescue@1"), 1),
    (("backup", "--list"), 0),
    (("boards",), 0),
    (("firmware", "history"), 0),
]
CHANGING: list[tuple[Words, int]] = [
    (("tag", NAME, "sea"), 0),
    (("retire", NAME), 0),
    (("programs", "--retired"), 0),
    (("return", NAME), 0),
    (("mend", "TIDE"), 0),
    (("renumber", "TIDE"), 0),
    (("shrink", "TIDE"), 0),
    (("keep", "TIDE@1", "--as", NAME), 1),  # no new program may be called so
]


@pytest.mark.one_in(8)
@pytest.mark.parametrize(("words", "status"), READING, ids=lambda each: str(each))
@pytest.mark.parametrize("json_too", [False, True])
@pytest.mark.usefixtures("kept")
def test_what_the_archive_holds_is_shown_and_never_obeyed(
    shown: Callable[..., str], words: Words, status: int, json_too: bool
) -> None:
    """Names, titles, notes, tags, labels, places, listings, banners, events, in text and JSON."""
    text = shown(*words, *(["--json"] if json_too else []), status=status)
    if words[0] in ("show", "programs"):
        assert "[red]A[5]" in text  # markup is text like any other


@pytest.mark.usefixtures("kept")
def test_what_changes_or_writes_says_hostile_words_escaped(shown: Callable[..., str]) -> None:
    """Mending, renumbering, tags, retiring, copies; in this order, over one archive."""
    for words, status in CHANGING:
        shown(*words, status=status)


@pytest.mark.one_in(2)
@pytest.mark.usefixtures("kept")
@pytest.mark.parametrize("json_too", [False, True])
def test_jobs_on_several_boards_say_their_labels_escaped(
    shown: Callable[..., str], place: Path, json_too: bool
) -> None:
    """The labels of an imported archive, in what is said meanwhile and in the closing table."""
    ports = ("--port", "practice://one?time=virtual", "--port", "practice://two?time=virtual")
    with Archive.open(place / "archive.sqlite3") as archive:
        boards = [archive.board_seen(serial=f"practice:{name}").uuid for name in ("one", "two")]
    other = sqlite3.connect(place / "archive.sqlite3")
    for at, board in enumerate(boards):
        labels = (f"{at}{HOSTILE}", fold(f"{at}{HOSTILE}"), board)
        other.execute("UPDATE boards SET label = ?, label_key = ? WHERE uuid = ?", labels)
    make_whole(other, TABLES["boards"])
    other.commit()
    other.close()
    also = ["--json"] if json_too else []
    shown("load", "hail", *ports, *also)
    shown("load", "shipped:tide", *ports, *also)
    shown("save", *ports, *also)


@pytest.mark.usefixtures("kept")
def test_what_a_proof_finds_is_named_escaped(shown: Callable[..., str], place: Path) -> None:
    """A damaged listing is found, and the program that has it is named."""
    other = sqlite3.connect(place / "archive.sqlite3")
    other.execute("DROP TRIGGER listings_never_change")
    named = "(SELECT listing_id FROM revisions JOIN programs ON programs.id = program_id"
    other.execute(
        f"UPDATE listings SET text = 'x' WHERE id = {named} WHERE name_key = ?)", (fold(NAME),)
    )
    other.commit()
    other.close()
    shown("archive", "prove", status=1)


# Commands with a name that nothing has, in the place of {}.
MISSING: list[Words] = [
    ("show", "{}"),
    ("show", "TIDE@{}"),
    ("load", "{}"),
    ("review", "{}"),
    ("try", "{}"),
    ("runs", "{}"),
    ("mend", "{}"),
    ("compare", "{}", "{}"),
    ("history", "{}"),
    ("note", "{}", "{}"),
    ("tag", "{}", "{}"),
    ("retire", "{}"),
    ("return", "{}"),
    ("find", "x", "--board", "{}"),
    ("find", "x", "--size", "{}"),
    ("find", "--{}"),
    ("{}",),
    ("together", "{}"),
    ("class", "{}"),
    ("keep", "{}"),
    ("give", "{}", "-o", "given"),
    ("sheet", "{}", "-o", "{}"),
    ("booklet", "{}", "-o", "{}"),
    ("site", "--tag", "{}", "-o", "made"),
    ("site", "--find", "x{}", "-o", "made"),
    ("renumber", "{}", "-o", "{}"),
    ("shrink", "{}"),
    ("adapt", "{}"),
    ("adapt", "tide", "--from", "{}"),
    ("adapt", "tide", "--profile", "capital", "--input", "{}"),
    ("review", "tide", "--profile", "{}"),
    ("review", "tide", "--profile", "{}.toml"),
    ("save", "X", "--port", "{}"),
    ("save", "X", "--baud", "{}"),
    ("stored", "--port", "practice://{}"),
    ("recall", "{}"),
    ("store", "{}"),
    ("putback", "{}"),
    ("run", "--input", "{}"),
    ("firmware", "review", "{}"),
    ("firmware", "write", "{}", "--role", "{}"),
    ("archive", "duplicate", "no/{}"),
    ("archive", "import", "{}"),
    ("archive", "{}"),
    ("card", "--profile", "{}", "-o", "{}"),
    ("save", "X", "--record", "no/{}"),
]


@pytest.mark.one_in(4)
@pytest.mark.parametrize(
    ("name", "sees"),
    [
        (f"a{NAME}", ESCAPED),
        ("b" * 300, "b{30}"),
        ("-\x1b]0;x\x07", r"\\(x|u00)1b"),
        ("\udcff\udcfe.bas", r"\\[ux]dcff|\?\?\.bas"),
    ],
    ids=["control", "long", "option", "no UTF-8"],
)
def test_names_in_errors_are_escaped(
    shown: Callable[..., str], archive: Archive, name: str, sees: str
) -> None:
    """Files, programs, revisions, boards, ports, profiles, archives that are not there."""
    archive.keep("TIDE", content("10 END\n"), Origin("file"))
    for words in MISSING:
        shown(*(word.replace("{}", name) for word in words), status=None, sees=sees)


# Commands over files with a hostile name, in the place of {}, each with its exit status.
FILES: list[tuple[Words, int]] = [
    (("load", "{}.bas", "--port", "practice://hostile?time=virtual"), 0),
    (("mend", "{}.bas", "-o", "out-{}.bas"), 0),
    (("mend", "{}.bas", "-o", "out-{}.bas"), 1),  # it is there now
    (("renumber", "{}.bas"), 0),
    (("shrink", "{}.bas"), 0),
    (("adapt", "{}.bas", "--from", "practice", "--profile", "token"), 0),
    (("keep", "{}.bas"), 0),
    (("review", "tide", "--profile", "{}.toml"), 1),
    (("firmware", "review", "{}.hex"), 1),
    (("compare", "{}.bas", "{}.bas"), 0),
    (("sheet", "{}.bas", "-o", "{}.html"), 0),
    (("card", "-o", "card-{}.html"), 0),
    (("class", "{}.toml"), 1),
    (("booklet", "{}.bas", "-o", "booklet-{}.html", "--title", "{}"), 0),
    (("site", "{}.bas", "-o", "site-{}", "--title", "{}"), 0),
    (("site", "tide", "-o", "site-{}"), 0),  # the page of the other stays, and is named
    (("give", "-o", "{}-given"), 0),
    (("archive", "duplicate", "{}.sqlite3"), 0),
    (("archive", "export", "{}-bag"), 0),
    (("archive", "import", "{}-bag"), 0),
    (("programs", "--archive", "{}.sqlite3"), 0),
    (("boards", "--label", "red{}", "--port", "practice://hostile"), 1),  # at most 40
]


@pytest.mark.skipif(os.name != "posix", reason="other systems have no such file names")
def test_files_with_hostile_names_are_named_escaped(shown: Callable[..., str], place: Path) -> None:
    """A file that is there, or is made, whose name is against us; in this order."""
    (place / f"{NAME}.bas").write_text('10 PRINT "OK"\n', encoding="utf-8")
    (place / f"{NAME}.toml").write_text("[board]\nname = 3\n", encoding="utf-8")
    (place / f"{NAME}.hex").write_text(":00000001FE\n", encoding="utf-8")
    for words, status in FILES:
        shown(*(word.replace("{}", NAME) for word in words), status=status)


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("show", "odd.bas"), 0),
        (("review", "odd.bas"), 1),
        (("keep", "odd.bas"), 1),
        (("load", "odd.bas"), 1),
        (("compare", "odd.bas", "tide"), 1),
    ],
    ids=lambda each: str(each),
)
def test_a_file_whose_text_is_hostile_is_shown_escaped(
    shown: Callable[..., str], place: Path, words: Words, status: int
) -> None:
    """Characters that turn the direction of writing or cannot be seen; ESC makes it no text."""
    (place / "odd.bas").write_text('10 PRINT "A\u202eB\u2066\u200b\u2028"\n', encoding="utf-8")
    shown(*words, status=status, sees=INVISIBLE)


def _bag(place: Path) -> Path:
    """An export of an archive that holds nothing against us, to be changed."""
    with Archive.open(place / "plain.sqlite3") as plain:
        plain.keep("TIDE", content("10 END\n"), Origin("file", "tide.bas"), title="Tide")
        plain.note("TIDE", "slow")
        with plain.records() as records:
            write_bag(records, place / "bag")
    return place / "bag"


def _make_valid(bag: Path) -> None:
    """Write the manifests anew, as somebody would who wants to be believed."""
    about = (bag / "bag-info.txt").read_text(encoding="utf-8")
    about = re.sub("Payload-Oxum: .*\n", "", about)  # the size, which may be left out
    (bag / "bag-info.txt").write_text(about, encoding="utf-8")
    for old in bag.glob("*manifest-*.txt"):
        old.unlink()
    rows = [
        f"{hashlib.sha256(each.read_bytes()).hexdigest()}  {each.relative_to(bag).as_posix()}\n"
        for each in sorted((bag / "data").rglob("*"))
        if each.is_file()
    ]
    (bag / "manifest-sha256.txt").write_text("".join(rows), encoding="utf-8")


# What is written where in a bag: a file, what stands there, what comes in its place, the status of
# the import, and whether it is shown at once.
BAGS: list[tuple[str, str, object, int, str]] = [
    ("data/records/programs.jsonl", '"TIDE"', HOSTILE[:30], 1, ESCAPED),
    ("data/records/programs.jsonl", '"Tide"', HOSTILE, 0, "1 program"),
    ("data/records/notes.jsonl", '"slow"', HOSTILE, 0, "1 note"),
    ("data/records/revisions.jsonl", '"tide.bas"', HOSTILE, 0, "1 revision"),
    ("data/listings.jsonl", '"programs/TIDE/TIDE-1.bas"', f"{CONTROL}", 1, "that the bag lacks"),
    ("data/listings.jsonl", '"utf-8"', CONTROL, 0, "1 revision"),
    ("data/archive.json", '"hostlink ', HOSTILE, 1, "archive.json"),
    ("bagit.txt", "1.0", CONTROL, 1, "bagit.txt"),
    ("manifest-sha256.txt", "data/README.txt", f"data/{NAME}", 1, ESCAPED),
    ("manifest-sha256.txt", "data/README.txt", f"../{NAME}", 1, ESCAPED),
    ("bag-info.txt", "An archive", CONTROL, 1, r"without a label: \\u202"),
]


@pytest.mark.one_in(4)
@pytest.mark.parametrize(
    ("file", "held", "instead", "status", "sees"), BAGS, ids=lambda each: str(each)[:24]
)
def test_what_an_import_brings_is_refused_or_shown_escaped(
    shown: Callable[..., str],
    place: Path,
    file: str,
    held: str,
    instead: str,
    status: int,
    sees: str,
) -> None:
    """A bag with hostile text at one place, its manifests made anew: names are refused; titles,
    notes and places are taken in, and whatever shows them then shows them escaped."""
    bag = _bag(place)
    text = (bag / file).read_text(encoding="utf-8")
    assert held in text
    new = json.dumps(instead, ensure_ascii=False) if held.endswith('"') else instead
    (bag / file).write_text(text.replace(held, new), encoding="utf-8")
    if not file.startswith("manifest"):
        _make_valid(bag)
    shown("archive", "import", "bag", status=status, sees=sees, stdin=b"y\n")
    if status == 0:
        for words in (("programs",), ("history", "TIDE"), ("show", "TIDE"), ("find", "tide")):
            shown(*words, sees="TIDE|10 END")


@pytest.mark.usefixtures("kept")
def test_an_archive_that_another_tool_wrote_is_refused_and_its_names_are_escaped(
    shown: Callable[..., str],
) -> None:
    """Names that nobody could have given here; nothing of it is taken in."""
    shown("archive", "duplicate", "copy.sqlite3", sees="copy.sqlite3")
    also = ("--archive", "new.sqlite3")
    shown("archive", "import", "copy.sqlite3", *also, status=1)
    shown("programs", *also, sees="0 programs")


# Keys of a profile that hold text, table by table.
TEXTS = {
    "board": ("name", "title", "about", "source"),
    "talk": ("prompt", "banner", "line_end", "erase", "ready"),
    "commands": ("list", "clear", "free_memory", "stored"),
    "evidence": ("talk.line_ms",),
}


@pytest.mark.parametrize(
    ("table", "key"), [(table, key) for table, keys in TEXTS.items() for key in keys]
)
def test_a_profile_with_hostile_text_is_refused_or_shown_escaped(
    shown: Callable[..., str], place: Path, table: str, key: str
) -> None:
    """What people read must be printable, and each fault is a row; what is typed to a board or
    heard from it may be any bytes, and is quoted."""
    text = json.dumps(f"{CONTROL}{FORGED}{MARKUP}".replace("\x7f", "").replace("\0", ""))
    board = "" if key == "name" else '[board]\nname = "odd"\n'
    (place / "odd.toml").write_text(
        f'{board}[{table}]\n"{key}" = {text}\n'.replace(f"{board}[board]", board or "[board]"),
        encoding="utf-8",
    )
    refused = shown("review", "shipped:tide", "--profile", "odd.toml", status=1)
    assert all(row.startswith(("hostlink: odd.toml, line", "  ")) for row in refused.splitlines())


@pytest.mark.parametrize(
    ("text", "status", "sees"),
    [
        (f"load {ONE_ROW}\n", None, ESCAPED),
        (f"{ONE_ROW}\n", None, ESCAPED),
        (f"# {ONE_ROW}\nstored\n", 0, "."),
        (f"note TIDE '{ONE_ROW}'\n", None, "no program"),
    ],
    ids=["name", "command", "remark", "option"],
)
def test_a_file_of_commands_with_hostile_text_is_shown_escaped(
    shown: Callable[..., str], place: Path, text: str, status: int | None, sees: str
) -> None:
    """Each line that goes wrong is quoted with its number."""
    (place / "evening.txt").write_text(text, encoding="utf-8")
    shown("together", "evening.txt", status=status, sees=sees)


@pytest.mark.parametrize("field", ["label", "tag", "note", "title", "name"])
def test_hostile_text_that_a_person_gives_is_refused_or_shown_escaped(
    shown: Callable[..., str], place: Path, archive: Archive, field: str
) -> None:
    """What can be typed is looked at like what comes from elsewhere."""
    archive.keep("TIDE", content("10 END\n"), Origin("file"))
    text = f"{CONTROL}{FORGED}".replace("\0", "")
    (place / "a.bas").write_text(f"10 REM {MARKUP}\n", encoding="utf-8")
    words, status = {
        "label": (("boards", "--label", text, "--port", "practice://one"), 1),
        "tag": (("tag", "TIDE", text), 1),
        "note": (("note", "TIDE", text), 0),
        "title": (("keep", "a.bas", "--title", text), None),
        "name": (("keep", "a.bas", "--as", text), 1),
    }[field]
    shown(*words, status=status, sees=ESCAPED if status else ".")
    shown("programs", sees="TIDE")


SPEAKS = b"\x1b[2J\x1b]0;x\x07\x9b31m[red]A[5][/red]\xe2\x80\xae"
# What the board of a row holds: a program that prints control sequences, one whose listing has a
# row that is no line, a plain one with stored programs of hostile names.
PRINTS = {10: b'PRINT "' + SPEAKS + b'"', 20: b"REM \xff\xfe\x00\x7f\x08" + b"W" * 400}
LISTS = {10: b"PRINT 1", 20: b"REM \r\n" + SPEAKS + b" IS NO LINE", 30: b"END"}
PLAIN = {10: b"PRINT 1"}
BOARD: list[tuple[Words, dict[int, bytes], int]] = [
    (("run",), PRINTS, 0),
    (("console",), PRINTS, 0),
    (("together", "-"), PRINTS, 0),
    (("save", "HELD"), LISTS, 4),
    (("load", "shipped:tide"), LISTS, 4),
    (("load", "shipped:tide", "--changes"), LISTS, 4),
    (("restart", "--yes"), LISTS, 4),
    (("meet",), LISTS, 0),
    (("survey",), LISTS, 0),
    (("store", "ONE"), LISTS, 4),
    (("stored",), PLAIN, 0),
    (("backup",), PLAIN, 1),
]


@pytest.mark.one_in(4)
@pytest.mark.parametrize(("words", "program", "status"), BOARD, ids=lambda each: str(each)[:30])
def test_what_a_board_sends_is_shown_and_never_obeyed(
    shown: Callable[..., str],
    machine_at_port: Callable[..., Machine],
    words: Words,
    program: dict[int, bytes],
    status: int,
) -> None:
    """Memory, slots, printed text and errors of a board that sends control sequences."""
    machine = machine_at_port(program=program)
    machine.basic.eeprom["\x1b[2J[red]"] = {10: b"REM"}
    typed = {"console": b"LIST\nRUN\nPRINT 1\nleave!\n", "together": b"run\nstored\n",
             "survey": b"\n"}  # fmt: skip
    # A backup names a program only, whose name has no colours.
    sees = "Not in it: .red." if words == ("backup",) else ESCAPED
    shown(*words, status=status, sees=sees, stdin=typed.get(words[0], b""))


@pytest.mark.one_in(5)
@pytest.mark.parametrize(
    ("prompt", "sees"),
    [
        (b"READY " + SPEAKS + b"? ", ESCAPED),
        (b"W" * 5000, "W{30}"),
        (b"\xff\x00\x1b[31m> ", "Nothing readable"),
    ],
    ids=["control", "long", "rubbish"],
)
@pytest.mark.parametrize("command", ["save", "load", "run", "stored", "console"])
def test_a_board_that_shows_a_hostile_prompt_is_told_escaped(
    shown: Callable[..., str],
    where: str,
    machine_at_port: Callable[..., Machine],
    command: str,
    prompt: bytes,
    sees: str,
) -> None:
    """A prompt that is not the profile's is quoted in the error, escaped and cut."""
    machine_at_port(BoardSettings(prompt=prompt))
    words = (command, "shipped:tide") if command == "load" else (command,)
    stays = command == "console" and where == "terminal"  # there it goes on, for a person to look
    text = shown(*words, status=0 if stays else 3, sees=sees, stdin=b"leave!\n")
    assert all(len(row) < 2000 for row in text.splitlines())


def test_every_command_is_looked_at() -> None:
    """A new command has to be added to a table above."""
    rows = [words for table in (READING, CHANGING, FILES, BOARD) for words, *_ in table]
    without = {"practice"}  # opens the app, whose own tests look at it
    assert {words[0] for words in (*rows, *MISSING)} >= set(COMMANDS) - without
