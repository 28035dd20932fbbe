"""The archive's record of the firmware writes to a board, and of unfinished ones.

Rules:
1. The event of a write names the backup of the board's programs before the board is restarted, so
   that it is known after an interruption at any moment, even by a power cut.
2. That backup is owed to the board until it is put back, or another program is put into memory.
3. A board that was not seen at its prompt since the last write holds no other program.
"""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.archive import Archive, Backup, Board, FirmwareImage, FirmwareWrite, JobEvent
from hostlink.errors import ArchiveError, HostlinkError, RefusedError
from hostlink.firmware.image import Image
from hostlink.jobs.firmware.request import FirstSteps
from hostlink.sentences import NOTHING_SENT, look_in_duplicate
from hostlink.words import capital

JOB = "firmware write"
"""The name of the job in the event of a write. The event's detail:

image: SHA-256. goes_back: as in WriteRequest. backup, backup_uuid: what is to be put back, "" for
nothing. write: UUID of the archive's record, set before the first page. answered, restored: as in
Written, set as soon as they are known. cut_off: whether it was stopped or unplugged after the last
page. first: the fields of FirstSteps.
"""


def image_before(archive: Archive, board: Board | None) -> tuple[FirmwareImage, FirmwareWrite]:
    """Return the image that a board can go back to, and the last write to it.

    It is what flash held before that write, skipping images that never came to their prompt. If the
    last write was itself a return to an earlier image and was interrupted, it is that write's
    image. board: None for an unknown one. Raises RefusedError if there is no image, ArchiveError if
    it is damaged.
    """
    writes = archive.writes(board_uuid=board.uuid) if board is not None else []
    last = writes[0] if writes else None
    image = None
    if last is not None and board is not None:
        events = archive.events(board_uuid=board.uuid, job=JOB)
        image = last.image if _is_to_be_finished(last, events) else _before(writes, events)
    if last is None or image is None or not image.flash:
        why = "its flash was blank or not read then" if last else "hostlink has written none to it"
        raise RefusedError(
            f"The archive has no earlier firmware of this board: {why}.",
            kept=NOTHING_SENT,
            advice=lambda by: f"See what was written where {by.firmware_history}.",
        )
    if not image.sound:
        raise ArchiveError(
            f"The archive's copy of the earlier firmware, {image.sha256[:12]}, is damaged.",
            kept=NOTHING_SENT,
            advice=lambda by: f"{capital(look_in_duplicate(by))}.",
        )
    return image, last


def _before(writes: Sequence[FirmwareWrite], events: Sequence[JobEvent]) -> FirmwareImage | None:
    """Return the image before the last write, skipping images that never came to their prompt.

    writes, events: those of one board, newest first.
    """
    told = [event for event in events if _said(event, "role") == "computer"]
    mute = {_said(event, "image") for event in told if _said(event, "answered") is False}
    mute -= {_said(event, "image") for event in told if _said(event, "answered")}
    image = writes[0].previous
    for write in writes[1:]:
        if image is None or image.sha256 not in mute:
            break
        if write.image.sha256 == image.sha256:
            image = write.previous
    return image if image is not None and image.sha256 not in mute else writes[0].previous


def previous_image(archive: Archive, board: Board) -> tuple[Image, str]:
    """Return the image that a board's flash held before, and which board it is for.

    Raises RefusedError or ArchiveError, as `image_before` does.
    """
    before, last = image_before(archive, board)
    image = Image.from_flash(before.name, before.flash)
    if before.sha256 == last.image.sha256:
        return image, last.role
    for write in archive.writes(board_uuid=board.uuid):
        replaced = write.previous is not None and write.previous.sha256 == before.sha256
        if replaced and write.backup:  # a BASIC answered then, whatever was written over it
            return image, "computer"
    return image, archive.image_role(before.sha256) or last.role


def can_go_back(archive: Archive, board: Board, *, over: Image) -> bool:
    """Return whether the archive has an image to go back to that differs from the one in flash."""
    try:
        before, _ = image_before(archive, board)
    except HostlinkError:
        return False
    return before.sha256 != over.sha256


def left_without_prompt(
    archive: Archive, board: Board, events: Sequence[JobEvent]
) -> FirmwareWrite | None:
    """Return the last write to a board that has not shown its prompt since, else None.

    events: all of the board, newest first.
    """
    last = archive.last_write(board.uuid)
    if last is None or (last.is_finished and _was_typed_at(archive, board, last)):
        return None
    for event in events:
        if event.job == JOB:
            if _said(event, "answered"):
                return None
            if _said(event, "write") == last.uuid or not last.is_finished:
                return last
        elif event.outcome == "done":
            return None
    return None if last.is_finished else last


def first_steps(archive: Archive, write: FirmwareWrite) -> FirstSteps:
    """Return the first steps that were to follow a write."""
    for event in archive.events(board_uuid=write.board_uuid, job=JOB):
        first = _said(event, "first")
        if _said(event, "write") == write.uuid and isinstance(first, dict):
            return FirstSteps(
                first.get("is_new") is True,
                str(first.get("label") or ""),
                str(first.get("load") or ""),
            )
    return FirstSteps()


def _was_typed_at(archive: Archive, board: Board, write: FirmwareWrite) -> bool:
    """Return whether the host copy shows a program that came onto the board after a write."""
    copy = archive.host_copy(board.uuid)
    held = copy is not None and copy.content.text.strip() and copy.changed_at > write.began_at
    return bool(held)


def owed_backup(archive: Archive, events: Sequence[JobEvent]) -> Backup | None:
    """Return the backup that a firmware write still has to put back, None if there is none.

    events: all of the board, newest first. Raises ArchiveError if the backup is damaged.
    """
    for event in events:
        if event.job == JOB and _said(event, "restored"):
            return None
        if event.job == JOB and (uuid := _said(event, "backup_uuid")):
            return _backup(archive, uuid)
        if event.outcome == "done" and _fills_memory(event):
            return None
    return None


def _fills_memory(event: JobEvent) -> bool:
    """Return whether an event is a successful job that put a program into memory."""
    if event.job == "putback":
        items = _said(event, "items")
        return isinstance(items, list) and "memory" in items
    return event.job in ("load", "recall")


def _said(event: JobEvent, key: str) -> object:
    """Return a value of an event's detail, which may be any JSON in an imported archive."""
    return event.detail.get(key) if isinstance(event.detail, dict) else None


def _backup(archive: Archive, uuid: object) -> Backup | None:
    """Return an undamaged backup by its UUID; its spec may differ in a merged archive."""
    found = next((each for each in archive.backups() if each.uuid == uuid), None)
    return archive.backup(found.spec) if found is not None else None


def _is_to_be_finished(write: FirmwareWrite, events: Sequence[JobEvent]) -> bool:
    """Return whether a return to an earlier image was interrupted, by its newest event."""
    for event in events:
        if _said(event, "image") == write.image.sha256:
            cut_off = not write.is_finished or event.ended_at is None or _said(event, "cut_off")
            return bool(_said(event, "goes_back") and cut_off and not _said(event, "restored"))
    return False
