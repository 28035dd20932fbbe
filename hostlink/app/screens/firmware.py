"""Review and draw a firmware image, then write it page by page and read each page back."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.attached_board import AttachedBoard
from hostlink.app.job_words import figures
from hostlink.app.screens.dialogues import ask
from hostlink.app.sentences import LEAVE_IT, STOPPING
from hostlink.app.ways import KEYS
from hostlink.app.widgets.flash_map import FlashMap
from hostlink.app.widgets.page import Page
from hostlink.archive.firmware import FirmwareWrite
from hostlink.archive.times import local_text
from hostlink.errors import RefusedError
from hostlink.firmware.chip import ATMEGA328P, DEFAULT_BOOT_BYTES
from hostlink.firmware.hex_file import load_hex_file
from hostlink.firmware.memory_map import pages_of, segment_rows
from hostlink.firmware.review import ImageReview, review_image
from hostlink.jobs.cautions import CAUTIONS, ROLES_TOLD
from hostlink.jobs.firmware.checks import role_of
from hostlink.jobs.firmware.image_words import NOTHING_WRONG, ImageTold, tell_image, told_rows
from hostlink.jobs.firmware.request import WriteRequest
from hostlink.sentences import ASKED_FOR_ROLE, NO_LABEL
from hostlink.words import plural, safe

_MOST_TOLD = 6  # sentences of the write that are shown
CHIP = ATMEGA328P  # the one these machines are built with; others by the command line


def review_file(path: Path) -> ImageReview:
    """Read an image and review it for the usual chip. Raises HostlinkError."""
    return review_image(load_hex_file(path, CHIP.flash_bytes), CHIP, DEFAULT_BOOT_BYTES)


def image_words(reviewed: ImageReview, told: ImageTold) -> str:
    """Describe the contents of an image, its place in flash, and its faults."""
    image = reviewed.image
    rows = [
        f"{image.name}: {plural(image.used_bytes, 'byte')} of {reviewed.application_end:,} for "
        f"the {reviewed.chip.part}",
        f"SHA-256 {image.sha256}",
        "",
        *(
            f"{first} to {last}: {count:,} bytes"
            for first, last, count in segment_rows(image.segments)
        ),
        "",
    ]
    for finding in reviewed.findings:
        where = f"line {finding.line}: " if finding.line else ""
        rows.append(f"{finding.weight}: {where}{finding.message}")
    if not reviewed.findings:
        rows.append(NOTHING_WRONG)
    return "\n".join([*rows, "", *told_rows(told)])


def history_words(writes: Sequence[FirmwareWrite]) -> str:
    """Describe all writes and their boards, the latest first."""
    rows = [
        f"{local_text(each.began_at)}  {each.image.name} for the {each.role} to "
        f"{each.board or NO_LABEL}: {each.outcome or 'cut off'}"
        for each in writes
    ]
    return "\n".join(["Firmware written so far:", "", *(rows or ["none"])])


class FirmwareScreen(Page[None]):
    """Shows an image's review, writes the image after consent, and shows the write.

    It first shows the cautions and asks for consent, then for what a refused write needs. The write
    goes on while another screen is in front, and the map of flash shows its pages.
    """

    HEAD = "Firmware"
    FOOT = (
        "W asks first, then writes it to the board, and finishes a write that was cut short. G "
        "goes back to what the flash held before. S asks first, then stops a write. Escape goes "
        "back; a write goes on meanwhile."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("firmware.write", "Write it to the board", "Asks first, with the cautions"),
        screen_key("firmware.back", "Go back to the previous image", "What flash held before"),
        screen_key("firmware.stop", "Stop the write", "Asks first; it can be finished later"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, reviewed: ImageReview | None) -> None:
        """Create the screen. reviewed: None to see what was written before."""
        super().__init__()
        self.reviewed = reviewed

    def foot(self) -> str:
        """Return what the keys do; without an image there is no key to write one."""
        return self.FOOT if self.reviewed is not None else self.FOOT.partition(". ")[2]

    def body(self) -> Iterator[Widget]:
        """Lay out the review of a firmware image or, without one, the history of writes."""
        with VerticalScroll():
            yield Static("", id="write", classes="words", markup=False)
            yield FlashMap(CHIP, DEFAULT_BOOT_BYTES)
            yield Static("", id="write-told", classes="words", markup=False)
            if self.reviewed is not None:
                told = tell_image(self.reviewed.image, self.app.archive)
                words = image_words(self.reviewed, told)
            else:
                words = history_words(self.app.archive.writes())
            shown = Content(safe(words, keep="\n"))
            yield Static(shown, classes="words", id="image", markup=False)

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()
        writes = self.app.desk.firmware_writes
        writes.on_change.append(self._show_write)
        flash = self.query_one(FlashMap)
        flash.display = self.reviewed is not None
        self.query_one("#write").display = self.query_one("#write-told").display = False
        if self.reviewed is not None:
            flash.show(self.reviewed.image.segments)
        if writes.under_way:
            self._show_write()

    def on_unmount(self) -> None:
        self.app.desk.firmware_writes.on_change.remove(self._show_write)

    # --- asking ------------------------------------------------------------------------------

    def action_write(self) -> None:
        """Write the image after asking about doubts, cautions and its purpose, in this order."""
        if self.reviewed is None:
            self.app.notify(
                f"No image was chosen: Escape, then {way_to('firmware')}.", markup=False
            )
            return
        if self.reviewed.errors:
            self.app.notify("The image has errors, so it is not written.", markup=False)
            return
        request = WriteRequest(self.reviewed.image, CHIP, DEFAULT_BOOT_BYTES)
        if not self.reviewed.doubts:
            self._caution(partial(self._find_role, request))
            return
        go_on = partial(self._caution, partial(self._find_role, request))
        ask(
            self.app,
            f"The review has {plural(len(self.reviewed.doubts), 'doubt')} about this image: "
            f"{self.reviewed.doubts[0].message}",
            ("write", "Write it anyway", go_on),
            leave=LEAVE_IT,
        )

    def action_back(self) -> None:
        """Write back the image that the board's flash held before the last write."""
        self._caution(partial(self._start, None))

    def _caution(self, go_on: Callable[[AttachedBoard], object]) -> None:
        attached = self.app.desk.readings.need()
        if attached is None:
            return
        words = CAUTIONS.format(
            part=CHIP.part, port=attached.port, goes_back=KEYS.write_previous
        ).replace("\n  ", " ")
        kept = "A backup of the board is made first, and its programs are put back afterwards."
        write = ("write", "I have read this: write", lambda: go_on(attached))
        ask(self.app, f"{words}\n{kept}", write, leave=LEAVE_IT)

    def _find_role(self, request: WriteRequest, attached: AttachedBoard) -> None:
        """Use the image's role from the archive, or ask what the image is for."""

        def start(role: str) -> None:
            self._start(dataclasses.replace(request, role=role), attached)

        try:
            role = role_of(self.app.archive, request.image, request.role)
        except RefusedError:  # raised only if the role is not known
            self._ask_role(start)
        else:
            start(role)

    def _ask_role(self, go_on: Callable[[str], object]) -> None:
        answers = [
            (role, f"The {role}: {does}", partial(go_on, role)) for role, does in ROLES_TOLD.items()
        ]
        ask(self.app, ASKED_FOR_ROLE, *answers)

    def _start(self, request: WriteRequest | None, attached: AttachedBoard) -> None:
        self.app.desk.firmware_writes.start(request, attached, self.reviewed)

    # --- the write under way -----------------------------------------------------------------

    def action_stop(self) -> None:
        """Stop the write under way; ask first."""
        writes = self.app.desk.firmware_writes
        if writes.job is not None and writes.under_way:
            self.app.desk.progress.stop_job(writes.job)
        else:
            self.app.notify("No firmware is being written.", markup=False)

    def _show_write(self) -> None:
        """Show how far the write has come, in words and on the map of flash."""
        writes = self.app.desk.firmware_writes
        job = writes.job
        if job is None:
            return
        progress = job.progress
        baud = job.attached.choice.effective.talk.baud
        rows = [job.name, writes.outcome]
        if not job.ended:
            phase = STOPPING if job.stopping else progress.phase
            rows[1:] = [phase, ", ".join(figures(progress, baud))]
        told = [f"{'!' if news else '·'} {text}" for text, news in progress.told[-_MOST_TOLD:]]
        for name, words in (("#write", rows), ("#write-told", told)):
            self.say(name, "\n".join(filter(None, words)))
            self.query_one(name).display = any(words)
        image = writes.request.image if writes.request is not None else None
        proven = set(progress.proven_pages)
        here = None if job.ended else progress.last_page
        if job.ended and job.error is None and image is not None:
            proven |= pages_of(image.segments, CHIP)  # the other pages were right before
        self.query_one(FlashMap).show(
            image.segments if image is not None else (),
            read=0 if job.ended else progress.read_pages,
            proven=proven,
            here=here,
        )
        self.query_one(FlashMap).display = True
