"""How an error of the system becomes one of hostlink's."""

from __future__ import annotations

from pathlib import Path

import pytest

from hostlink.errors import ListingError, RefusedError, file_errors


def _raise(error: Exception) -> None:
    with file_errors(ListingError, "The file X cannot be read", kept="Kept.", advice="Look."):
        raise error


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (FileNotFoundError(2, "No such file or directory", "X"), "No such file or directory"),
        (OSError("said in words"), "said in words"),
        (OSError(), "OSError"),
        (ValueError("embedded null byte"), "embedded null byte"),
        (UnicodeDecodeError("utf-8", b"\xff", 0, 1, "invalid"), "it is not UTF-8 text"),
    ],
)
def test_an_error_of_the_system_gets_its_reason_in_words(error: Exception, reason: str) -> None:
    """Whatever an OSError or a path's ValueError carries, the sentence has a reason in it."""
    with pytest.raises(ListingError) as told:
        _raise(error)
    assert str(told.value) == f"The file X cannot be read: {reason}. Kept. Look."
    assert told.value.__cause__ is error


def test_an_error_of_hostlink_passes_unchanged() -> None:
    """What was refused inside the block keeps its own words and class."""
    refused = RefusedError("No.")
    with pytest.raises(RefusedError) as told:
        _raise(refused)
    assert told.value is refused


def test_a_path_that_no_file_can_have_is_told_as_an_error(tmp_path: Path) -> None:
    """An image whose path holds a NUL byte is refused in a sentence, without a traceback."""
    from hostlink.firmware.hex_file import load_hex_file

    with pytest.raises(ListingError, match="cannot be read"):
        load_hex_file(tmp_path / "a\0b.hex", 32768)
