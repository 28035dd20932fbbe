"""Whether an image may go into a chip: places, vectors, starts; and the map that shows it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.firmware.chip import ATMEGA328P
from hostlink.firmware.hex_file import read_hex
from hostlink.firmware.memory_map import flash_tracks, segment_rows
from hostlink.firmware.review import ImageReview, review_image


def reviewed(data: bytes, boot_bytes: int = 2048) -> ImageReview:
    return review_image(read_hex(data, "test.hex", 32_768), ATMEGA328P, boot_bytes)


def rules(review: ImageReview) -> list[str]:
    return [each.rule for each in review.findings]


def test_a_sound_image_has_no_findings(
    hex_file: Callable[..., bytes], program: Callable[..., bytes]
) -> None:
    """Vectors that lead into the image, all of it below the bootloader: nothing to say."""
    review = reviewed(hex_file(program(20_000)))
    assert (review.findings, review.errors, review.doubts) == ((), (), ())
    assert review.application_end == 0x7800


def test_an_image_beyond_flash_and_in_the_bootloader_is_an_error(
    hex_file: Callable[..., bytes], program: Callable[..., bytes]
) -> None:
    """Both are named with their addresses; a smaller bootloader section makes room."""
    review = reviewed(hex_file(program(0x7801)))
    assert rules(review) == ["in-bootloader"]
    assert "7800 to 7800" in review.errors[0].message
    assert reviewed(hex_file(program(0x7801)), 512).findings == ()
    review = reviewed(hex_file(program(0x8002)), 512)
    assert rules(review) == ["beyond-flash", "in-bootloader"]
    assert "8000 to 8001" in review.errors[0].message


def test_the_image_of_a_bootloader_is_told_as_one(hex_file: Callable[..., bytes]) -> None:
    """No other size of the section is advised: that of the board stays as it is."""
    review = reviewed(hex_file(b"\x00\xc0" * 200, 0x7800))
    assert review.errors[0].rule == "in-bootloader"
    assert "7800 to 798F, lies in the section of a bootloader" in review.errors[0].message


def test_an_empty_image_is_an_error() -> None:
    """No bytes, only an end record, or only blank bytes: there is nothing to write."""
    for data in (b"", b":00000001FF\n", b":02000000FFFF00\n:00000001FF\n"):
        assert "empty-image" in [each.rule for each in reviewed(data).errors]


def test_an_image_of_blank_bytes_is_called_blank(hex_file: Callable[..., bytes]) -> None:
    """It lies in the flash; nothing is wrong with its addresses."""
    (error,) = reviewed(hex_file(b"\xff" * 2_000)).errors
    assert "FF, as in blank flash" in error.message
    assert "outside the flash" not in error.message


def test_a_reset_vector_that_wraps_round_is_named_by_its_address(
    hex_file: Callable[..., bytes],
) -> None:
    """RJMP .-840 at 0 (CE5C: k = -420; AVR instruction set manual) leads to 7CBA of 8000."""
    (doubt,) = reviewed(hex_file(b"\x5c\xce" + bytes(62))).doubts
    assert "leads to 7CBA, where the image holds nothing" in doubt.message


def test_a_byte_order_mark_before_the_first_record_is_no_fault(
    hex_file: Callable[..., bytes], program: Callable[..., bytes]
) -> None:
    """An editor that saves text as UTF-8 may have put it there."""
    review = reviewed(b"\xef\xbb\xbf" + hex_file(program(2_000)))
    assert review.findings == ()


@pytest.mark.parametrize(
    ("first", "rule"),
    [
        (b"\xff\xff\xff\xff", "no-vector-table"),
        (b"\x00\x00\x00\x00", "odd-vector-table"),  # NOP, no jump
        (b"\x0c\x94\x00\x3f", "odd-vector-table"),  # JMP to 7E00, where the image holds nothing
        (b"\xff\xdf\x00\x00", "odd-vector-table"),  # RCALL
    ],
)
def test_an_image_that_does_not_begin_like_a_program_is_doubted(
    hex_file: Callable[..., bytes], program: Callable[..., bytes], first: bytes, rule: str
) -> None:
    """The reset vector must be a jump that leads into the image."""
    review = reviewed(hex_file(first + program()[4:]))
    assert rules(review) == [rule]
    assert review.doubts
    assert not review.errors


def test_both_kinds_of_jump_are_read(
    hex_file: Callable[..., bytes], program: Callable[..., bytes]
) -> None:
    """RJMP .+0 leads to the next word (instruction set manual: C000), JMP to any word address."""
    assert reviewed(hex_file(b"\x33\xc0\x00\x00" + program()[4:])).findings == ()
    assert reviewed(hex_file(b"\x0c\x94\x34\x00" + program()[4:])).findings == ()


def test_a_short_vector_table_is_only_a_note(
    hex_file: Callable[..., bytes], program: Callable[..., bytes]
) -> None:
    """A program that uses no interrupts may have code where the other vectors would be."""
    review = reviewed(hex_file(program()[:4] + b"\x00" * 100 + program()[104:]))
    assert rules(review) == ["short-vector-table"]
    assert not review.doubts


def test_an_image_that_begins_elsewhere_is_doubted(
    hex_file: Callable[..., bytes], program: Callable[..., bytes], record: Callable[..., str]
) -> None:
    """Not at 0000, or with a start address of its own: these chips start at 0000."""
    assert rules(reviewed(hex_file(program(), 0x400))) == ["no-vector-table"]
    start = record(0, b"\x00\x00\x01\x00", 5).encode() + b"\n"
    assert rules(reviewed(start + hex_file(program()))) == ["odd-start"]


def test_a_gap_is_named(
    hex_file: Callable[..., bytes], program: Callable[..., bytes], record: Callable[..., str]
) -> None:
    """As small as a record: one may be missing. Larger: a part of the image is placed elsewhere."""
    rows = hex_file(program(3000)).split(b"\n")
    del rows[20]
    (finding,) = reviewed(b"\n".join(rows)).findings
    assert (finding.rule, finding.weight) == ("gap", "doubt")
    size = (len(rows[19].strip()) - 11) // 2
    assert f"{20 * size:04X} to {21 * size - 1:04X} is not in the file" in finding.message
    apart = record(0x5000, b"\1\2\3", 0).encode() + b"\n" + hex_file(program(3000))
    (finding,) = reviewed(apart).findings
    assert (finding.rule, finding.weight) == ("gap", "note")
    assert "0BB8 to 4FFF is not in the file (17,480 bytes); it is blank." in finding.message


def test_the_map_of_flash_tells_read_proven_and_the_bootloader_apart() -> None:
    """Of a chip with 128 bytes a page and 2,048 bytes of bootloader (data sheet of the part)."""
    rows = flash_tracks(((0, 300),), ATMEGA328P, 2048, read=40, proven=(1,), here=2)
    assert rows[0] == ("0000", "─━█" + "┄" * 29, "1 proven")
    assert rows[1] == ("1000", "┄" * 32, "8 read")
    assert rows[7] == ("7000", "┄" * 16 + "┃" + " " * 15, "")
    clash = flash_tracks(((0x7780, 0x7881),), ATMEGA328P, 2048)
    assert clash[7] == ("7000", "┄" * 15 + "─╳╳" + " " * 14, "3 pages")
    assert segment_rows(((0x7780, 0x7881),)) == [("7780", "7880", 257)]
