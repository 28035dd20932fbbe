"""Help as a map: every command in one group, and every example of the help run as it stands."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest
from intelhex import IntelHex

from hostlink.cli.entry import COMMANDS, cli
from hostlink.cli.help_map import EXAMPLES, GROUPS
from hostlink.shipped import library_folder

VIRTUAL = "practice://class?time=virtual"
RED = "practice://red?time=virtual"


def every_command() -> set[str]:
    """Each command, and each command of a group, by its words."""
    context = click.Context(cli)
    found = set(COMMANDS)
    for name in COMMANDS:
        command = cli.get_command(context, name)
        if isinstance(command, click.Group):
            found |= {f"{name} {inner}" for inner in command.commands}
    return found


def test_every_command_stands_in_one_group() -> None:
    """A command that is in no group would be missing from the help."""
    grouped = [name for names in GROUPS.values() for name in names]
    assert sorted(grouped) == sorted(COMMANDS)


def test_every_command_has_two_examples() -> None:
    """Also those within a group; and no example is left of a command that is gone."""
    assert set(EXAMPLES) == every_command()
    for command, examples in EXAMPLES.items():
        assert len(examples) == 2, command
        for _, words in examples:
            assert shlex.split(words)[0] == command.split()[0]


@pytest.mark.parametrize("command", EXAMPLES)
def test_help_shows_the_examples(command: str, hostlink: Callable) -> None:
    """As they are in the table, with what each does."""
    told = hostlink(*command.split(), "--help").out
    rows = [" ".join(row.split()) for row in told.splitlines()]
    for what, words in EXAMPLES[command]:
        assert f"{what}:" in rows
        assert f"hostlink {words}" in rows


@pytest.mark.parametrize("command", EXAMPLES)
def test_help_names_commands_as_hostlink_was_called(
    command: str, hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In the text, the options and the examples, so that each can be pasted."""
    monkeypatch.setenv("HOSTLINK_CALLED", "python3 start.py")
    told = " ".join(hostlink(*command.split(), "--help").out.split())
    assert "`hostlink" not in told
    assert f"python3 start.py {EXAMPLES[command][0][1]}" in told


def test_the_groups_of_the_help_stand_in_order(hostlink: Callable) -> None:
    """Each title has its commands under it, aligned alike in all groups."""
    told = hostlink("--help").out
    parts = re.findall(r"^([A-Z][^\n]*):\n((?:  [^\n]*\n)+)", told, re.MULTILINE)
    shown = {title: tuple(re.findall(r"^  ([a-z]+) ", rows, re.MULTILINE)) for title, rows in parts}
    assert {title: shown[title] for title in GROUPS} == GROUPS
    columns = {len(found) for found in re.findall(r"^  [a-z]+ +(?=[A-Z])", told, re.MULTILINE)}
    assert len(columns) == 1


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with what the examples name: files, boards, programs, a backup, a rescue."""
    from hostlink.cli.entry import run_line

    folder = tmp_path_factory.mktemp("examples")
    with pytest.MonkeyPatch.context() as patch:
        at_home(patch, folder)
        (folder / "evening.bas").write_text('10 PRINT "EVENING"\n20 END\n', encoding="utf-8")
        shutil.copy(library_folder() / "damaged" / "web-page.txt", folder / "forum.txt")
        (folder / "class.txt").write_text("load tide\nsave tide\n", encoding="utf-8")
        seat = f'[[learner]]\nname = "Ada"\nboard = "{RED}"\nhand_out = "evening.bas"\n'
        (folder / "class.toml").write_text(seat, encoding="utf-8")
        (folder / "answers.txt").write_text("27\n", encoding="utf-8")
        image = IntelHex()
        image.puts(0, b"\x0c\x94\x40\x00" * 26 + bytes(600))
        image.write_hex_file(str(folder / "image.hex"))
        for line in (
            "load tide --archive spare.sqlite3",
            "load hail --archive spare.sqlite3",
            "keep evening.bas --as OLD --archive spare.sqlite3",
            "retire OLD --archive spare.sqlite3",
            "keep evening.bas --as OLD",
            "retire OLD",
            f"boards --label Red --port {RED}",
            f"load evening.bas --port {RED}",
            "load tide",
            "keep forum.txt --as FOUND --any-characters",
            "load hail",
            "run --input answers.txt",
            "store HAIL",
            "tag hail friday",
            "backup",
        ):
            assert run_line(shlex.split(line)) == 0, line
    yield folder


def at_home(patch: pytest.MonkeyPatch, folder: Path) -> None:
    """Work in a folder that holds everything hostlink keeps, with a board on a virtual clock."""
    patch.chdir(folder)
    patch.setenv("HOSTLINK_ARCHIVE", str(folder / "archive.sqlite3"))
    patch.setenv("HOSTLINK_PRACTICE", str(folder / "practice"))
    patch.setenv("HOSTLINK_PROFILES", str(folder / "profiles"))
    patch.setenv("HOSTLINK_PORT", VIRTUAL)


@pytest.mark.parametrize("command", EXAMPLES)
def test_each_example_of_the_help_works(
    command: str,
    prepared: Path,
    tmp_path: Path,
    hostlink: Callable,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The two of a command one after the other, as somebody who tries them would type them."""
    folder = tmp_path / "home"
    shutil.copytree(prepared, folder)
    at_home(monkeypatch, folder)
    opened: list[object] = []
    monkeypatch.setattr("hostlink.app.start.open_app", lambda **how: opened.append(how))
    monkeypatch.setenv("HOSTLINK_YES", "1")  # nobody sits here to answer
    for _, words in EXAMPLES[command]:
        told = hostlink(*shlex.split(words))
        assert told.status == 0, f"hostlink {words}: {told.err}"
    assert bool(opened) == (command == "practice")
