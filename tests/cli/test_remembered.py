"""A board of no known kind is recognised once, remembered, and recognised anew where it changed."""

from __future__ import annotations

from pathlib import Path

import pytest

from hostlink.board.profile.file import load_profile
from hostlink.cli.entry import run_line

ODD = "practice://odd?time=virtual&prompt=%5D"
CHANGED = "practice://odd?time=virtual&prompt=%3A%20&baud=19200"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "profiles"))
    return tmp_path / "profiles" / "boards"


def _said(capfd: pytest.CaptureFixture[str], *words: str) -> str:
    """What a command that succeeds says beside its data."""
    assert run_line([*words]) == 0
    return capfd.readouterr().err


def test_what_was_heard_is_remembered_for_the_board(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """The next job does not recognise it again; one on new firmware does, and remembers that."""
    first = _said(capfd, "load", "hail", "--port", ODD)
    assert 'This board talks at 57600 baud and shows "]".' in first
    assert "does not know this kind of board yet, so it sends slowly." in first
    assert "To go faster, measure it once with `hostlink survey --storing --port" in first
    (kept,) = folder.iterdir()
    assert load_profile(kept).talk.prompt == b"]"
    assert "This board talks" not in _said(capfd, "save", "hail", "--port", ODD)
    assert "This board talks at 19200 baud" in _said(capfd, "save", "hail", "--port", CHANGED)
    assert list(folder.iterdir()) == [kept]
    assert load_profile(kept).talk.prompt == b": "
    assert "This board talks" not in _said(capfd, "save", "hail", "--port", CHANGED)


def test_a_profile_that_is_named_or_kept_takes_the_place_of_what_was_heard(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Nothing is remembered beside a profile of the board's own, by which it is talked to then."""
    _said(capfd, "load", "hail", "--port", ODD)
    assert list(folder.iterdir())
    _said(capfd, "survey", "--port", ODD, "--keep", "odd")
    assert not list(folder.iterdir())
    assert "This board talks" not in _said(capfd, "save", "hail", "--port", ODD)
    assert not list(folder.iterdir())


def test_a_memory_that_cannot_be_read_is_as_good_as_none(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """The board is recognised anew, and the file made new."""
    _said(capfd, "load", "hail", "--port", ODD)
    (kept,) = folder.iterdir()
    kept.write_text("no profile", encoding="utf-8")
    assert "This board talks" in _said(capfd, "save", "hail", "--port", ODD)
    assert load_profile(kept).talk.prompt == b"]"


def test_no_profile_of_ones_own_has_the_name_of_those(capfd: pytest.CaptureFixture[str]) -> None:
    """It would be taken for what a board was heard to do."""
    assert run_line(["survey", "--port", ODD, "--keep", "recognised"]) == 2
    assert "Choose another name" in capfd.readouterr().err


def test_a_profile_that_was_given_as_a_file_is_remembered(
    folder: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Nothing finds it by its name later; the board is talked to by it anyway."""
    _said(capfd, "load", "hail", "--port", ODD)
    (kept,) = folder.iterdir()
    given = tmp_path / "red.toml"
    text = kept.read_text(encoding="utf-8").replace('"recognised"', '"red"')
    given.write_text(text, encoding="utf-8")
    kept.unlink()
    _said(capfd, "save", "hail", "--port", ODD, "--profile", str(given))
    assert "This board talks" not in _said(capfd, "save", "hail", "--port", ODD)
    assert load_profile(kept).name == "red"
