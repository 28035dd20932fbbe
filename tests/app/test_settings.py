"""Settings are kept whole, and a fault in them never keeps the app from starting."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.app.actions.screen_keys import BY_NAME
from hostlink.app.actions.table import BY_ID
from hostlink.app.screens.palette import Help
from hostlink.app.screens.renumbering import RenumberScreen
from hostlink.app.settings import Settings, change_settings, read_settings
from hostlink.errors import RefusedError


def test_what_is_changed_is_read_again_and_all_else_stays(tmp_path: Path) -> None:
    """Theme, port and profile come back as they were; keys and remarks are as they were written."""
    path = tmp_path / "deep" / "settings.toml"
    changes = {"theme": "light", "port": 'practice://x?"', "profile": "a\\b", "capture_minutes": 7}
    change_settings(path, **changes)
    assert read_settings(path) == Settings(**changes)
    text = path.read_text()
    path.write_text(
        f'# of the club\n{text}\n[keys]\nrun = "f11" # as at school\n[mine]\nport = 3\n'
    )
    before = path.read_text()
    change_settings(path, port="COM3", theme="dark")
    changed = before.replace(r'"practice://x?\""', '"COM3"').replace('"light"', '"dark"')
    assert path.read_text() == changed
    path.write_text('\'theme\' = "light" # here\n[keys]\nrun = "f11"')
    change_settings(path, theme="dark", capture_minutes=0)
    assert read_settings(path) == Settings(capture_minutes=0, keys={"run": "f11"})


@given(st.text(max_size=40))
def test_any_port_name_is_read_again_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    """Also one with control characters in it."""
    path = tmp_path_factory.mktemp("s") / "settings.toml"
    text = text.encode("utf-8", "ignore").decode("utf-8")
    change_settings(path, port=text)
    assert read_settings(path) == Settings(port=text)


@pytest.mark.parametrize(
    "raw",
    [b"theme = light\n[keys]\nrun = 'f11'\n", b"\xff", b"x = " + b"[" * 9_999, b"#" * 99_999],
)
def test_a_file_that_is_not_understood_is_never_written_over(tmp_path: Path, raw: bytes) -> None:
    """Somebody's slip in it does not cost them their keys."""
    path = tmp_path / "settings.toml"
    path.write_bytes(raw)
    with pytest.raises(RefusedError, match="The file is unchanged"):
        change_settings(path, theme="light")
    assert path.read_bytes() == raw


@pytest.mark.parametrize(
    "raw", [b"theme = 3\n", b"theme = 'violet'\n", b"\xff\xfe", b"theme = \n", b"[theme]\n"]
)
def test_settings_that_make_no_sense_are_told_and_left(tmp_path: Path, raw: bytes) -> None:
    """The usual settings hold, the fault names the file, and the file is not touched."""
    path = tmp_path / "settings.toml"
    path.write_bytes(raw)
    read = read_settings(path)
    assert read.theme == Settings().theme
    assert str(path) in read.fault
    assert path.read_bytes() == raw


def test_settings_that_cannot_be_written_are_refused_in_words(tmp_path: Path) -> None:
    """A folder in the way is said; the settings hold until the app is closed."""
    (tmp_path / "file").write_text("")
    with pytest.raises(RefusedError, match="cannot be written") as raised:
        change_settings(tmp_path / "file" / "settings.toml", port="")
    assert "until you close the app" in raised.value.kept


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('lod = "f5"', 'give a key to "lod", which is not an action; "load" is one'),
        ('run = "alt+r"', 'give "run" the key "alt+r", which is not written like'),
        ('run = "r"', 'give "run" the key "r", which is not written like'),
        ('run = "ctrl+m"', "which terminals send for another key"),
        ('run = "ctrl+z"', "which edits text"),
        ('run = "ctrl+l"', 'give the key ctrl+l to "load" and to "run"'),
        ('look = "f5"', 'give the key f5 to "look" and to "quiet"'),
        ('look = "f11"\nstored = "f11"', 'give the key f11 to "look" and to "stored"'),
        ("run = 5", "have a key that is not text"),
        (
            '"boards.detatch" = "x"',
            '"boards.detatch", which is not an action; "boards.detach" is one',
        ),
        (
            '"boards.detach" = "alt+d"',
            'the key "alt+d", which is not written like d, space, ctrl+l',
        ),
        ('"boards.detach" = "enter"', 'the key "enter", which is not written like d, space'),
        ('"boards.detach" = "ctrl+h"', "which terminals send for another key"),
        ('"boards.detach" = "s"', 'give the key s to "boards.detach" and to "boards.survey"'),
        ('"boards.detach" = "f1"', 'give the key f1 to "help" and to "boards.detach"'),
        ('help = "f11"\n"stored.renew" = "f11"', 'the key f11 to "help" and to "stored.renew"'),
        ('"listing.start" = "s"', 'the key "s", which is not written like ctrl+l'),
        ('"listing.start" = "f3"', 'give the key f3 to "search-next" and to "listing.start"'),
    ],
)
def test_keys_that_cannot_be_used_are_told_in_one_sentence(
    tmp_path: Path, table: str, words: str
) -> None:
    """The fault names the file and what is wrong; all keys are then as they come."""
    path = tmp_path / "settings.toml"
    path.write_text(f'theme = "light"\n[keys]\n{table}\n')
    read = read_settings(path)
    assert words in read.fault
    assert str(path) in read.fault
    assert read.usable_keys == {}


def test_a_wrong_theme_does_not_hide_wrong_keys(tmp_path: Path) -> None:
    """Both faults are told."""
    path = tmp_path / "settings.toml"
    path.write_text('theme = "violet"\n[keys]\nlaod = "f5"\n')
    fault = read_settings(path).fault
    assert '"laod", which is not an action' in fault
    assert 'an unknown theme, "violet"' in fault


def test_a_key_of_ones_own_does_it_and_the_old_one_no_more(stage: Any, wait: Any) -> None:
    """Two actions change keys, one without a key gets one; help and palette name the new ones."""
    (stage.folder / "settings.toml").write_text(
        '[keys]\nload = "f9"\nrun = "ctrl+l"\nrenumber = "f11"\nhelp = "f10"\n'
    )

    async def story(pilot: Any, app: Any) -> None:
        bound = {key: active.binding.id for key, active in app.screen.active_bindings.items()}
        assert (bound["f9"], bound["ctrl+l"], bound["f10"]) == ("load", "run", "help")
        assert "f1" not in bound
        for first in ((), ("escape",)):
            await pilot.press(*first, "f11")
            await wait(pilot, lambda: isinstance(app.screen, RenumberScreen))
            await pilot.press("escape")
            await wait(pilot, lambda: app.screen is app.desk)
        await pilot.press("f10")
        await wait(pilot, lambda: isinstance(app.screen, Help))
        text = app.screen.query_one("#keys").content.plain
        assert "F11          Renumber" in text
        assert "F9, L        Load into the board" in text

    stage.play(story, port="", opens="shipped:TIDE")


def test_a_fault_in_the_keys_is_told_at_the_start(stage: Any) -> None:
    """In the last line of the desk, and the app works with the keys as they come."""
    (stage.folder / "settings.toml").write_text('[keys]\nload = "alt+l"\n')

    async def story(_: Any, app: Any) -> None:
        assert 'give "load" the key "alt+l"' in app.said[0]
        assert app.screen.active_bindings["ctrl+l"].binding.id == "load"

    stage.play(story, port="")


def test_the_readme_names_every_action_that_can_have_a_key() -> None:
    """In the order of the help; then those of the other screens, in the order of the table."""
    readme = Path(__file__).parent.parent.parent / "README.md"
    text = " ".join(readme.read_text(encoding="utf-8").split())
    told = text.partition("A key is Ctrl and a letter or a function key. The names:")[2]
    assert re.findall(r"`([^`]+)`", told.partition(". ")[0]) == list(BY_ID)
    told = text.partition("Space can be keys too. The names:")[2]
    assert re.findall(r"`([^`]+)`", told.partition(". ")[0]) == list(BY_NAME)
