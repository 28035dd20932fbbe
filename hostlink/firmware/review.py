"""Reviewing a firmware image for a chip: its place in flash, and its interrupt vectors."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from hostlink.firmware.chip import Chip
from hostlink.firmware.finding import ImageFinding
from hostlink.firmware.hex_file import HexFile
from hostlink.firmware.image import Image
from hostlink.words import plural

_LARGEST_RECORD = 255  # bytes of data (Intel, Hexadecimal Object File Format, 1988)


@dataclass(frozen=True, slots=True)
class ImageReview:
    """The result of reviewing an image for a chip.

    boot_bytes: size of the bootloader section. findings: sorted by weight and line.
    """

    image: Image
    chip: Chip
    boot_bytes: int
    findings: tuple[ImageFinding, ...]

    @property
    def errors(self) -> tuple[ImageFinding, ...]:
        """Return the findings that forbid writing the image."""
        return tuple(each for each in self.findings if each.weight == "error")

    @property
    def doubts(self) -> tuple[ImageFinding, ...]:
        """Return the findings that may be intended and need the user's decision."""
        return tuple(each for each in self.findings if each.weight == "doubt")

    @property
    def application_end(self) -> int:
        """Return the address of the first byte of the bootloader."""
        return self.chip.application_end(self.boot_bytes)


def review_image(read: HexFile, chip: Chip, boot_bytes: int) -> ImageReview:
    """Review an image read from a file for a chip whose bootloader takes the top boot_bytes."""
    image = read.image
    findings = [*read.findings]
    if not image.segments or not image.flash:
        findings.append(ImageFinding("empty-image", "error", _why_empty(read, chip)))
    else:
        findings += _places(image, chip, boot_bytes)
        findings += () if read.findings else _gaps(image, chip)
        findings += _vectors(image, chip)
        findings += _starts(image)
    order = {"error": 0, "doubt": 1, "note": 2}
    findings.sort(key=lambda each: (order[each.weight], each.line or 0))
    return ImageReview(image, chip, boot_bytes, tuple(findings))


def _why_empty(read: HexFile, chip: Chip) -> str:
    """Return why an image has no byte for the flash of its chip."""
    segments = read.image.segments
    if segments and segments[0][0] < chip.flash_bytes:
        return "All its bytes in the flash are FF, as in blank flash: it holds no program."
    if segments:
        return (
            f"All of it lies outside the flash, from {segments[0][0]:X} on: it is for another "
            "chip, or for a memory that is not flash."
        )
    if any(finding.line for finding in read.findings):
        return "No record of the file can be used."
    return "The image is empty."


def _places(image: Image, chip: Chip, boot_bytes: int) -> Iterator[ImageFinding]:
    end = chip.application_end(boot_bytes)
    for start, stop in image.segments:
        if stop > chip.flash_bytes:
            first = max(start, chip.flash_bytes)
            yield ImageFinding(
                "beyond-flash",
                "error",
                f"{_range(first, stop)} lies beyond the {chip.flash_bytes:,} bytes of flash of the "
                f"{chip.part}.",
            )
        if end <= start and stop <= chip.flash_bytes and len(image.segments) == 1:
            yield ImageFinding(
                "in-bootloader",
                "error",
                f"All of it, {_range(start, stop)}, lies in the section of a bootloader, so it is "
                "a bootloader itself. hostlink leaves a board's bootloader alone.",
            )
        elif start < chip.flash_bytes and stop > end:
            yield ImageFinding(
                "in-bootloader",
                "error",
                f"{_range(max(start, end), min(stop, chip.flash_bytes))} lies in the bootloader's "
                f"section (the top {boot_bytes:,} bytes, from {end:04X}). If this board's "
                "bootloader is smaller, name its size in bytes.",
            )


def _gaps(image: Image, chip: Chip) -> Iterator[ImageFinding]:
    """Name what lies between the parts of an image: a lost record, or a part placed elsewhere."""
    for (_, stop), (start, _) in pairwise(image.segments):
        if start > chip.flash_bytes:
            return
        size = plural(start - stop, "byte")
        if start - stop <= _LARGEST_RECORD:
            yield ImageFinding(
                "gap",
                "doubt",
                f"{_range(stop, start)} is not in the file ({size}): a line may be missing there.",
            )
        else:
            yield ImageFinding(
                "gap", "note", f"{_range(stop, start)} is not in the file ({size}); it is blank."
            )


def _vectors(image: Image, chip: Chip) -> Iterator[ImageFinding]:
    """Check the interrupt vectors: the first must lead into the image, the others be jumps."""
    table = chip.vectors * 4
    reset = _jump_target(image.flash, 0, chip)
    if image.segments[0][0] > 0 or image.flash[:2] == b"\xff\xff":
        yield ImageFinding(
            "no-vector-table",
            "doubt",
            "The image does not begin at address 0 with a vector table, so the board would not "
            "start it.",
        )
        return
    if reset is None:
        yield ImageFinding(
            "odd-vector-table",
            "doubt",
            "The first instruction is not a jump, but the reset vector of a program is one.",
        )
        return
    if not any(start <= reset < stop for start, stop in image.segments):
        yield ImageFinding(
            "odd-vector-table",
            "doubt",
            f"The reset vector leads to {reset:04X}, where the image holds nothing.",
        )
        return
    others = [_jump_target(image.flash, place, chip) for place in range(4, table, 4)]
    wrong = [n for n, target in enumerate(others, 1) if target is None]
    if wrong:
        yield ImageFinding(
            "short-vector-table",
            "note",
            f"{len(wrong)} of the {chip.vectors} vectors are not jumps; a program that uses no "
            "interrupts may be built that way.",
        )


def _starts(image: Image) -> Iterator[ImageFinding]:
    if image.start:
        yield ImageFinding(
            "odd-start",
            "doubt",
            f"The file names {image.start:04X} as its start; these chips start at 0000.",
        )


def _jump_target(flash: bytes, place: int, chip: Chip) -> int | None:
    """Return where the JMP or RJMP at `place` leads, in bytes; None if there is none there.

    Source: AVR instruction set manual: JMP 1001 010k kkkk 110k with a second word, RJMP 1100 kkkk
    kkkk kkkk relative to the next word; the program counter wraps round at the end of flash.
    """
    if place + 2 > len(flash):
        return None
    word = int.from_bytes(flash[place : place + 2], "little")
    if word & 0xFE0E == 0x940C and place + 4 <= len(flash):
        high = (word >> 3 & 0x3E) | (word & 1)
        return (high << 16 | int.from_bytes(flash[place + 2 : place + 4], "little")) * 2
    if word & 0xF000 == 0xC000:
        offset = word & 0x0FFF
        target = place + 2 + 2 * (offset - 0x1000 if offset & 0x800 else offset)
        return target % chip.flash_bytes
    return None


def _range(start: int, stop: int) -> str:
    return f"{start:04X} to {stop - 1:04X}"
