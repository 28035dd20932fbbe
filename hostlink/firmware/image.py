"""A firmware image: what flash should hold, whatever file it came from."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

from hostlink.firmware.chip import BLANK

Segment = tuple[int, int]
"""First address, and the one behind the last."""


@dataclass(frozen=True, slots=True)
class Image:
    """flash: bytes from address 0, blank where the file says nothing, no blanks at the end.

    segments: the ranges that the file gives, ascending. start: the start address it names, if any.
    """

    name: str
    flash: bytes = field(repr=False)
    segments: tuple[Segment, ...]
    start: int | None = None

    @property
    def sha256(self) -> str:
        """SHA-256 of `flash`, in hexadecimal: the same however a file arranges its records, and
        whether the image was read from a file or from a chip."""
        return hashlib.sha256(self.flash).hexdigest()

    @property
    def used_bytes(self) -> int:
        """Bytes that the file gives."""
        return sum(end - start for start, end in self.segments)

    @classmethod
    def from_flash(cls, name: str, flash: bytes) -> Image:
        """An image read from a chip; blank bytes at its end do not count."""
        held = flash.rstrip(bytes((BLANK,)))
        return cls(name, held, ((0, len(held)),) if held else ())

    @classmethod
    def from_bytes_at(
        cls, name: str, held: Mapping[int, int], segments: tuple[Segment, ...], most: int
    ) -> Image:
        """An image from address to byte; bytes at `most` and beyond are left out."""
        inside = [address for address in held if address < most]
        flash = bytearray(bytes((BLANK,)) * (max(inside, default=-1) + 1))
        for address in inside:
            flash[address] = held[address]
        return cls(name, bytes(flash).rstrip(bytes((BLANK,))), segments)
