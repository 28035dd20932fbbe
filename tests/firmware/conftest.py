"""A bootloader without a wire, for thousands of runs; images; and hex files made by hand.

The bootloader is the practice board's own, strict one. `Direct` gives it bytes at the wire's pace
and brings its answers back, in virtual time, and can stop after any byte as a cut power would.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from typing import Any

import pytest

from hostlink.firmware.bootloader import Conversation, Script
from hostlink.practice.bootloader import Bootloader, ChipMemories

VECTORS = b"\x0c\x94\x40\x00" * 26  # JMP to byte 0080
MOST_STEPS = 100_000


class Cut(Exception):
    """The power was cut."""


class Direct:
    """One chip with its bootloader. writes: every byte that the host sent."""

    def __init__(self, flash: bytes, boot_bytes: int = 2048, *, page_s: float = 0.0045) -> None:
        self.chip = ChipMemories(bytearray(flash), len(flash) - boot_bytes)
        self.chip.eeprom = bytes(range(256)) * 4
        self.writes = bytearray()
        self.now = 0.0
        self._page_s = page_s
        self.restart()

    def restart(self) -> None:
        """Pull the restart line."""
        self.boot = Bootloader(self.chip, self.now, 1.0, self._page_s)

    def run(
        self,
        script: Script[Any],
        *,
        baud: int = 115_200,
        cut_after: int | None = None,
        damage: Callable[[bytes], bytes] = bytes,
        chunk: int = 4096,
    ) -> Conversation[Any]:
        """Drive a script to its end. cut_after: raise Cut when the board has heard that many bytes.

        damage: what becomes of each burst, in either direction. chunk: bytes given at a time.
        """
        core: Conversation[Any] = Conversation(script, baud)
        byte_s = 10 / baud
        coming: list[tuple[float, int]] = []
        received = b""
        for _ in range(MOST_STEPS):
            step = core.step(self.now, received)
            at = self.now
            for byte in damage(step.write) if step.write else b"":
                at += byte_s
                if cut_after is not None and len(self.writes) >= cut_after:
                    raise Cut
                self.writes.append(byte)
                if self.now <= self.boot.until:
                    for ready, data in self.boot.hear(byte, at):
                        start = max([ready, *(when for when, _ in coming[-1:])])
                        coming += [(start + byte_s * n, b) for n, b in enumerate(damage(data), 1)]
            if core.done:
                return core
            wake = self.now + 1.0 if step.wake is None else step.wake
            if coming and coming[0][0] <= wake:
                self.now = max(self.now, coming[0][0])
                ready = [b for when, b in coming if when <= self.now][:chunk]
                received = bytes(ready)
                del coming[: len(ready)]
            else:
                received = b""
                self.now = max(self.now, wake)
        raise AssertionError("the conversation does not end")


def make_flash(size: int = 32_768, boot_bytes: int = 2048, seed: int = 1) -> bytes:
    """Flash full of an old firmware, with a bootloader on top."""
    noise = random.Random(seed)
    return VECTORS + noise.randbytes(size - boot_bytes - len(VECTORS)) + noise.randbytes(boot_bytes)


@pytest.fixture
def direct() -> Callable[..., Direct]:
    """Makes a bootloader without a wire: direct(flash, boot_bytes)."""
    return Direct


@pytest.fixture
def cut() -> type[Cut]:
    """What a run raises when its power is cut."""
    return Cut


@pytest.fixture
def flash() -> Callable[..., bytes]:
    """Makes flash full of an old firmware: flash(size, boot_bytes, seed)."""
    return make_flash


@pytest.fixture
def program() -> Callable[..., bytes]:
    """Makes the content of an image that begins like a program: program(size, seed)."""

    def make(size: int = 9_000, seed: int = 2) -> bytes:
        return VECTORS + random.Random(seed).randbytes(size - len(VECTORS) - 1) + b"\x01"

    return make


@pytest.fixture
def record() -> Callable[..., str]:
    """One record of an Intel HEX file, its checksum worked out here: record(address, data)."""

    def make(address: int, data: Iterable[int] = (), kind: int = 0) -> str:
        body = bytes([len(bytes(data)), address >> 8 & 0xFF, address & 0xFF, kind, *data])
        return f":{body.hex().upper()}{-sum(body) & 0xFF:02X}"

    return make


@pytest.fixture
def hex_file(record: Callable[..., str]) -> Callable[..., bytes]:
    """The bytes of an Intel HEX file that holds data at an address: hex_file(data, address)."""

    def make(data: bytes, address: int = 0, *, end: bool = True) -> bytes:
        rows = [
            record(address + place, data[place : place + 16]) for place in range(0, len(data), 16)
        ]
        return "".join(row + "\n" for row in [*rows, *([":00000001FF"] if end else [])]).encode()

    return make
