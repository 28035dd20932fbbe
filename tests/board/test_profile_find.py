"""Finding a profile by a word: shipped, the user's own, or a file."""

from __future__ import annotations

from pathlib import Path

import platformdirs
import pytest

from hostlink.board.profile.file import (
    find_profile,
    load_profile,
    profiles_folder,
    shipped_profiles,
    user_profiles,
)
from hostlink.board.profile.text import profile_text
from hostlink.cli.ways import in_commands
from hostlink.errors import ProfileError, UsageError


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder of the user's own profiles."""
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path))
    return tmp_path


def _own(folder: Path, file: str, name: str, baud: int = 300) -> Path:
    path = folder / f"{file}.toml"
    path.write_text(f'[board]\nname = "{name}"\n[talk]\nbaud = {baud}\n')
    return path


@pytest.mark.parametrize("word", ["practice", "Practice", "tiny", "palo-alto", "ecma-55"])
def test_a_shipped_profile_is_found_by_its_name(folder: Path, word: str) -> None:
    """Capitals do not matter; the folder of the user may be empty."""
    assert user_profiles() == {} and folder.is_dir()
    assert find_profile(word).name == word.lower()


def test_the_users_own_profile_is_found_by_its_name(folder: Path) -> None:
    """A file in the user's folder counts under the name it has."""
    _own(folder, "red", "red", 1200)
    assert find_profile("red").talk.baud == 1200
    assert list(user_profiles()) == ["red"]


def test_a_file_is_found_by_its_path(folder: Path, tmp_path: Path) -> None:
    """A word that ends in .toml is a path, whatever the profile calls itself."""
    path = _own(tmp_path, "any", "red", 2400)
    assert find_profile(str(path)) == load_profile(path)
    with pytest.raises(ProfileError, match="not there"):
        find_profile(str(folder / "none.toml"))


def test_a_word_that_names_nothing_says_what_there_is(folder: Path) -> None:
    """The nearest name is offered, and all names with it; it is a wrong use."""
    _own(folder, "red", "red")
    with pytest.raises(UsageError) as caught:
        find_profile("practise")
    assert 'Did you mean "practice"?' in caught.value.what
    for name in [*shipped_profiles(), "red"]:
        assert name in in_commands(caught.value.advice)


@pytest.mark.parametrize("word", ["", "../practice", "/etc/passwd", "a\0b", "red\n", "x" * 9999])
def test_no_word_reaches_outside_the_known_profiles(folder: Path, word: str) -> None:
    """Only names that are listed are opened."""
    assert folder.is_dir()
    with pytest.raises(UsageError) as caught:
        find_profile(word)
    assert caught.value.what.isprintable() and len(caught.value.what) < 200


def test_a_profile_with_a_shipped_name_is_refused_not_silently_chosen(folder: Path) -> None:
    """Neither the shipped nor the user's is taken without a word about the other."""
    _own(folder, "tiny", "tiny")
    with pytest.raises(ProfileError, match="comes with hostlink"):
        find_profile("tiny")
    assert find_profile("practice").name == "practice"


def test_a_profile_that_calls_itself_otherwise_than_its_file_is_refused(folder: Path) -> None:
    """A copy whose name was forgotten does not pass under two names."""
    _own(folder, "blue", "red")
    with pytest.raises(ProfileError, match='calls itself "red"'):
        find_profile("blue")


def test_a_missing_folder_is_an_empty_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody has to make the folder first."""
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "none"))
    assert user_profiles() == {}
    assert find_profile("tiny").name == "tiny"


def test_without_the_variable_the_folder_is_in_the_users_settings(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The place is the one that the system has for settings."""
    monkeypatch.delenv("HOSTLINK_PROFILES", raising=False)
    assert profiles_folder() == Path(platformdirs.user_config_dir("hostlink")) / "profiles"


def test_a_written_copy_of_a_shipped_profile_is_found_after_renaming(folder: Path) -> None:
    """The way to a profile of one's own: write a shipped one, change its name, find it."""
    text = profile_text(find_profile("tiny")).replace('name = "tiny"', 'name = "red"')
    (folder / "red.toml").write_text(text, encoding="utf-8")
    assert find_profile("red").talk == find_profile("tiny").talk
