"""The survey command: what it shows, keeps and compares."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from hostlink.board.profile.file import load_profile
from hostlink.cli.entry import run_line

BOARD = "practice://lab?time=virtual&baud=19200&receive_buffer=17&line_ms=23&line_done=after-prompt"


@pytest.fixture(autouse=True)
def lab(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "archive.sqlite3"))
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "profiles"))
    return tmp_path


def test_a_survey_is_kept_as_a_profile_that_loads_with_it(
    lab: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """`--storing --keep` writes a profile; a load with it is proven without repairs."""
    assert run_line(["survey", "--port", BOARD, "--storing", "--keep", "lab"]) == 0
    profile = load_profile(lab / "profiles" / "lab.toml")
    assert (profile.talk.baud, profile.talk.receive_buffer) == (19200, 17)
    assert profile.talk.line_ms == pytest.approx(23, rel=0.2)
    assert dict(profile.evidence)["talk.baud"].startswith("measured:")
    capfd.readouterr()
    assert run_line(["load", "hail", "--port", BOARD, "--profile", "lab", "--json"]) == 0
    loaded = json.loads(capfd.readouterr().out)
    assert loaded["proven"] is True
    assert loaded["repairs"] == 0


def test_a_kept_profile_is_replaced_only_with_consent(
    lab: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """A second `--keep` of the same name is refused, and done with --yes."""
    command = ["survey", "--port", BOARD, "--keep", "lab"]
    assert run_line(command) == 0
    before = (lab / "profiles" / "lab.toml").read_bytes()
    assert run_line(command) == 1
    assert "not changed" in capfd.readouterr().err
    assert (lab / "profiles" / "lab.toml").read_bytes() == before
    assert run_line([*command, "--yes"]) == 0


def test_differences_from_a_profile_end_with_status_one(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """`--against` names what differs; JSON holds findings and differences."""
    assert run_line(["survey", "--port", BOARD, "--against", "practice", "--json"]) == 1
    found = json.loads(capfd.readouterr().out)
    assert {each["name"] for each in found["differences"]} == {"talk.baud"}
    assert {each["name"]: each["value"] for each in found["findings"]}["talk.baud"] == 19200


def test_the_board_keeps_its_program(capfd: pytest.CaptureFixture[str]) -> None:
    """What was on the board before a storing survey is there afterwards."""
    assert run_line(["load", "hail", "--port", BOARD, "--baud", "19200"]) == 0
    assert run_line(["survey", "--port", BOARD, "--storing"]) == 0
    assert "holds 22 lines, as before" in capfd.readouterr().out
    assert run_line(["save", "hail", "--port", BOARD, "--baud", "19200", "--json"]) == 0
    assert json.loads(capfd.readouterr().out)["revision"] == "HAIL@1"


def test_a_clock_that_cannot_make_the_speed_is_warned_of(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """At 16 MHz 115200 baud is 3.5 % off without double speed (8271H table 20-1)."""
    board = "practice://fast?time=virtual&baud=115200"
    assert run_line(["survey", "--port", board, "--clock", "16"]) == 0
    assert "3.5 %" in capfd.readouterr().err


def test_a_name_that_cannot_be_used_is_asked_for_again(
    lab: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """What took minutes to measure is not lost by a word."""
    given = iter(["tiny", "no name", "bench"])
    monkeypatch.setattr("hostlink.cli.commands.survey.is_terminal", lambda: True)
    monkeypatch.setattr("click.prompt", lambda *_, **__: next(given))
    assert run_line(["survey", "--port", BOARD]) == 0
    assert load_profile(lab / "profiles" / "bench.toml").name == "bench"
    said = " ".join(capfd.readouterr().err.split())
    assert "tiny" in said
    assert '"no name" cannot be the name of a profile' in said


def test_a_board_whose_program_could_not_be_read_is_said_to_be_empty_only_after_it_was_emptied(
    capfd: pytest.CaptureFixture[str],
) -> None:
    """A listing between two rows of words is not known before it is measured."""
    command = ["survey", "--port", "practice://mill?kind=framed&time=virtual"]
    assert run_line(command) == 0
    told = capfd.readouterr().out
    assert "The board's memory is as it was before the survey; it could not be read." in told
    assert run_line([*command, "--storing", "--discard-board"]) == 0
    told = capfd.readouterr().out
    assert "The board's memory is empty now; what it held was not kept, as you asked." in told
    assert "before the survey" not in told
