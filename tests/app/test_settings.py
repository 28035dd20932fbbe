"""Settings are kept whole, and a fault in them never keeps the app from starting."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.app.settings import Settings, read_settings, write_settings
from hostlink.errors import RefusedError


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    """Theme, port and profile come back as they were."""
    path = tmp_path / "deep" / "settings.toml"
    write_settings(path, Settings("light", 'practice://x?"', "a\\b"))
    assert read_settings(path) == Settings("light", 'practice://x?"', "a\\b")


@given(st.text(max_size=40))
def test_any_port_name_survives_as_far_as_it_can_be_printed(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    """No text makes a file that cannot be read again."""
    path = tmp_path_factory.mktemp("s") / "settings.toml"
    text = text.encode("utf-8", "ignore").decode("utf-8")
    write_settings(path, Settings(port=text))
    read = read_settings(path)
    assert not read.fault
    assert read.port == "".join(one for one in text if one.isprintable())


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
        write_settings(tmp_path / "file" / "settings.toml", Settings())
    assert "until the app is closed" in raised.value.kept
