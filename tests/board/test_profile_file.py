"""Profile files: reading them, and the faults that reading names."""

from __future__ import annotations

import dataclasses
import os
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hostlink.board.profile.file import load_profile, shipped_profiles
from hostlink.board.profile.model import Commands, Profile, Talk
from hostlink.board.profile.schema import TABLES
from hostlink.board.profile.text import read_profile
from hostlink.board.profile.toml_file import LARGEST_FILE
from hostlink.cli.ways import in_commands
from hostlink.errors import ProfileError
from hostlink.listing.rules import Form, Language, Storage
from hostlink.pins import Pins

SMALL = '[board]\nname = "red"\n'


def faults(text: str) -> str:
    """What reading says is wrong, without the advice at the end."""
    with pytest.raises(ProfileError) as caught:
        read_profile(text, "red.toml")
    assert type(caught.value) is ProfileError
    assert in_commands(caught.value.advice)
    return caught.value.what


# --- reading ---------------------------------------------------------------------------------


def test_a_name_alone_makes_a_profile_of_careful_defaults() -> None:
    """Whatever a file leaves out has the value that the dataclasses give."""
    assert read_profile(SMALL, "red.toml") == Profile("red")


def test_bytes_are_read_from_readable_escapes() -> None:
    """Control characters are written as TOML escapes, up to byte 255."""
    text = SMALL + '[talk]\nline_end = "\\r\\n"\ninterrupt = "\\u0003"\nprompt = "\\u00ff> "\n'
    talk = read_profile(text, "red.toml").talk
    assert (talk.line_end, talk.interrupt, talk.prompt) == (b"\r\n", b"\x03", b"\xff> ")


def test_a_profile_that_version_0_1_0_wrote_means_the_same() -> None:
    """It has every key of that version; the one that was renamed since is read as the new one."""
    path = Path(__file__).parent / "files" / "profile-0.1.0.toml"
    profile = load_profile(path)
    rules = profile.rules
    parts = {
        "board": profile,
        "talk": profile.talk,
        "commands": profile.commands,
        "listing": rules.form,
        "storage": rules.storage,
        "language": rules.language,
    }
    kept = tomllib.loads(path.read_text(encoding="utf-8"))
    assert kept["commands"].pop("list_end") == profile.commands.answer_rows[0] == "END OF LIST"
    kinds = {(table, key.name): key.kind for table, keys in TABLES.items() for key in keys}
    for table, part in parts.items():
        assert kept[table]
        for name, value in kept[table].items():
            assert getattr(part, name) == kinds[table, name].read(value), name


def test_every_field_of_a_profile_has_a_key_and_every_key_a_field() -> None:
    """The tables of a file and the dataclasses cannot drift apart."""
    parts = {
        "talk": Talk,
        "commands": Commands,
        "listing": Form,
        "storage": Storage,
        "language": Language,
        "pins": Pins,
    }
    for table, part in parts.items():
        fields = {field.name for field in dataclasses.fields(part)} - {"pins"}
        assert fields == {key.name for key in TABLES[table]}, table
    own = {field.name for field in dataclasses.fields(Profile)}
    assert own - {key.name for key in TABLES["board"]} == {"talk", "commands", "rules", "evidence"}


def test_evidence_keeps_its_order_and_free_names() -> None:
    """How a value was found may be noted under any name, in the order of the file."""
    text = SMALL + '[evidence]\n"talk.baud" = "survey, 200 of 200"\nby = "the Tuesday class"\n'
    assert read_profile(text, "x").evidence == (
        ("talk.baud", "survey, 200 of 200"),
        ("by", "the Tuesday class"),
    )


def test_windows_line_ends_and_a_byte_order_mark_are_read(tmp_path: Path) -> None:
    """A file saved by a plain editor on Windows is a profile too."""
    path = tmp_path / "red.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_profile(path) == Profile("red")


# --- faults ----------------------------------------------------------------------------------


def test_every_fault_of_a_file_is_told_at_once_with_file_and_line() -> None:
    """One error names all faults, in the order of the file, each beginning with file and line."""
    text = (
        "baud = 9600\n"  # 1: outside its table
        "[bord]\n"  # 2: no such table
        "x = 1\n"
        "[talk]\n"
        "baud = true\n"  # 5: not a number
        "bauds = 1\n"  # 6: no such key
        "\n"
        "last_line = 4\n"  # 8: another table's key
        'reply_end = """\n\n"""\n'  # 9 to 11: right, and spans lines
        "line_ms = -1\n"  # 12
        "[board]\n"  # 13: has no name
        "[listing]\n"
        "first_line = 10\n"
        "last_line = 5\n"  # 16: below first_line
    )
    rows = faults(text).split("\n")
    assert [row.split(":")[0] for row in rows] == [
        f"red.toml, line {line}" for line in (1, 2, 5, 6, 8, 12, 13, 16)
    ]
    for row, part in zip(
        rows,
        (
            "belongs in [talk]",
            "did you mean [board]?",
            "talk.baud is true",
            "did you mean baud?",
            "belongs in [listing]",
            "from 0 to 600000",
            "must hold a name",
            "below first_line, 10",
        ),
        strict=True,
    ):
        assert part in row


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("[talk]\nbaud = \n", 2),
        ("[talk]\n\nbaud 9600\n", 3),
        ('[board]\nname = "red\n', 2),
        ("[board]\n[board]\n", 2),
        ("a = 1\na = 2\n", 2),
        ("[talk\n", 1),
        ("\n\n\nslots = [1,\n\n", 4),
        ("a = 2024-13-45\n", 1),
        ('a = "\\q"', 1),
        ("a = " + "9" * 4000 + "9" * 400, 1),
    ],
)
def test_a_syntax_error_names_its_line(text: str, line: int) -> None:
    """What is not TOML is one error with the line."""
    assert faults(text).startswith(f"red.toml, line {line}: ")


BAD_VALUES = [
    ("talk", "baud", "0"),
    ("talk", "baud", "-9600"),
    ("talk", "baud", "true"),
    ("talk", "baud", "9600.0"),
    ("talk", "baud", '"9600"'),
    ("talk", "echo", "1"),
    ("talk", "echo", '"true"'),
    ("talk", "line_ms", "-1"),
    ("talk", "line_ms", "inf"),
    ("talk", "line_ms", "nan"),
    ("talk", "line_ms", "true"),
    ("talk", "receive_buffer", "-1"),
    ("talk", "receive_buffer", "65536"),
    ("talk", "line_end", '""'),
    ("talk", "prompt", '"\\u0100"'),
    ("talk", "prompt", f'"{"+" * 41}"'),
    ("talk", "prompt", "[62, 32]"),
    ("talk", "line_done", '"later"'),
    ("talk", "flow", '"rts"'),
    ("talk", "banner", '"a\\u001b[2J"'),
    ("talk", "idle_chatter", '"tick"'),
    ("talk", "idle_chatter", '["tick", "tick"]'),
    ("talk", "idle_chatter", "[1]"),
    ("talk", "idle_chatter", '[""]'),
    ("commands", "free_memory", '"PRINT\\rROOM()"'),
    ("commands", "list", f'"{"L" * 41}"'),
    ("commands", "run", '"RÜN"'),
    ("commands", "store", '"STOW {slot}"'),
    ("commands", "store", '"STOW {name} {name}"'),
    ("commands", "recall", '"FETCH {slot} {name}"'),
    ("commands", "recall", '"FETCH {name} }"'),
    ("commands", "recall", '"FETCH { {name}"'),
    ("commands", "error_forms", '["{message}"]'),
    ("listing", "list_form", '"{number}"'),
    ("listing", "list_form", '"{text} {number}"'),
    ("listing", "list_form", '"{number} {text} {text}"'),
    ("listing", "list_form", '"{number}0 {text}"'),
    ("listing", "charset", '"utf-8"'),
    ("listing", "charset", '"cp1252"'),
    ("listing", "charset", '"cp037"'),
    ("listing", "charset", '"raw_unicode_escape"'),
    ("listing", "charset", '"unicode_escape"'),
    ("listing", "charset", '"zlib"'),
    ("listing", "charset", '"no-such-thing"'),
    ("listing", "charset", '"../latin-1"'),
    ("listing", "characters", "[]"),
    ("listing", "characters", "[32, 126]"),
    ("listing", "characters", "[[32, 256]]"),
    ("listing", "characters", "[[126, 32]]"),
    ("listing", "characters", "[[32, 90], [90, 126]]"),
    ("listing", "characters", "[[32, 126, 127]]"),
    ("listing", "characters", "[[true, 126]]"),
    ("listing", "case", '"lower"'),
    ("storage", "program_bytes", "-1"),
    ("storage", "number_bytes", "9"),
    ("storage", "kind", '"packed"'),
    ("storage", "tokens", '["PRINT"]'),
    ("storage", "tokens", "{ print = 1 }"),
    ("storage", "tokens", "{ PRINT = true }"),
    ("language", "statements", '["print"]'),
    ("language", "statements", '["PRINT", "PRINT"]'),
    ("language", "statements", '[" PRINT"]'),
    ("language", "statements", '[["PRINT"]]'),
    ("language", "separator", '"::"'),
    ("language", "separator", '"A"'),
    ("language", "quotes", '"A"'),
    ("language", "quotes", "\"''\""),
    ("language", "smallest_number", "-9223372036854775809"),
    ("board", "name", '"Red Board"'),
    ("board", "name", '""'),
    ("board", "title", "1979-05-27"),
    ("board", "about", '"\\u202e"'),
]


@pytest.mark.parametrize(("table", "key", "value"), BAD_VALUES)
def test_a_wrong_value_is_named_with_its_key_and_line(table: str, key: str, value: str) -> None:
    """Each value is checked for its type, its range and its form; the message names the key."""
    name = '[board]\n# a remark = here\nname = "red"\n' if table != "board" else "\n\n\n"
    said = faults(f"{name}[{table}]\n{key} = {value}\n")
    assert said.split("\n")[-1].startswith(f"red.toml, line 5: {table}.{key} is ")
    assert len(said) < 500
    assert all(row.isprintable() for row in said.split("\n"))


CLASHES = [
    ("[talk]\nline_done = 'prompt'\nprompt = ''", 4, "talk.prompt is empty"),
    ("[talk]\nline_done = 'echo'\necho = false", 4, "talk.echo is false"),
    ("[talk]\nafter_prompt_ms = 5\nline_done = 'prompt'", 4, "counts only with"),
    ("[talk]\nerase = 'x'", 4, "byte 120"),
    ('[talk]\nerase = "\\b"\nline_cancel = "\\b"', 4, "are the same"),
    ("[talk]\nflow = 'xon-xoff'\ninterrupt = \"\\u0013\"", 5, "byte 17 or 19"),
    ("[talk]\npage_prompt = 'more'", 4, "need each other"),
    ("[talk]\nidle_chatter = ['30 TICK']", 4, "begins with a number, as lines do"),
    ("[talk]\nidle_chatter = ['{number} TICK']", 4, "begins with a number, as lines do"),
    ("[talk]\npage_key = ' '", 4, "need each other"),
    ("[talk]\nbanner = '☀'", 4, "not in listing.charset"),
    ("[commands]\nslots = ['A']", 4, "neither commands.store nor recall"),
    ("[commands]\nerror_words = ['☀']", 4, "not in listing.charset"),
    ("[commands]\nlist = '10 LIST'", 4, "would store as a line"),
    ("[commands]\nfree_memory = 'CLEAR'", 4, "begins with CLEAR, which changes what a board holds"),
    ("[commands]\nfree_memory = 'TOSS ASK'", 4, "begins with TOSS, which changes"),
    ("[commands]\nrun = 'NEW'", 4, "begin with the same word"),
    ("[commands]\nfree_memory = 'NEW'", 4, "holds NEW, which commands.clear uses"),
    ("[commands]\nfree_memory = 'PRINT 1:RUN'", 4, "holds RUN, which commands.run uses"),
    ("[commands]\nclear = 'LIST'", 4, "holds LIST, which commands.clear uses"),
    ("[commands]\nstored = 'LIST'", 4, "is also the command for something else"),
    ("[commands]\nstore = 'ESAVE'\nrecall = 'ELOAD {name}'", 4, "only one of commands.store and"),
    ("[commands]\nstore = 'ESAVE'\nslots = ['A']", 5, "has no {name}"),
    ("[commands]\nlist_stored = 'ELIST'\nstore = 'PUT {name}'", 4, "one place without a name"),
    ("[commands]\nfull_words = ['FULL']", 4, "which commands.error_words does not have"),
    ("[listing]\nfirst_line = 9\nlast_line = 8", 5, "below first_line"),
    ("[listing]\nfirst_line = 40000", 4, "below first_line"),
    ("[storage]\nnumber_bytes = 1", 4, "does not fit storage.number_bytes"),
    ("[listing]\nlongest_line = 5", 4, "too short for line 32767"),
    ("[listing]\ncharacters = [[48, 57]]", 4, "must hold the blank"),
    ("[listing]\ncharacters = [[32, 64]]", 4, "commands.list holds characters"),
    ("[storage]\nprogram_bytes = 10\nempty_bytes = 10", 5, "leaves nothing"),
    ("[storage]\ntokens = { PRINT = 1 }", 4, 'counts only with kind = "tokens"'),
    ("[language]\nsmallest_number = 2\nlargest_number = 1", 5, "below smallest_number"),
    ("[language]\nseparator = '.'\nabbreviation_mark = '.'", 5, "cannot tell them apart"),
    ("[language]\nseparator = ':'\nquotes = ':'", 4, "share a mark"),
]


@pytest.mark.parametrize(("rest", "line", "part"), CLASHES)
def test_values_that_contradict_each_other_are_named_with_a_line(
    rest: str, line: int, part: str
) -> None:
    """A contradiction is shown at a key that is in the file, not at a default."""
    rows = faults(f"{SMALL}{rest}\n".replace("'", '"')).split("\n")
    assert any(part in row for row in rows)
    assert rows[0].startswith(f"red.toml, line {line}: ")


def test_a_contradiction_with_a_value_that_is_wrong_anyway_is_not_told() -> None:
    """No message follows from a value that could not be used."""
    said = faults(SMALL + "[listing]\nfirst_line = 40000\nlast_line = true\n")
    assert said.count("\n") == 0 and "listing.last_line is true" in said


def test_a_board_with_neither_echo_nor_prompt_is_allowed() -> None:
    """Such a board is sent to by the clock; nothing can confirm a line."""
    text = SMALL + '[talk]\necho = false\nprompt = ""\n'
    assert not read_profile(text, "x").talk.echo


def test_unknown_keys_without_a_likeness_list_what_there_is() -> None:
    """Where no key is alike, the message says which keys the table has."""
    assert "it has name, title, about, source" in faults(SMALL + "zzz = 1\n")


def test_a_value_inside_an_inline_table_is_named_with_the_line_of_the_table() -> None:
    """Dotted keys and inline tables are TOML too, and their values have a line."""
    assert faults('board.name = "red"\n\ntalk = { baud = 0 }\n').startswith("red.toml, line 3:")
    assert faults('board.name = "red"\n\ntalk.baud = 0\n').startswith("red.toml, line 3:")
    assert faults('[ "board" ]\nname = "red"\n[talk]\n"ba\\u0075d" = 0').startswith(
        "red.toml, line 4:"
    )


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.data())
def test_a_shipped_profile_with_one_value_broken_names_exactly_that_line(data: Any) -> None:
    """Wherever a wrong value stands, between remarks and lists, its own line is named."""
    name = data.draw(st.sampled_from(sorted(shipped_profiles())))
    rows = shipped_profiles()[name].read_text(encoding="utf-8").split("\n")
    keyed = [at for at, row in enumerate(rows) if re.match(r"[a-z_]+ = .*[^\[]$", row)]
    at = data.draw(st.sampled_from(keyed))
    key = rows[at].split(" = ")[0]
    rows[at] = f"{key} = 1979-05-27"
    said = faults("\n".join(rows))
    assert f"line {at + 1}: " in said and f".{key} is a date or time; " in said
    assert said.count("\n") == 0


# --- files -----------------------------------------------------------------------------------


def test_a_missing_file_a_folder_and_bytes_that_are_no_text_are_named(tmp_path: Path) -> None:
    """Whatever is wrong with the file itself is one ProfileError with its name."""
    (tmp_path / "dir.toml").mkdir()
    (tmp_path / "raw.toml").write_bytes(b"[board]\nname = '\xff'\n")
    (tmp_path / "big.toml").write_bytes(b"#" * (LARGEST_FILE + 1))
    for name, part in {
        "none.toml": "not there",
        "dir.toml": "is a folder",
        "raw.toml": "raw.toml, line 2: byte 255",
        "big.toml": "larger than 256 KiB",
        "a\0b.toml": "not there",
    }.items():
        with pytest.raises(ProfileError, match=re.escape(part)):
            load_profile(tmp_path / name)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_named_pipe_is_not_read(tmp_path: Path) -> None:
    """Something that never ends, or never begins, is no profile, and nothing waits for it."""
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(ProfileError, match="not a file"):
        load_profile(tmp_path / "pipe.toml")


def test_a_file_that_may_not_be_read_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A refusal of the system becomes a ProfileError (the tests may run as a user who may all)."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "red.toml"
    path.write_text(SMALL)
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(ProfileError, match="cannot be read: Permission denied"):
        load_profile(path)
