"""The README's first session, run as it stands, and its figures and tables held to the code."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import sqlite_utils.cli
from click.testing import CliRunner
from intelhex import IntelHex

from hostlink.board.profile.file import shipped_profiles
from hostlink.cli.entry import COMMANDS, run_line
from hostlink.link.opening import practice_kinds
from hostlink.shipped import library_folder

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def session() -> list[list[str]]:
    """Every command of the README's console blocks, in order, without the word hostlink."""
    rows = [row for block in BLOCK.findall(README) for row in block.splitlines()]
    return [shlex.split(row)[2:] for row in rows if row.startswith("$ hostlink ")]


def chapter(title: str) -> str:
    """The part of the README under a heading of the second rank."""
    return README.split(f"\n## {title}\n")[1].split("\n## ")[0]


@pytest.fixture
def evening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the files that the session names, its own archive and practice board."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setenv("HOSTLINK_PORT", "practice://evening?time=virtual")
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "profiles"))
    (tmp_path / "first-number.txt").write_text("27\n", encoding="utf-8")
    (tmp_path / "library").symlink_to(library_folder())
    (tmp_path / "class.txt").write_text("save hail\n", encoding="utf-8")
    register = README.split("```toml\n")[1].split("```")[0]
    (tmp_path / "class.toml").write_text(register, encoding="utf-8")
    image = IntelHex()
    image.puts(0, b"\x0c\x94\x40\x00" * 26 + bytes(600))
    image.write_hex_file(str(tmp_path / "class.hex"))
    return tmp_path


@pytest.mark.usefixtures("evening")
def test_the_first_session_runs_as_it_stands(capfd: pytest.CaptureFixture[str]) -> None:
    """Each command of the README ends with status 0, in the order in which it stands there."""
    commands = session()
    assert len(commands) >= 20
    for command in commands:
        # Virtual time: the same board and commands, without the waiting.
        quick = [
            part.replace("practice://evening", "practice://evening?time=virtual")
            for part in command
        ]
        status = run_line(quick)
        told = capfd.readouterr()
        assert status == 0, f"{shlex.join(command)}: {told.err}"
    queries = [shlex.split(row)[2:] for row in README.splitlines() if row.startswith("$ sqlite-")]
    told = [CliRunner().invoke(sqlite_utils.cli.cli, query) for query in queries]
    assert [each.exit_code for each in told] == [0, 0]
    assert "10 REM HAILSTONE" in told[1].output


@pytest.mark.usefixtures("evening")
def test_the_first_session_shows_what_the_readme_says(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """The mended forum listing is the shipped program again, and the run prints its answer."""
    board = "practice://evening?time=virtual"
    assert run_line(["load", "hail", "--port", board]) == 0
    assert run_line(["mend", "library/damaged/web-page.txt", "-o", "repaired.bas"]) == 0
    assert run_line(["load", "repaired.bas", "--port", board]) == 0
    assert run_line(["compare", "hail", "repaired"]) == 0
    capfd.readouterr()
    assert run_line(["run", "--port", board, "--input", "first-number.txt"]) == 0
    # 27 takes 111 steps and climbs to 9232 (Collatz sequence, OEIS A006577 and A006884, memory).
    assert "111" in (printed := capfd.readouterr().out)
    assert "9232" in printed


def test_the_first_60_lines_lead_a_beginner() -> None:
    """To the first start, in steps, with the words that are needed; each is explained once."""
    beginning = "".join(f"{row}\n" for row in README.splitlines()[:60])
    steps = re.findall(r"^(\d)\. \*\*", beginning, re.MULTILINE)
    assert steps == ["1", "2", "3", "4", "5"]
    assert "python3 scripts/start.py\n" in beginning
    assert r"py scripts\start.py" in beginning
    for word in ("volatile", "bridge", "echo", "capture"):
        assert f"\n- **{word}**: " in beginning
        assert f"| {word} |" not in chapter("Words")


def test_no_link_within_the_readme_is_dead() -> None:
    """Each leads to a heading, by the name that its words make."""
    heads = re.findall(r"^#+ (.+)$", README, re.MULTILINE)
    names = {re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-") for head in heads}
    linked = set(re.findall(r"\]\(#([^)]+)\)", README))
    assert len(linked) > 8
    assert linked <= names


def test_every_command_stands_in_the_readme() -> None:
    """A command that nobody can find in the README does not exist for a newcomer."""
    used = {command[0] for command in session()}
    without_keys = README.replace(chapter("Keys of your own"), "")  # names of actions are none
    named = set(re.findall(r"`(?:hostlink )?([a-z]+)[^`]*`", without_keys))
    assert set(COMMANDS) <= used | named


def test_every_shipped_profile_stands_in_the_table() -> None:
    """The table of profiles names exactly those that are shipped."""
    names = re.findall(r"^\| `([a-z0-9-]+)` \|", chapter("Profiles"), re.MULTILINE)
    assert set(names) == set(shipped_profiles())


def test_no_link_of_the_readme_is_dead() -> None:
    """Files that the README names exist."""
    for name in re.findall(r"(?:scripts|tests|library)/[\w/.-]+\w", README):
        assert (ROOT / name).exists(), name


def test_the_table_of_kinds_is_what_the_kinds_say() -> None:
    """Each kind of practice board with its title, in the order of `practice --kinds`."""
    table = chapter("Kinds of practice board")
    rows = re.findall(r"^\| `([a-z]+)` \| ([^|]+) \| [^|]+ \|$", table, re.MULTILINE)
    assert rows == [(kind["kind"], kind["title"]) for kind in practice_kinds()]
