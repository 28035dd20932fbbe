"""A firmware image: the intended contents of flash, whatever file it came from."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

from hostlink.firmware.chip import BLANK

Segment = tuple[int, int]
"""First address, and the one after the last."""


@dataclass(frozen=True, slots=True)
class Image:
    """A firmware image. flash: bytes from address 0, blank in gaps, without blanks at the end.

    segments: the address ranges in the file, ascending. start: the start address, if the file names
    one. file: as the user named it, "" for an image from elsewhere.
    """

    name: str
    flash: bytes = field(repr=False)
    segments: tuple[Segment, ...]
    start: int | None = None
    file: str = ""

    @property
    def sha256(self) -> str:
        """Return the SHA-256 of `flash` in hexadecimal.

        It does not depend on the arrangement of records, nor on whether a file or a chip was read.
        """
        return hashlib.sha256(self.flash).hexdigest()

    @property
    def used_bytes(self) -> int:
        """Return how many bytes the file contains."""
        return sum(end - start for start, end in self.segments)

    @classmethod
    def from_flash(cls, name: str, flash: bytes) -> Image:
        """Return the image read from a chip, without blank bytes at the end."""
        held = flash.rstrip(bytes((BLANK,)))
        return cls(name, held, ((0, len(held)),) if held else ())

    @classmethod
    def from_bytes_at(
        cls, name: str, held: Mapping[int, int], segments: tuple[Segment, ...], most: int
    ) -> Image:
        """Return an image of bytes by address, without those at `most` and beyond."""
        inside = [address for address in held if address < most]
        flash = bytearray(bytes((BLANK,)) * (max(inside, default=-1) + 1))
        for address in inside:
            flash[address] = held[address]
        return cls(name, bytes(flash).rstrip(bytes((BLANK,))), segments)
