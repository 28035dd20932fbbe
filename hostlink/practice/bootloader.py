"""The serial bootloader of the practice board, strictly as published, and the flash it writes.

Source: Atmel application note AVR061, Rev. 2525B, 04/03, and its command.h; ATmega328P data sheet
DS40002061A (sizes, signature, 4.5 ms to erase and write a page). Mistakes are punished:

1. A frame that does not end with the end-of-packet byte is answered NOSYNC and forgotten. Before
   the first good frame nothing is answered, so that line noise brings no bytes.
2. Page and signature commands outside programming mode, and pages that are not whole, out of range
   or in the bootloader's own section, are answered FAILED and change nothing.
3. While it writes a page only two more bytes are held; further ones are lost.
4. After `window_s` without a good frame it starts the application.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from hostlink.practice.settings import BoardSettings

OK, FAILED, UNKNOWN, INSYNC, NOSYNC, END = 0x10, 0x11, 0x12, 0x14, 0x15, 0x20
SYNC, SIGN_ON, SET_PARAMETER, GET_PARAMETER = 0x30, 0x31, 0x40, 0x41
SET_DEVICE, SET_DEVICE_EXT, ENTER, LEAVE, ERASE = 0x42, 0x45, 0x50, 0x51, 0x52
LOAD_ADDRESS, UNIVERSAL, PROGRAM_PAGE, READ_PAGE, READ_SIGNATURE = 0x55, 0x56, 0x64, 0x74, 0x75

# Bytes of a frame, end of packet included, if they do not depend on its content.
_LENGTHS = {
    SYNC: 2,
    SIGN_ON: 2,
    SET_PARAMETER: 4,
    GET_PARAMETER: 3,
    SET_DEVICE: 22,
    SET_DEVICE_EXT: 7,
    ENTER: 2,
    LEAVE: 2,
    ERASE: 2,
    LOAD_ADDRESS: 4,
    UNIVERSAL: 6,
    READ_PAGE: 5,
    READ_SIGNATURE: 2,
}
_NEED_PROGRAMMING = (LOAD_ADDRESS, PROGRAM_PAGE, READ_PAGE, READ_SIGNATURE)
_PARAMETERS = {0x80: 2, 0x81: 1, 0x82: 16}  # hardware version, software major and minor
_HELD = 2  # bytes that the UART holds by itself
_ENDLESS_JUMP = b"\xff\xcf"  # RJMP to itself: an application that does nothing at all

FLASH_BYTES, PAGE_BYTES = 32_768, 128
_FIRMWARE_BYTES = 9_000  # of the invented image that a new board holds
_VECTORS = b"\x0c\x94\x40\x00" * 26  # JMP to word 0x0040, 26 times


def new_flash(boot_bytes: int) -> bytearray:
    """Return the flash of a new practice board, with an invented image and bootloader."""
    noise = random.Random(328)
    flash = bytearray(b"\xff" * FLASH_BYTES)
    flash[:_FIRMWARE_BYTES] = noise.randbytes(_FIRMWARE_BYTES)
    flash[: len(_VECTORS)] = _VECTORS
    code = noise.randbytes(boot_bytes // 2)
    start = FLASH_BYTES - boot_bytes
    flash[start : start + len(code)] = code
    return flash


def eeprom_bytes(slots: Mapping[str, Mapping[int, bytes]], size: int) -> bytes:
    """Return the EEPROM as bytes.

    Each slot has its name, 0 and its length, then number, text and end of each line; blank bytes
    follow.
    """
    held = bytearray()
    for name, lines in slots.items():
        body = b"".join(
            number.to_bytes(2, "little") + text + b"\r" for number, text in lines.items()
        )
        held += name.encode("ascii") + b"\0" + len(body).to_bytes(2, "little") + body
    return bytes(held.ljust(size, b"\xff")[:size])


@dataclass
class ChipMemories:
    """The memories that a bootloader works on.

    eeprom: 1 KiB, or None if it cannot be read through the bootloader. page_writes: number of
    writes of each page, for wear. worn_page: the page, from 1, whose first byte cannot change any
    more; 0 for none.
    """

    flash: bytearray
    boot_start: int
    signature: bytes = b"\x1e\x95\x0f"
    eeprom: bytes | None = None
    page_writes: dict[int, int] = field(default_factory=dict)
    worn_page: int = 0

    @property
    def is_mute(self) -> bool:
        """Return whether no firmware runs, because its first word is blank or an endless jump."""
        return bytes(self.flash[:2]) in (b"\xff\xff", _ENDLESS_JUMP)


def new_chip(settings: BoardSettings, worn_page: int) -> ChipMemories:
    """Return the chip of a new board. worn_page: as of `ChipMemories`."""
    return ChipMemories(
        new_flash(settings.boot_bytes),
        FLASH_BYTES - settings.boot_bytes,
        settings.signature.to_bytes(3),
        worn_page=worn_page,
    )


class Bootloader:
    """One run of the bootloader, from a restart to the start of the application.

    until: the time at which the application starts unless a good frame comes before.
    """

    def __init__(self, chip: ChipMemories, at: float, window_s: float, page_s: float) -> None:
        self.until = at + window_s
        self.left = False
        self.mistakes = 0
        self.overruns = 0
        self._chip = chip
        self._window_s = window_s
        self._page_s = page_s
        self._frame = bytearray()
        self._synced = False
        self._programming = False
        self._address = 0
        self._busy_until = at
        self._waiting = 0

    def hear(self, byte: int, at: float) -> list[tuple[float, bytes]]:
        """Take a byte that arrived at a time; return the answers, each with its earliest time."""
        if self.left:
            return []
        if at < self._busy_until:
            self._waiting += 1
            if self._waiting > _HELD:
                self.overruns += 1
                return []
            at = self._busy_until
        else:
            self._waiting = 0
        frame = self._frame
        frame.append(byte)
        if len(frame) < self._length():
            return []
        taken = bytes(frame)
        frame.clear()
        return self._framed(taken, at)

    def _length(self) -> int:
        """Return the length of the current frame in bytes, as far as it is known."""
        frame = self._frame
        if frame[0] != PROGRAM_PAGE:
            return _LENGTHS.get(frame[0], 2)
        return 5 if len(frame) < 3 else 5 + (frame[1] << 8 | frame[2])

    def _framed(self, frame: bytes, at: float) -> list[tuple[float, bytes]]:
        if frame[-1] != END:
            self.mistakes += self._synced
            return [(at, bytes((NOSYNC,)))] if self._synced else []
        if not self._synced and frame[0] != SYNC:
            return []
        self._synced = True
        self.until = at + self._window_s
        if frame[0] not in _LENGTHS and frame[0] != PROGRAM_PAGE:
            self.mistakes += 1
            return [(at, bytes((INSYNC, UNKNOWN)))]
        if frame[0] in _NEED_PROGRAMMING and not self._programming:
            self.mistakes += 1
            return [(at, bytes((INSYNC, FAILED)))]
        if frame[0] == PROGRAM_PAGE:
            return self._program(frame, at)
        answer = self._answer(frame)
        self.mistakes += answer is None
        return [(at, bytes((INSYNC, FAILED)) if answer is None else frame_of(answer))]

    def _answer(self, frame: bytes) -> bytes | None:
        """Return the answer between INSYNC and OK, or None if the command fails."""
        command = frame[0]
        if command == SIGN_ON:
            return b"AVR STK"
        if command == GET_PARAMETER:
            return bytes((_PARAMETERS.get(frame[1], 0),))
        if command == UNIVERSAL:
            return b"\x00"
        if command == READ_SIGNATURE:
            return self._chip.signature
        if command == READ_PAGE:
            return self._read(frame[1] << 8 | frame[2], frame[3])
        if command == LOAD_ADDRESS:
            self._address = frame[1] | frame[2] << 8
        elif command == ERASE:
            return None  # the section that holds this very program cannot be erased
        elif command in (ENTER, LEAVE):
            self._programming = command == ENTER
            self.left = command == LEAVE
        return b""

    def _read(self, size: int, kind: int) -> bytes | None:
        """Return `size` bytes of flash by word address, or of EEPROM by byte address."""
        if kind not in b"FE" or not size:
            return None
        is_eeprom = kind == ord("E") and self._chip.eeprom is not None
        memory = (self._chip.eeprom or b"") if is_eeprom else self._chip.flash
        start = self._address if is_eeprom else self._address * 2
        return bytes(memory[start : start + size]) if start + size <= len(memory) else None

    def _program(self, frame: bytes, at: float) -> list[tuple[float, bytes]]:
        data, start = frame[4:-1], self._address * 2
        whole = len(data) == PAGE_BYTES and start % PAGE_BYTES == 0
        if frame[3] != ord("F") or not whole or start + PAGE_BYTES > self._chip.boot_start:
            self.mistakes += 1
            return [(at, bytes((INSYNC, FAILED)))]
        page = start // PAGE_BYTES
        kept = int(page + 1 == self._chip.worn_page)
        self._chip.flash[start + kept : start + PAGE_BYTES] = data[kept:]
        self._chip.page_writes[page] = self._chip.page_writes.get(page, 0) + 1
        self._busy_until = at + self._page_s
        return [(at, bytes((INSYNC,))), (self._busy_until, bytes((OK,)))]


def frame_of(payload: bytes) -> bytes:
    """Return a good answer: INSYNC, the data, OK."""
    return bytes((INSYNC,)) + payload + bytes((OK,))
