"""Practice boards have an archive of their own: what is tried leaves nothing in the user's."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from pytest_mock import MockerFixture

from hostlink.archive import Archive

BOARD = "practice://red?time=virtual"


@pytest.fixture
def data(place: Path, monkeypatch: pytest.MonkeyPatch, mocker: MockerFixture) -> Path:
    """The user's data folder, with no archive and no port named by the environment."""
    folder = place / "data"
    monkeypatch.delenv("HOSTLINK_ARCHIVE")
    monkeypatch.delenv("HOSTLINK_PORT")
    mocker.patch("platformdirs.user_data_dir", return_value=str(folder))
    return folder


def names(hostlink: Callable) -> list[str]:
    """The programs of the archive that commands without a port use."""
    return [each["name"] for each in hostlink("programs", "--json").json]


def test_a_practice_board_leaves_nothing_in_the_users_archive(
    hostlink: Callable, data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is said once where its programs are; HOSTLINK_PORT makes every command find them."""
    told = hostlink("load", "hail", "--port", BOARD)
    assert told.status == 0
    assert f"kept apart from your archive, in {data / 'practice.sqlite3'}." in told.err
    assert "kept apart" not in hostlink("save", "--port", BOARD).err
    assert names(hostlink) == []
    assert not [path for path in data.iterdir() if path.name.startswith("archive")]
    monkeypatch.setenv("HOSTLINK_PORT", BOARD)
    assert names(hostlink) == ["HAIL"]


def test_an_archive_that_is_named_is_used(hostlink: Callable, data: Path) -> None:
    """--archive asks for it."""
    told = hostlink("load", "hail", "--port", BOARD, "--archive", "mine.sqlite3")
    assert told.status == 0
    assert "kept apart" not in told.err
    assert Path("mine.sqlite3").exists()
    assert not data.exists()


def test_labels_of_practice_boards_are_found_from_anywhere(
    hostlink: Callable, data: Path, mocker: MockerFixture
) -> None:
    """By a label alone, and by --all where nothing is plugged in: in the practice archive again."""
    mocker.patch("hostlink.board.port.ports._comports", return_value=[])
    assert hostlink("boards", "--label", "Red", "--port", BOARD).status == 0
    assert hostlink("load", "hail", "--port", "red").status == 0
    assert hostlink("load", "tide", "--all").status == 0
    assert sorted(path.name for path in data.glob("*.sqlite3")) == ["practice.sqlite3"]


def test_one_label_with_a_slip_does_not_hide_a_class(
    hostlink: Callable, data: Path, mocker: MockerFixture
) -> None:
    """The other boards are served from the practice archive; a label of the user's decides."""
    mocker.patch("hostlink.board.port.ports._comports", return_value=[])
    learners = "".join(
        f'[[learner]]\nname = "{name}"\nboard = "{board}"\n'
        for name, board in (("Ada Brook", "Red"), ("Ben Oak", "Rde"))
    )
    Path("class.toml").write_text(f'hand_out = "HAIL"\n{learners}', encoding="utf-8")
    hostlink("boards", "--label", "Red", "--port", BOARD)
    told = hostlink("class", "class.toml", "--hand-out")
    assert (told.status, "Ada Brook: done." in told.err) == (1, True)
    assert "No board is known as Rde." in told.err
    assert not (data / "archive.sqlite3").exists()
    with Archive.open(data / "archive.sqlite3") as archive:
        archive.board_label(archive.board_seen(serial="K42", vid=0x1234, pid=1).uuid, "Rde")
    assert "Red, unknown" in hostlink("class", "class.toml").out
