"""Where the archive is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hostlink.archive import archive_path


@pytest.mark.parametrize(("named", "folder"), [("", Path.cwd), ("~/", Path.home)])
def test_the_environment_names_the_archive(
    monkeypatch: pytest.MonkeyPatch, named: str, folder: Callable[[], Path]
) -> None:
    """HOSTLINK_ARCHIVE is taken where it is set, as an absolute path."""
    monkeypatch.setenv("HOSTLINK_ARCHIVE", f"{named}class.sqlite3")
    assert archive_path() == folder() / "class.sqlite3"


def test_without_it_the_archive_is_in_the_users_data_folder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """An unset or empty variable means the usual place, the same each time."""
    monkeypatch.delenv("HOSTLINK_ARCHIVE", raising=False)
    usual = archive_path()
    assert usual.name == "archive.sqlite3"
    assert usual.parent.name == "hostlink"
    monkeypatch.setenv("HOSTLINK_ARCHIVE", " ")
    assert archive_path() == usual
    monkeypatch.setenv("HOSTLINK_ARCHIVE", str(tmp_path / "x"))
    assert archive_path() == tmp_path / "x"
