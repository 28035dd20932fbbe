"""What the firmware commands print: an image's review, and the JSON of a write."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from hostlink.cli.output import data, table
from hostlink.words import plural

if TYPE_CHECKING:
    from hostlink.archive.firmware import FirmwareWrite
    from hostlink.firmware.review import ImageReview
    from hostlink.jobs.firmware.image_words import ImageTold
    from hostlink.jobs.firmware.request import Written


def show_review(reviewed: ImageReview, known: str, role: str, told: ImageTold) -> None:
    """Print what an image holds and what is wrong with it. known: its name in the archive."""
    from hostlink.firmware.memory_map import MAP_LEGEND, flash_tracks, segment_rows
    from hostlink.jobs.firmware.image_words import NOTHING_WRONG, told_rows

    image, chip = reviewed.image, reviewed.chip
    data(f"{image.name}: {plural(image.used_bytes, 'byte')} for the {chip.part}, which has room")
    data(f"for {reviewed.application_end:,} besides its bootloader ({reviewed.boot_bytes:,}).")
    data(f"SHA-256 of its flash content: {image.sha256}")
    if known or role:
        as_role = f", written before for the {role}" if role else ""
        data(f"Known in the archive as {known or 'an image'}{as_role}.")
    data("")
    for track in flash_tracks(image.segments, chip, reviewed.boot_bytes):
        data("  ".join(track).rstrip())
    data(MAP_LEGEND)
    data("")
    table(["first", "last", "bytes"], segment_rows(image.segments), right=["bytes"])
    data("")
    for finding in reviewed.findings:
        where = f"line {finding.line}: " if finding.line else ""
        data(f"{finding.weight}  {finding.rule}  {where}{finding.message}")
    if not reviewed.findings:
        data(NOTHING_WRONG)
    data("")
    for row in told_rows(told):
        data(row)


def review_dict(reviewed: ImageReview, known: str, role: str) -> dict[str, object]:
    """Return the JSON for an image's review."""
    image = reviewed.image
    return {
        "image": image.name,
        "sha256": image.sha256,
        "bytes": image.used_bytes,
        "chip": reviewed.chip.part,
        "limit_bytes": reviewed.application_end,
        "bootloader_bytes": reviewed.boot_bytes,
        "segments": [{"first": start, "last": stop - 1} for start, stop in image.segments],
        "start": image.start,
        "known_as": known or None,
        "role": role or None,
        "findings": [asdict(finding) for finding in reviewed.findings],
    }


def written_dict(written: Written) -> dict[str, object]:
    """Return the JSON for a firmware write."""
    return {
        "image": written.image.name,
        "sha256": written.image.sha256,
        "role": written.role,
        "proven": True,
        "pages_written": written.written,
        "pages_right_before": written.right,
        "resumed": written.resumed,
        "banner": written.banner or None,
        "at_prompt": written.answered,
        "backup": written.backup or None,
        "programs_put_back": written.restored,
    }


def write_dict(write: FirmwareWrite) -> dict[str, object]:
    """Return the JSON for one firmware write."""
    return {
        "began_at": write.began_at.isoformat(),
        "ended_at": write.ended_at.isoformat() if write.ended_at else None,
        "outcome": write.outcome or None,
        "board": write.board or None,
        "board_uuid": write.board_uuid,
        "role": write.role,
        "chip": write.part,
        "image": write.image.name,
        "sha256": write.image.sha256,
        "previous_sha256": write.previous.sha256 if write.previous else None,
        "backup": write.backup or None,
        "banner": write.banner or None,
    }
