"""From bytes to the text of a listing."""

from __future__ import annotations

import random

import pytest

from hostlink.errors import ListingError
from hostlink.listing import LIMIT, decode_listing


def refused(raw: bytes, charset: str = "utf-8") -> ListingError:
    """The error that the bytes are refused with; it names the source and says nothing changed."""
    with pytest.raises(ListingError) as caught:
        decode_listing(raw, name="tide.bas", charset=charset)
    assert caught.value.what.startswith("tide.bas ")
    assert caught.value.kept == "Nothing was changed."
    return caught.value


def test_utf_8_is_read_with_or_without_a_byte_order_mark():
    """The mark says how to read the text and is no part of it."""
    assert decode_listing("10 REM é\r\n".encode(), name="a") == "10 REM é\r\n"
    assert decode_listing(b"\xef\xbb\xbf10 A\n", name="a") == "10 A\n"


@pytest.mark.parametrize("codec", ["utf-16-le", "utf-16-be"])
def test_utf_16_is_read_by_its_mark(codec):
    """Some editors store so; the order mark tells which byte comes first."""
    assert decode_listing("\ufeff10 A\n".encode(codec), name="a") == "10 A\n"


def test_bytes_of_a_board_are_read_by_its_charset_without_loss():
    """What is no UTF-8 is read by the profile's charset, byte for byte."""
    raw = b'10 PRINT "\x80\xff"\n'
    assert decode_listing(raw, name="a", charset="cp437").encode("cp437") == raw


def test_undecodable_bytes_are_refused_with_their_place():
    """Without a charset that takes every byte the first bad one is named."""
    assert refused(b"10 A\xff\n").what.endswith("byte 5 is 0xFF.")


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "is empty"),
        (b" \r\n\t\n", "nothing but blanks"),
        (b"\xef\xbb\xbf", "nothing but blanks"),
        (b"10 PRINT\0\n", "1 control byte among 10 bytes"),
        (b"\x7fELF\x02\x01\x01", "control bytes"),
        (b"\xff\xfe\x00\xd8", "UTF-16"),
        (b"\xff\xfe1\x00\x00\x00", "NUL"),
        (b"A" * (LIMIT + 1), "larger than 1,048,576 bytes"),
    ],
)
def test_what_is_no_listing_is_refused_in_one_sentence(raw, says):
    """Empty, huge and binary sources each get their own words."""
    assert says in refused(raw).what


def test_random_bytes_are_junk_by_every_charset():
    """Fifty seeded blocks of 2,000 random bytes are all refused, though latin-1 takes any byte."""
    for seed in range(50):
        raw = random.Random(seed).randbytes(2000)
        assert "not text" in refused(raw, "latin-1").what


def test_a_source_at_the_limit_is_read():
    """The limit itself is allowed."""
    raw = (b"10 A\n" * (LIMIT // 5 + 1))[:LIMIT]
    assert len(decode_listing(raw, name="a")) == LIMIT
