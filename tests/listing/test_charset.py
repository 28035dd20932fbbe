"""Bytes and text by a profile's charset."""

from __future__ import annotations

import pytest

from hostlink.errors import ListingError, ProfileError
from hostlink.listing import Form, cannot_take, check_charset, to_bytes, to_text


@pytest.mark.parametrize("name", ["latin-1", "cp437", "cp850", "koi8-r"])
def test_full_single_byte_codecs_are_lossless(name):
    """All 256 values survive the way to text and back."""
    assert check_charset(name)
    assert to_bytes(to_text(bytes(range(256)), name), name) == bytes(range(256))


@pytest.mark.parametrize(
    "name", ["ascii", "utf-8", "utf-16", "cp1252", "rot13", "hex", "no-such-codec", "", "a\0b"]
)
def test_other_codecs_are_not(name):
    """Codecs with gaps, of several bytes, not for text or unknown are refused in words."""
    assert not check_charset(name)
    with pytest.raises(ProfileError, match="256"):
        to_text(b"A", name)


def test_a_character_that_the_charset_lacks_is_named():
    """The message shows the character with its code."""
    with pytest.raises(ListingError, match=r"€ \(U\+20AC\)"):
        to_bytes("10 PRINT €", "latin-1")


def test_characters_that_the_board_cannot_take_have_their_places():
    """Both what the charset lacks and what the board's ranges leave out are found."""
    assert cannot_take("A\té€B", Form()) == ((1, "\t"), (2, "é"), (3, "€"))
    assert cannot_take("é€", Form(characters=((32, 255),))) == ((1, "€"),)
    assert cannot_take("÷", Form(charset="cp437", characters=((32, 255),))) == ()
