"""What each kind of virtual job does, and what must be true on the board when it is called done.

A function of DOING does its job by the same call as command line and app, then looks at the board
behind the wire's back: what it finds otherwise is `job.wrong`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from soak_truth import lines_of

from hostlink.archive.backups import BackupItem
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.model import ONE_PLACE
from hostlink.firmware.chip import Chip
from hostlink.firmware.image import Image
from hostlink.firmware.plan import blank_padded
from hostlink.jobs.backup import LEFT_OUT, UNLISTED, backup
from hostlink.jobs.firmware.request import WriteRequest
from hostlink.jobs.firmware.writing import write_firmware
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.putback import putback
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.restarting import restart
from hostlink.jobs.session.session import Session
from hostlink.jobs.store_recall import recall, store
from hostlink.practice.eeprom import ONLY

if TYPE_CHECKING:
    from soak_jobs import VirtualJob

BOOT_BYTES = 512  # the bootloader's own section
SLOT = "ONE"
LEAST_LISTS = 2  # captures of anything that is kept: a save needs two that agree


def do_load(job: VirtualJob, session: Session) -> None:
    load(session, job.archive, job.made.material, LoadOptions(despite_review=True))
    if job.truth.memory != job.target:
        job.wrong("called loaded, but the board holds something else")
    if not job.truth.was_read_back:
        job.wrong("called loaded, but the board was not read back after it")
    job.expect_capture(session, job.start)
    job.expect_load(session, job.target)


def do_save(job: VirtualJob, session: Session) -> None:
    saved = save(session, job.archive, SaveOptions(name=job.made.material.name))
    job.outcome.unproven |= saved.doubt is not None
    if lines_of(job.archive.content(saved.revision).text) != job.truth.memory:
        job.wrong("called saved, but the board holds something else")
    if job.truth.lists < LEAST_LISTS:
        job.wrong("called saved, after one look")
    job.expect_capture(session, job.start)


def do_backup(job: VirtualJob, session: Session) -> None:
    made = backup(session, job.archive)
    job.outcome.unproven |= made.doubt is not None
    for item in made.backup.items:
        slot = ONLY if item.slot == ONE_PLACE else item.slot
        due = job.start if item.kind == "memory" else job.truth.slots_before.get(slot)
        if lines_of(item.content.text) != due:
            job.wrong(f"called backed up, but {item.name} is something else")
    named = {item.slot for item in made.backup.items} | set(made.unread)
    warned = [event.text for _, event in job.events if isinstance(event, Warned)]
    told = any(UNLISTED in text or LEFT_OUT in text for text in warned)
    if len(job.truth.slots_before) > len(named - {""}) and not told:
        job.wrong("called backed up, but a stored program is left out without a word")
    if job.truth.memory != job.start:
        job.wrong("called backed up, but memory is not as it was before")
    if job.truth.lists < LEAST_LISTS * len(made.backup.items):
        job.wrong("called backed up, after fewer than two looks at each program")
    job.expect_all(session)
    if job.truth.slots_before:
        job.expect_load(session, job.start)


def do_firmware(job: VirtualJob, session: Session) -> None:
    chip = Chip(
        "ATmega328P",
        b"\x1e\x95\x0f",
        flash_bytes=job.made.application_bytes + BOOT_BYTES,
        boot_sizes=(BOOT_BYTES,),
    )
    image = Image("new.hex", job.made.flash, ((0, len(job.made.flash)),))
    request = WriteRequest(image, chip, BOOT_BYTES, "computer")
    written = write_firmware(session, job.archive, request)
    held = bytes(job.truth.machine.chip.flash[: request.end])
    if held != blank_padded(job.made.flash, request.end):
        job.wrong("called written, but flash holds something else")
    if written.restored and job.truth.memory != job.start:
        job.wrong("called put back, but memory is not as it was before")
    job.expect_all(session)
    job.expect_load(session, job.start)
    job.expect_load(session, job.start)


def do_store(job: VirtualJob, session: Session) -> None:
    store(session, job.archive, SLOT)
    if job.truth.slots.get(job.made.slot) != job.start:
        job.wrong("called stored, but the slot holds something else")
    if job.truth.memory != job.start:
        job.wrong("called stored, but memory is not as it was before")
    job.expect_all(session)
    job.expect_load(session, job.start)


def do_recall(job: VirtualJob, session: Session) -> None:
    held = recall(session, job.archive, SLOT)
    job.outcome.unproven |= held.doubt is not None
    due = job.truth.slots_before.get(job.made.slot)
    if job.truth.memory != due:
        job.wrong("called recalled, but memory holds something else")
    if {number: line.text for number, line in held.lines.items()} != due:
        job.wrong("called recalled, but what was read is something else")
    job.expect_all(session)


def do_putback(job: VirtualJob, session: Session) -> None:
    board = session.board_in(job.archive)
    content = job.made.material.content(job.made.profile)
    items = [BackupItem("memory", content, LEAST_LISTS)]
    if job.made.puts_slot:
        items.append(BackupItem("stored", content, LEAST_LISTS, SLOT))
    kept = job.archive.keep_backup(board.uuid, items, profile=job.made.profile.name)
    putback(session, job.archive, kept)
    if job.truth.memory != job.target:
        job.wrong("called put back, but memory holds something else")
    if job.made.puts_slot and job.truth.slots.get(job.made.slot) != job.target:
        job.wrong(f"called put back, but {SLOT} holds something else")
    job.expect_all(session)
    job.expect_load(session, job.target)


def do_restart(job: VirtualJob, session: Session) -> None:
    restarted = restart(session, job.archive, consent=lambda _: True)
    if not any(each.pulled and each.at > 0 for each in job.truth.machine.erased):
        job.wrong("called restarted, but the board was not")
    if restarted.at_prompt and restarted.lines != len(job.truth.memory):
        job.wrong("called restarted, but memory holds something else")
    job.expect_capture(session, job.start)


Doing = Callable[["VirtualJob", Session], None]
DOING: dict[str, Doing] = {
    "load": do_load,
    "save": do_save,
    "backup": do_backup,
    "firmware": do_firmware,
    "store": do_store,
    "recall": do_recall,
    "putback": do_putback,
    "restart": do_restart,
}
SHARES = {
    "load": 38,
    "save": 22,
    "backup": 12,
    "firmware": 10,
    "store": 5,
    "recall": 5,
    "putback": 5,
    "restart": 3,
}
"""Of a hundred jobs, how many are of each kind."""
PLAIN_SHARES = {"load": 45, "save": 30, "backup": 15, "firmware": 10}
"""The same for jobs drawn by their number alone, on plain boards."""
CAN_BE_TOO_HARD = ("load", "firmware", "store", "putback")
NEEDS_A_PROGRAM = ("save", "backup", "store", "recall", "putback", "restart")
"""Kinds that come to nothing on a board that loses its memory when its port is opened."""
HAS_SLOTS = ("backup", "firmware", "store", "recall", "putback")

assert list(DOING) == list(SHARES)
