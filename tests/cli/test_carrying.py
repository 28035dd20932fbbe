"""archive export and import, from the command line."""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path

import pytest

from hostlink.archive.exchange.bag_format import verify_bag
from hostlink.cli.entry import run_line


@pytest.fixture(autouse=True)
def evening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    folder = tmp_path / "listings"
    folder.mkdir()
    (folder / "tide.bas").write_text('10 PRINT "HIGH"\n')
    (folder / "morse.txt").write_text("10 REM MORSE\n")
    return tmp_path


def test_a_folder_goes_out_as_a_bag_and_into_another_archive(
    evening: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Listings to archive to bag to a second archive; a second import brings nothing new."""
    assert run_line(["keep", str(evening / "listings")]) == 0
    capfd.readouterr()
    assert run_line(["archive", "export", str(evening / "bag"), "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["counts"]["revisions"] == 2
    verify_bag(evening / "bag")
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(evening / "second.sqlite3"))
    assert run_line(["archive", "import", str(evening / "bag")]) == 0
    assert "2 revisions" in capfd.readouterr().err
    assert run_line(["archive", "import", str(evening / "archive.sqlite3")]) == 0
    assert "nothing new" in capfd.readouterr().err
    assert run_line(["show", "tide"]) == 0
    assert capfd.readouterr().out == '10 PRINT "HIGH"\n'


def test_bad_sources_and_targets_are_refused(
    evening: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """What is no archive, is not there, or is a target that exists: one sentence and what to do."""
    assert run_line(["archive", "import", str(evening / "listings" / "tide.bas")]) == 1
    assert "neither a BagIt folder nor an archive" in capfd.readouterr().err
    assert run_line(["archive", "import", str(evening / "nowhere")]) == 1
    assert "No such file" in capfd.readouterr().err
    if hasattr(os, "mkfifo"):
        os.mkfifo(evening / "pipe")
        assert run_line(["archive", "import", str(evening / "pipe")]) == 1
        assert "neither a file nor a folder" in capfd.readouterr().err
    (evening / "empty").mkdir()
    with contextlib.chdir(evening / "empty"):
        assert run_line(["archive", "import", "."]) == 1
    assert "`hostlink keep .`." in capfd.readouterr().err
    assert run_line(["keep", str(evening / "listings")]) == 0
    assert run_line(["archive", "export", str(evening / "bag")]) == 0
    capfd.readouterr()
    assert run_line(["keep", str(evening / "bag")]) == 1  # its manifest looks like numbered lines
    assert "`hostlink archive import" in capfd.readouterr().err
    assert run_line(["archive", "export", str(evening / "empty")]) == 1
    assert "already exists" in capfd.readouterr().err
    assert run_line(["archive", "export", str(evening / "new"), "--only", "TIDEX"]) == 1
    assert "TIDE" in capfd.readouterr().err
    assert run_line(["archive", "export", str(evening / "new"), "--since", "May"]) == 2
    assert "Write one as 2031, 2031-09 or 2031-09-03" in capfd.readouterr().err
    assert not (evening / "new").exists()


def test_a_duplicate_that_went_on_is_taken_in_and_the_names_are_told(
    evening: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Both have a second TIDE: the other's is named as the message says."""
    tide, copy = evening / "listings" / "tide.bas", evening / "copy.sqlite3"
    assert run_line(["keep", str(tide)]) == 0
    assert run_line(["archive", "duplicate", str(copy)]) == 0
    for archive, text in (("archive.sqlite3", "10 REM OURS\n"), ("copy.sqlite3", "10 REM X\n")):
        monkeypatch.setenv("HOSTLINK_ARCHIVE", str(evening / archive))
        tide.write_text(text)
        assert run_line(["keep", str(tide)]) == 0
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(evening / "archive.sqlite3"))
    capfd.readouterr()
    assert run_line(["archive", "import", str(copy), "--json"]) == 0
    (mark,) = json.loads(capfd.readouterr().out)["copies"]
    assert run_line(["show", f"tide@2/{mark}"]) == 0
    assert capfd.readouterr().out == "10 REM X\n"
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(copy))
    assert run_line(["archive", "import", str(evening / "archive.sqlite3")]) == 0
    assert f"NAME@3/{mark}" in capfd.readouterr().err
