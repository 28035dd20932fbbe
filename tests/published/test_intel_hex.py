"""Intel HEX records against the published specification.

Source: Intel, *Hexadecimal Object File Format Specification*, Rev A, 6 January 1988: a record is a
colon, length, offset (high byte first), type, data and checksum; all bytes from the length to the
checksum add up to 0 modulo 256; types 02 and 04 have 2 bytes, 03 and 05 have 4, 01 has none. Its
only worked checksum is the end record's (section 8). The other records here are derived from that
rule, and checked against it before they are used.
"""

from __future__ import annotations

import pytest

from hostlink.firmware.hex_file import HexFile, read_hex

END = ":00000001FF"
DERIVED = {
    ":020000021200EA": "extended segment address",
    ":0400000300003800C1": "start segment address",
    ":02000004FFFFFC": "extended linear address",
    ":04000005000000CD2A": "start linear address",
    ":10010000214601360121470136007EFE09D2190140": "data",
    ":0300300002337A1E": "data",
}


def read(*rows: str) -> HexFile:
    return read_hex("\n".join(rows).encode(), "published.hex", 32_768)


@pytest.mark.parametrize("row", [END, *DERIVED])
def test_every_record_adds_up_to_nought(row: str) -> None:
    """The checksum rule itself, without the code under test."""
    assert sum(bytes.fromhex(row[1:])) % 256 == 0


@pytest.mark.parametrize("row", DERIVED)
def test_each_type_is_read_without_a_finding(row: str) -> None:
    """A file of this record and the end record has no faulty line."""
    assert read(row, END).findings == ()


@pytest.mark.parametrize("row", [END, *DERIVED])
@pytest.mark.parametrize("place", [1, 3, 5, 7, -2])
def test_any_one_changed_digit_is_found(row: str, place: int) -> None:
    """A record with one hexadecimal digit changed no longer fits its checksum, length or type."""
    digit = f"{int(row[place], 16) ^ 1:X}"
    changed = row[:place] + digit + (row[place + 1 :] if place != -2 else row[-1])
    got = read(changed, END)
    assert [each.line for each in got.findings if each.weight == "error" and each.line] == [1]


def test_data_lies_at_its_offset() -> None:
    """The two data records: 16 bytes at 0100, 3 bytes at 0030."""
    got = read(*[row for row, kind in DERIVED.items() if kind == "data"], END)
    assert got.image.segments == ((0x30, 0x33), (0x100, 0x110))
    assert got.image.flash[0x30:0x33] == b"\x02\x33\x7a"
    assert got.image.flash[0x100:0x104] == b"\x21\x46\x01\x36"


@pytest.mark.parametrize(
    ("row", "start"),
    [(":0400000300003800C1", 0x3800), (":04000005000000CD2A", 0xCD)],
)
def test_both_kinds_of_start_address_are_read(row: str, start: int) -> None:
    """CS:IP 0000:3800 is 3800; EIP 000000CD is CD."""
    assert read(row, END).image.start == start


def test_both_kinds_of_base_address_are_added() -> None:
    """Segment base 1200 times 16 is 12000; linear base FFFF is FFFF0000."""
    assert read(":020000021200EA", ":0300300002337A1E", END).image.segments == ((0x12030, 0x12033),)
    assert read(":02000004FFFFFC", ":0300300002337A1E", END).image.segments == (
        (0xFFFF0030, 0xFFFF0033),
    )


@pytest.mark.parametrize(
    ("kind", "length"), [(1, 1), (2, 1), (2, 3), (3, 3), (4, 1), (4, 4), (5, 5)]
)
def test_the_fixed_lengths_hold(kind: int, length: int) -> None:
    """A record of a type with a fixed length that has another is an error."""
    body = bytes([length, 0, 0, kind, *([0] * length)])
    row = f":{body.hex().upper()}{-sum(body) & 0xFF:02X}"
    found = [each for each in read(row, END).findings if each.weight == "error"]
    assert [each.line for each in found] == [1]
