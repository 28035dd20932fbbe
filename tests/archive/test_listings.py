"""Listings: stored once, compactly, and given back exactly."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.archive import Archive, Content, Origin
from hostlink.archive.listings import lines_in, listing_columns, pack, unpack
from hostlink.errors import ArchiveError

storable = st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=300)


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    """One archive for all examples of a property."""
    with Archive.open(tmp_path_factory.mktemp("shelf") / "archive.sqlite3") as archive:
        yield archive


@given(data=st.binary(max_size=2000), text=storable)
def test_packed_bytes_come_back(data: bytes, text: str) -> None:
    """Whatever is packed against whatever text comes back the same."""
    assert unpack(pack(data, text), text) == data


def test_a_capture_packs_to_a_fraction_of_its_text() -> None:
    """The CR LF form of a listing costs under a fifth of it beside the text."""
    text = "".join(f'{n} PRINT "HIGH WATER AT "; H*{n}\n' for n in range(10, 400, 10))
    assert len(pack(text.replace("\n", "\r\n").encode(), text)) < len(text) / 5


def test_a_listing_that_its_charset_gives_back_is_not_stored_twice() -> None:
    """Text in UTF-8, ASCII or a codec of single bytes is its own raw form; by another it is not."""
    for charset, twice in (("utf-8", False), ("ascii", False), ("cp437", False), ("utf-16", True)):
        text = "10 REM\n"
        held = Content(text.encode(charset), text, text, "practice", charset)
        assert (listing_columns(held)["raw"] is not None) is twice


def test_packed_bytes_can_be_read_by_any_zlib() -> None:
    """As the schema's comment tells: the text in capitals and as it is stand as dictionary; without
    any text two zero bytes do."""
    for text, dictionary in (("10 a\n", b"10 A\n10 a\n"), ("", b"\0\0")):
        reader = zlib.decompressobj(zdict=dictionary)
        assert reader.decompress(pack(b"10 A\r\n", text)) + reader.flush() == b"10 A\r\n"
        with pytest.raises(zlib.error):
            zlib.decompress(pack(b"10 A\r\n", text))


def test_cut_off_packed_bytes_are_noticed() -> None:
    """A stream that ends early is an error, not a shorter listing."""
    packed = pack(b"10 PRINT 1\r\n" * 40, "10 PRINT")
    with pytest.raises(zlib.error):
        unpack(packed[:-6], "10 PRINT")


@given(
    raw=st.binary(max_size=400),
    text=storable,
    canonical=storable,
    profile=st.sampled_from(["practice", "generic"]),
    charset=st.sampled_from(["latin-1", "cp437", "utf-8", "no-such-charset"]),
    size=st.none() | st.integers(0, 2**40),
)
def test_any_content_comes_back_exactly(
    shelf: Archive,
    raw: bytes,
    text: str,
    canonical: str,
    profile: str,
    charset: str,
    size: int | None,
) -> None:
    """Bytes, text, canonical text, profile, charset and size are given back as they were."""
    content = Content(raw, text, canonical, profile, charset, size)
    rescue = shelf.rescue(content, Origin("rescue"))
    assert shelf.content(rescue) == content
    assert shelf.holds(content)[0].sha256 == content.sha256


def test_the_same_content_is_stored_once(
    archive: Archive, path: Path, content: Callable[..., Content]
) -> None:
    """Two programs and a rescue of one listing share one row."""
    same = content("10 PRINT 1\n")
    archive.keep("ONE", same, Origin("file"))
    archive.keep("TWO", same, Origin("file"))
    archive.rescue(same, Origin("rescue"))
    conn = sqlite3.connect(path)
    assert conn.execute("SELECT count(*) FROM listings").fetchone() == (1,)
    conn.close()


def test_the_same_bytes_read_by_another_profile_keep_their_own_canonical_text(
    archive: Archive, content: Callable[..., Content]
) -> None:
    """What one profile makes of the bytes never replaces what another made of them."""
    first = content("10 print 1\n")
    second = content("10 print 1\n", profile="generic", upper=False)
    one = archive.keep("ONE", first, Origin("file")).revision
    two = archive.keep("TWO", second, Origin("file")).revision
    assert archive.content(one) == first
    assert archive.content(two) == second
    assert one.sha256 == two.sha256


def test_text_that_no_file_can_hold_is_refused(archive: Archive) -> None:
    """Half of a character pair gives a clear error, and nothing is kept."""
    with pytest.raises(ArchiveError, match=r"U\+D83D"):
        archive.keep("ODD", Content(b"x", "\ud83d", "", "practice", "latin-1"), Origin("file"))
    assert archive.programs() == []


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("", 0),
        ("\n\n", 0),
        ("10 A\n", 1),
        ("10 A\r\n20 B", 2),
        ("10 A\r \t\r20 B\r", 2),
        ("\x85", 1),
    ],
)
def test_lines_are_counted_at_cr_lf_and_crlf(text: str, count: int) -> None:
    """Blank lines do not count, and no other character ends a line."""
    assert lines_in(text) == count
