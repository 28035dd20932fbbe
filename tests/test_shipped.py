"""The shipped programs are found from a wheel and from a checkout, and never from a stale copy."""

from __future__ import annotations

from pathlib import Path

import pytest

from hostlink.errors import HostlinkError
from hostlink.shipped import library_folder

ROOT = Path(__file__).resolve().parents[1]


def test_checkout_uses_its_own_library():
    """In a checkout the listings one edits are the listings one gets."""
    assert library_folder() == ROOT / "library"
    assert not (ROOT / "hostlink" / "library").exists()


def test_installed_package_uses_the_library_inside(tmp_path: Path):
    """In an installed package the folder inside counts, whatever stands beside the package."""
    (tmp_path / "hostlink" / "library").mkdir(parents=True)
    (tmp_path / "library").mkdir()
    assert library_folder(tmp_path / "hostlink") == tmp_path / "hostlink" / "library"


def test_missing_library_is_a_plain_error(tmp_path: Path):
    """Without any library the error says what happened and what to do."""
    with pytest.raises(HostlinkError, match="Install hostlink again"):
        library_folder(tmp_path / "hostlink")


def test_a_strange_library_beside_an_installed_package_is_not_ours(tmp_path: Path):
    """A folder named library beside the package counts only in a checkout of the project."""
    (tmp_path / "library").mkdir()
    with pytest.raises(HostlinkError):
        library_folder(tmp_path / "hostlink")
    (tmp_path / "pyproject.toml").touch()
    assert library_folder(tmp_path / "hostlink") == tmp_path / "library"
