"""Reading Intel HEX files: good ones, and every fault by its line. Records are made by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hostlink.errors import ListingError
from hostlink.firmware.hex_file import HexFile, load_hex_file, read_hex
from hostlink.firmware.image import Image
from hostlink.firmware.plan import blank_padded

FLASH = 32_768


def read(*rows: str) -> HexFile:
    return read_hex("".join(row + "\n" for row in rows).encode(), "test.hex", FLASH)


def found(read_file: HexFile) -> list[tuple[str, int | None]]:
    return [(each.rule, each.line) for each in read_file.findings]


END = ":00000001FF"


def test_a_good_file_is_read_and_nothing_is_found(hex_file: Callable[..., bytes]) -> None:
    """Data, segments and name come out as they are; there are no findings."""
    data = bytes(range(1, 201))
    got = read_hex(hex_file(data, 0x100), "test.hex", FLASH)
    assert got.findings == ()
    assert got.image.flash == b"\xff" * 0x100 + data
    assert got.image.segments == ((0x100, 0x1C8),)
    assert (got.image.name, got.image.used_bytes, got.image.start) == ("test.hex", 200, None)


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_of_every_system_are_read(hex_file: Callable[..., bytes], end: str) -> None:
    """LF, CR LF and CR make no difference."""
    data = hex_file(b"\x01" * 40).replace(b"\n", end.encode())
    got = read_hex(data, "test.hex", FLASH)
    assert (got.findings, got.image.flash) == ((), b"\x01" * 40)


def test_every_bad_record_is_named_by_its_line(record: Callable[..., str]) -> None:
    """Five different faults in one file are all found, each with its line."""
    good = record(0, b"\x01\x02")
    bad = good[:-2] + f"{(int(good[-2:], 16) + 1) & 0xFF:02X}"
    got = read(
        good,
        bad,  # checksum
        record(2, b"\x03")[:-4] + "FF",  # a byte short
        record(0, b"", 9),  # no such type
        "10 PRINT",  # not a record
        record(0, b"\x05"),  # address 0 again
        END,
    )
    assert found(got) == [
        ("wrong-checksum", 2),
        ("wrong-length", 3),
        ("unknown-record-type", 4),
        ("bad-record", 5),
        ("overlap", 6),
    ]
    assert all(each.weight == "error" for each in got.findings)
    assert got.image.flash == b"\x01\x02"


def test_what_the_library_passes_over_is_found_too(record: Callable[..., str]) -> None:
    """No end record, data behind it, and an end record with an address."""
    data = record(0, b"\x01")
    assert found(read(data)) == [("no-end-record", 1)]
    assert found(read(data, END, "", data)) == [("data-after-end", 4)]
    odd = read(data, ":00123401B9")
    assert found(odd) == [("odd-end-record", 2)]
    assert odd.findings[0].weight == "note"


def test_two_records_for_one_address_and_records_past_the_end_are_both_named(
    record: Callable[..., str],
) -> None:
    """A regression seen in a real packaged image: both faults in one file."""
    got = read(record(0x10, b"\x01\x02"), record(0x11, b"\x03"), record(0x8000, b"\x04"), END)
    assert found(got) == [("overlap", 2)]
    assert got.image.segments == ((0x10, 0x12), (0x8000, 0x8001))
    assert got.image.flash.endswith(b"\x01\x02")


def test_extended_addresses_move_data(record: Callable[..., str]) -> None:
    """Types 02 (times 16) and 04 (times 65536) give the upper part of the address."""
    got = read(record(0, b"\x01\x00", 2), record(0, b"\xaa"), END)
    assert got.image.segments == ((0x1000, 0x1001),)
    got = read(record(0, b"\x00\x01", 4), record(0, b"\xaa"), END)
    assert got.image.segments == ((0x10000, 0x10001),)
    assert got.image.flash == b""


def test_a_start_address_is_read(record: Callable[..., str]) -> None:
    """Types 03 and 05 name where the program starts."""
    assert read(record(0, b"\x00\x01\x00\x02", 3), record(0, b"\x01"), END).image.start == 0x12
    assert read(record(0, b"\x00\x00\x01\x00", 5), record(0, b"\x01"), END).image.start == 0x100


def test_the_hash_is_that_of_the_flash_content(
    record: Callable[..., str], hex_file: Callable[..., bytes]
) -> None:
    """Records of another length, in another order, or the chip itself: the same SHA-256."""
    data = bytes(range(1, 65))
    straight = read_hex(hex_file(data), "a.hex", FLASH).image
    shuffled = read(record(32, data[32:]), record(0, data[:32]), END).image
    from_chip = Image.from_flash("chip", blank_padded(data, 0x7800))
    assert straight.sha256 == shuffled.sha256 == from_chip.sha256
    assert straight.sha256 != read_hex(hex_file(data[:-1]), "a.hex", FLASH).image.sha256


def test_a_file_that_cannot_be_read_or_is_too_large_is_said_so(tmp_path: Path) -> None:
    """A missing file, a folder and a huge file each get one sentence; nothing is followed."""
    large = tmp_path / "large.hex"
    large.write_bytes(b":" * (512 * 1024 + 1))
    for path in (tmp_path / "missing.hex", tmp_path, large):
        with pytest.raises(ListingError) as caught:
            load_hex_file(path, FLASH)
        assert str(path) in caught.value.what
        assert "Nothing was sent" in caught.value.kept
    large.write_bytes(b":00000001FE\n" + b":" * (512 * 1024 - 20))
    assert load_hex_file(large, FLASH).findings


def test_a_path_inside_a_file_is_only_a_bad_record(tmp_path: Path) -> None:
    """An image is data: a line that looks like a path or a command is a bad record."""
    victim = tmp_path / "victim.hex"
    victim.write_text(END)
    got = read(str(victim), "include victim.hex", END)
    assert found(got) == [("bad-record", 1), ("bad-record", 2)]


@example(b":00000001FF")
@given(st.binary(max_size=400))
@settings(max_examples=150, deadline=None)
def test_no_bytes_crash_the_reader(data: bytes) -> None:
    """Anything at all gives an image or findings, and never an exception. (A lone end record is
    sound, and an image of nothing: the review tells that.)"""
    got = read_hex(data, "noise.hex", FLASH)
    assert got.findings or not got.image.segments
    assert len(got.image.flash) <= FLASH


@given(st.dictionaries(st.integers(0, FLASH - 1), st.integers(0, 255), max_size=60))
@settings(max_examples=80, deadline=None)
def test_what_a_file_says_is_what_the_image_holds(held: dict[int, int]) -> None:
    """Any bytes at any addresses, one record each, come back at their addresses."""
    rows = []
    for address, byte in held.items():
        body = bytes([1, address >> 8, address & 0xFF, 0, byte])
        rows.append(f":{body.hex()}{-sum(body) & 0xFF:02x}")
    got = read(*rows, END)
    flash = blank_padded(got.image.flash, FLASH)
    assert got.findings == ()
    assert all(flash[address] == byte for address, byte in held.items())
    assert got.image.used_bytes == len(held)
