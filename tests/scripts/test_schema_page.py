"""The page about the archive's schema, and reading an archive without hostlink."""

from __future__ import annotations

import json
import re
import shlex
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

from hostlink.archive import Archive, Content, Origin

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
Script = Callable[[str], ModuleType]


def test_the_page_in_the_developers_guide_is_that_of_the_schema(
    script: Script, capsys: pytest.CaptureFixture[str]
) -> None:
    """DEVELOPERS.md tells the schema as it is; else this says what to run."""
    assert script("schema_page").main(["--check"]) == 0, capsys.readouterr().out


def test_every_table_view_and_column_is_told(script: Script, tmp_path: Path) -> None:
    """What SQLite itself lists of a new archive stands on the page, with every reference."""
    made = script("schema_page").of_new_archive()
    Archive.open(tmp_path / "archive.sqlite3").close()
    conn = sqlite3.connect(tmp_path / "archive.sqlite3")
    tables = conn.execute(
        "SELECT name FROM pragma_table_list WHERE strict AND name NOT LIKE 'sqlite_%'"
    ).fetchall()
    assert len(tables) >= 12
    for (table,) in tables:
        (row,) = re.findall(rf"^- \*\*{table}\*\*: .*$", made, re.MULTILINE)
        for column in conn.execute(f"PRAGMA table_info({table})"):
            # Every table has a checksum, which is told once for all of them.
            assert f"`{column[1]}`" in (made if column[1] == "checksum" else row), (table, column)
        for reference in conn.execute(f"PRAGMA foreign_key_list({table})"):
            assert f"`{reference[3]}` → {reference[2]}" in row
    for (view,) in conn.execute("SELECT name FROM sqlite_master WHERE name LIKE '%_list'"):
        assert f"- `{view}`" in made
    assert "cost on the board" in made  # a comment of a column
    assert "What a board held before it was overwritten" in made  # one of a table
    conn.close()


def test_a_page_that_has_drifted_is_told_and_written_anew(
    script: Script, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--check gives 1 and says what to do, --write mends it and touches nothing else."""
    page = script("schema_page")
    target = tmp_path / "PAGE.md"
    target.write_text(f"before\n{page.BEGIN}\nold\n{page.END}\nafter\n", encoding="utf-8")
    assert page.main(["--check"], target) == 1
    assert "--write" in capsys.readouterr().out
    assert page.main(["--write"], target) == page.main(["--check"], target) == 0
    text = target.read_text(encoding="utf-8")
    assert text.startswith("before\n") and text.endswith(f"{page.END}\nafter\n")
    assert page.main([]) == 0
    assert capsys.readouterr().out == page.of_new_archive()
    with pytest.raises(ValueError, match="lacks the marks"):
        page.put_into("nothing", "x")


def commands() -> list[list[str]]:
    """The README's commands for reading an archive with another tool."""
    rows = re.findall(r"^\$ (sqlite-utils .*)$", README, re.MULTILINE)
    return [shlex.split(row) for row in rows]


def test_the_readmes_way_to_read_an_archive_without_hostlink_works(tmp_path: Path) -> None:
    """Each sqlite-utils command of the README runs on an archive and shows what is in it."""
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        text = "10 PRINT 27\n"
        content = Content(text.encode(), text, text, "practice", "utf-8", 10)
        archive.keep("HAIL", content, Origin("file"), title="Hailstones")
        archive.duplicate(tmp_path / "spare-copy.sqlite3")
    assert len(commands()) >= 2
    told = []
    for command in commands():
        run = [str(Path(sys.executable).with_name(command[0])), *command[1:]]
        ran = subprocess.run(run, cwd=tmp_path, capture_output=True, text=True, timeout=300)
        assert ran.returncode == 0, ran.stderr
        told.append(ran.stdout)
    assert "HAIL" in told[0] and "Hailstones" in told[0]
    assert json.loads(told[1]) == [{"listing": text}]
