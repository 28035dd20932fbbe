"""Reading an Intel HEX file: every bad record by its line, and what the good ones say.

Source: Intel, *Hexadecimal Object File Format Specification*, Rev A, 6 January 1988. The records
are read by the intelhex library, which stops at the first bad one and says nothing of a missing
end record, of data after it or of an empty file; those are checked here. A file is data:
nothing in it is followed or run.
"""

from __future__ import annotations

import io
import re
from codecs import BOM_UTF8
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from intelhex import (
    AddressOverlapError,
    EOFRecordError,
    HexReaderError,
    IntelHex,
    RecordChecksumError,
    RecordLengthError,
    RecordTypeError,
)

from hostlink.errors import ListingError, file_errors
from hostlink.firmware.finding import ImageFinding
from hostlink.firmware.image import Image
from hostlink.reading import near_files, read_at_most
from hostlink.sentences import NOTHING_SENT

LARGEST_FILE = 512 * 1024  # bytes; 32 KiB of flash take about 92 KiB of text
MOST_BAD_LINES = 50
_RECORD = re.compile(rb"^:[0-9A-Fa-f]{10}", re.MULTILINE)
_END = re.compile(r":00([0-9A-Fa-f]{4})01([0-9A-Fa-f]{2})")
_SAID: tuple[tuple[type[HexReaderError], str, str], ...] = (
    (RecordChecksumError, "wrong-checksum", "its checksum is wrong, so a byte is damaged"),
    (RecordLengthError, "wrong-length", "its length is not the one it states"),
    (RecordTypeError, "unknown-record-type", "its record type is not one of 00 to 05"),
    (EOFRecordError, "odd-end-record", "it is an end record with data in it"),
    (HexReaderError, "bad-record", "it is not a record of an Intel HEX file"),
)


@dataclass(frozen=True, slots=True)
class HexFile:
    """What a file says. image: from its good records. findings: what is wrong with the file."""

    image: Image
    findings: tuple[ImageFinding, ...]


def _meant(path: Path) -> str:
    """Suggest files in the same folder that resemble one that cannot be read."""
    near = [name for name in near_files(path) if name != path.name]
    return f"Did you mean {' or '.join(near)}?" if near else ""


def load_hex_file(path: Path, flash_bytes: int) -> HexFile:
    """Read a file. Raises ListingError if it cannot be read, or is far too large or no HEX file."""
    unread = f"The firmware image {path} cannot be read"
    with file_errors(ListingError, unread, kept=NOTHING_SENT, advice=lambda _: _meant(path)):
        data = read_at_most(path, LARGEST_FILE + 1)
    if len(data) > LARGEST_FILE:
        raise ListingError(
            f"{path} is larger than any firmware image for these chips ({LARGEST_FILE:,} bytes).",
            kept=NOTHING_SENT,
            advice="Name an Intel HEX file.",
        )
    read = read_hex(data, path.name, flash_bytes)
    if data.strip() and not read.image.segments and not _RECORD.search(data):
        raise ListingError(
            f"{path} is not an Intel HEX file: none of its lines is a record, which begins with a "
            "colon.",
            kept=NOTHING_SENT,
            advice="Name the file of the image that ends in .hex.",
        )
    return replace(read, image=replace(read.image, file=str(path)))


def read_hex(data: bytes, name: str, flash_bytes: int) -> HexFile:
    """Read the bytes of an Intel HEX file; bytes beyond `flash_bytes` only show as segments."""
    rows = (
        data.removeprefix(BOM_UTF8)
        .decode("latin-1")
        .replace("\r\n", "\n")
        .replace("\r", "\n")
        .split("\n")
    )
    findings: list[ImageFinding] = []
    last = _end_of(rows, findings)
    kept = rows[: last + 1]
    while True:
        held = IntelHex()
        try:
            held.loadhex(io.StringIO("\n".join(kept)))
            break
        except HexReaderError as error:
            finding = _finding(error)
            findings.append(finding)
            if len(findings) >= MOST_BAD_LINES or finding.line is None:
                break
            kept[finding.line - 1] = ""  # and look for more
    segments = tuple((int(start), int(end)) for start, end in held.segments())
    inside = {address: held[address] for address in held.addresses()}
    image = Image.from_bytes_at(name, inside, segments, flash_bytes)
    start = _start_of(held.start_addr)
    findings.sort(key=lambda finding: finding.line or 0)
    return HexFile(replace(image, start=start), tuple(findings))


def _end_of(rows: list[str], findings: list[ImageFinding]) -> int:
    """Return the index of the row with the end record, or of the last row if there is none."""
    for index, row in enumerate(rows):
        match = _END.fullmatch(row.strip())
        if match is None or sum(bytes.fromhex(row.strip()[1:])) % 256:
            continue
        if match[1] != "0000":
            findings.append(
                ImageFinding("odd-end-record", "note", "The end record has an address.", index + 1)
            )
        behind = next((n for n, text in enumerate(rows[index + 1 :], index + 2) if text.strip()), 0)
        if behind:
            findings.append(
                ImageFinding(
                    "data-after-end",
                    "error",
                    "The file continues after its end record; two files may have been joined.",
                    behind,
                )
            )
        return index
    findings.append(
        ImageFinding(
            "no-end-record",
            "error",
            "The file has no end record, so its last part may be missing.",
            len(rows) - (not rows[-1]) or None,
        )
    )
    return len(rows) - 1


def _finding(error: HexReaderError) -> ImageFinding:
    line: Any = getattr(error, "line", None)
    if isinstance(error, AddressOverlapError):
        address: Any = getattr(error, "address", 0)
        return ImageFinding(
            "overlap", "error", f"Address {address:04X} is given a second time.", int(line)
        )
    rule, why = next((rule, why) for kind, rule, why in _SAID if isinstance(error, kind))
    return ImageFinding(rule, "error", f"This line cannot be used: {why}.", line)


def _start_of(start: Any) -> int | None:
    """Return the start address that a file names in a record of type 03 or 05."""
    if not start:
        return None
    if "EIP" in start:
        return int(start["EIP"])
    return int(start["CS"]) * 16 + int(start["IP"])
