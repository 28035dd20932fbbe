"""Zips of listings: sound ones are read, hostile ones are refused whole and cheaply."""

from __future__ import annotations

import io
import tracemalloc
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hostlink.errors import ListingError
from hostlink.listing.bundle import MOST_MEMBERS, Member, is_zip, read_zip, write_zip
from hostlink.listing.source import LIMIT


def zip_of(*members: tuple[str, bytes]) -> bytes:
    """A zip as the standard library writes it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as opened:
        for name, data in members:
            opened.writestr(name, data)
    return out.getvalue()


def test_what_is_written_reads_back_and_is_always_the_same() -> None:
    """Names and bytes come back; writing twice gives the same bytes."""
    members = [Member("a.bas", b"10 PRINT\n"), Member("b.bas", b"")]
    data = write_zip(members)
    assert is_zip(data)
    assert read_zip(data, name="z") == members
    assert write_zip(members) == data


def test_folders_and_hidden_files_are_passed_over() -> None:
    """The name of a listing is the last part of its path."""
    data = zip_of(("class/", b""), ("class/a.bas", b"1"), ("class/.hidden", b"2"), ("b.bas", b"3"))
    assert [m.name for m in read_zip(data, name="z")] == ["a.bas", "b.bas"]


@pytest.mark.parametrize(
    "path", ["../a.bas", "x/../../a.bas", "/etc/a.bas", "C:/a.bas", "..\\a.bas", "c:a.bas"]
)
def test_a_path_that_leads_outside_refuses_the_whole_zip(path: str) -> None:
    """Not only that member: a zip that does this is not to be trusted."""
    with pytest.raises(ListingError, match="outside itself"):
        read_zip(zip_of(("good.bas", b"1"), (path, b"2")), name="z")


def test_a_bomb_is_refused_before_it_unpacks() -> None:
    """100 MiB of blanks in a small zip: it is refused after at most 1 MiB of them."""
    data = zip_of(("a.bas", b" " * (100 << 20)))
    assert len(data) < 200_000
    tracemalloc.start()
    try:
        with pytest.raises(ListingError, match="unpacks to more"):
            read_zip(data, name="z")
        _, most_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most_bytes < 10 << 20


def test_many_large_members_are_refused_by_their_sum() -> None:
    """Each within the limit, all together not."""
    data = zip_of(*((f"{n}.bas", b" " * LIMIT) for n in range(20)))
    with pytest.raises(ListingError, match="unpacks to more"):
        read_zip(data, name="z")


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_ways_of_packing_that_cannot_be_bounded_are_not_read(method: int) -> None:
    """A member of 1 KB packed so took 3 GB of memory to read its first byte. It is refused before
    it is opened."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as opened:
        opened.writestr("a.bas", b" " * (8 << 20))
    tracemalloc.start()
    try:
        with pytest.raises(ListingError, match=r"a\.bas in it is packed in a way unknown"):
            read_zip(out.getvalue(), name="z")
        assert tracemalloc.get_traced_memory()[1] < 4 << 20
    finally:
        tracemalloc.stop()


def test_a_directory_of_very_many_entries_is_refused_unread() -> None:
    """Each entry of 46 bytes would become an object of half a kilobyte, whatever the end of the
    directory says of their number."""
    entry = zip_of(("a", b""))
    at = entry.index(b"PK\x01\x02")
    end = entry.index(b"PK\x05\x06")
    data = entry[:at] + entry[at:end] * 300_000 + entry[end:]
    tracemalloc.start()
    try:
        with pytest.raises(ListingError, match="more than 10,000 files"):
            read_zip(data, name="z")
        assert tracemalloc.get_traced_memory()[1] < 4 << 20
    finally:
        tracemalloc.stop()


def test_a_lying_size_does_not_help() -> None:
    """The header says 5 bytes; what counts is what comes out."""
    data = bytearray(zip_of(("a.bas", b" " * (LIMIT + 10))))
    real = (LIMIT + 10).to_bytes(4, "little")
    assert data.count(real) >= 1
    with pytest.raises(ListingError):
        read_zip(bytes(data).replace(real, (5).to_bytes(4, "little")), name="z")


def test_too_many_members_and_names_that_come_twice_are_refused() -> None:
    """Also where they differ by case only, as some systems keep one of the two."""
    with pytest.raises(ListingError, match="more than 10,000"):
        read_zip(zip_of(*((f"{n}.bas", b"") for n in range(MOST_MEMBERS + 1))), name="z")
    with pytest.raises(ListingError, match="occurs twice"):
        read_zip(zip_of(("a.bas", b"1"), ("x/A.BAS", b"2")), name="z")


def test_an_encrypted_member_is_named() -> None:
    """Its flag alone is enough (PKWARE APPNOTE 4.4.4, bit 0)."""
    data = bytearray(zip_of(("a.bas", b"1")))
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        data[data.index(mark) + offset] |= 1
    with pytest.raises(ListingError, match="encrypted"):
        read_zip(bytes(data), name="z")


@given(st.binary(max_size=200), st.integers(0, 400))
def test_damage_anywhere_gives_one_clear_error_or_the_members(junk: bytes, at: int) -> None:
    """Bytes overwritten anywhere in a zip."""
    data = zip_of(("a.bas", b"10 PRINT\n"), ("b.bas", b"20 END\n"))
    at = min(at, len(data))
    try:
        members = read_zip(data[:at] + junk + data[at + len(junk) :], name="z")
    except ListingError as error:
        assert error.what.startswith("The zip file z is refused")
    else:
        assert all(isinstance(member, Member) for member in members)
