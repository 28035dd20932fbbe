"""The bootloader protocol's codes and frames against the published application note.

Source: Atmel application note AVR061, Rev. 2525B, 04/03, and its command.h v1.0, 09.09.2002 (read;
hexadecimal). The layout of "load address" (low byte first, word address) is from memory; the word
address is also in AVR068 (read). Frames with data are derived from those layouts.
"""

from __future__ import annotations

import pytest

from hostlink.firmware import protocol
from hostlink.practice import bootloader as board

CODES = {
    "OK": 0x10,
    "FAILED": 0x11,
    "UNKNOWN": 0x12,
    "NO_DEVICE": 0x13,
    "INSYNC": 0x14,
    "NOSYNC": 0x15,
    "END": 0x20,
}
COMMANDS = {
    "SYNC": 0x30,
    "SIGN_ON": 0x31,
    "SET_PARAMETER": 0x40,
    "GET_PARAMETER": 0x41,
    "SET_DEVICE": 0x42,
    "SET_DEVICE_EXT": 0x45,
    "ENTER": 0x50,
    "LEAVE": 0x51,
    "ERASE": 0x52,
    "LOAD_ADDRESS": 0x55,
    "UNIVERSAL": 0x56,
    "PROGRAM_PAGE": 0x64,
    "READ_PAGE": 0x74,
    "READ_SIGNATURE": 0x75,
}


@pytest.mark.parametrize(("name", "code"), CODES.items())
def test_both_ends_use_the_published_answer_codes(name: str, code: int) -> None:
    """The host and the practice board both use the published codes."""
    assert getattr(protocol, name) == code
    assert getattr(board, name, code) == code


@pytest.mark.parametrize(("name", "code"), COMMANDS.items())
def test_the_practice_board_takes_the_published_commands(name: str, code: int) -> None:
    """The practice board understands exactly the published commands."""
    assert getattr(board, name) == code


@pytest.mark.parametrize(
    ("frame", "published"),
    [
        (protocol.get_sync(), "30 20"),
        (protocol.enter_programming(), "50 20"),
        (protocol.leave_programming(), "51 20"),
        (protocol.read_signature(), "75 20"),
        (protocol.load_address(0x0080 // 2), "55 40 00 20"),
        (protocol.load_address(0x7F80 // 2), "55 c0 3f 20"),
        (protocol.read_page(128), "74 00 80 46 20"),
        (protocol.read_page(128, protocol.EEPROM), "74 00 80 45 20"),
        (protocol.program_page(bytes(128)), "64 00 80 46 " + "00 " * 128 + "20"),
    ],
)
def test_a_frame_is_laid_out_as_published(frame: bytes, published: str) -> None:
    """Each frame as the note lays it out; byte address 0080 is word address 0040."""
    assert frame == bytes.fromhex(published)


def test_an_address_beyond_sixteen_bits_is_refused() -> None:
    """The frame has two bytes for it."""
    for address in (-1, 0x10000):
        with pytest.raises(ValueError, match="address"):
            protocol.load_address(address)


def said(*frames: str) -> list[str]:
    """What the practice board's bootloader answers to each frame, in hexadecimal."""
    chip = board.ChipMemories(board.new_flash(2048), 0x7800)
    loader = board.Bootloader(chip, 0.0, 1.0, 0.0)
    answers = []
    now = 0.0
    for frame in frames:
        out = b""
        for byte in bytes.fromhex(frame):
            now += 0.001
            out += b"".join(data for _, data in loader.hear(byte, now))
        answers.append(out.hex(" "))
    return answers


def test_the_practice_board_answers_as_published() -> None:
    """Sync, sign-on, parameters (80 hardware, 81 and 82 software version), signature, a page."""
    assert said("30 20", "31 20", "41 80 20", "41 81 20", "41 82 20", "50 20", "75 20") == [
        "14 10",
        "14 41 56 52 20 53 54 4b 10",
        "14 02 10",
        "14 01 10",
        "14 10 10",
        "14 10",
        "14 1e 95 0f 10",
    ]
    page = "64 00 80 46 " + "a5 " * 128 + "20"
    answers = said("30 20", "50 20", "55 40 00 20", page, "74 00 80 46 20", "51 20")
    assert answers[2:] == ["14 10", "14 10", "14 " + "a5 " * 128 + "10", "14 10"]


def test_a_frame_without_end_of_packet_is_answered_nosync() -> None:
    """Published for every command."""
    assert said("30 20", "75 21", "50 30", "30 20")[1:] == ["15", "15", "14 10"]
