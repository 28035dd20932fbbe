"""Firmware: an image reviewed and drawn, then written page by page, each page read back."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from hostlink.app.actions.screen_keys import screen_key
from hostlink.app.actions.table import way_to
from hostlink.app.attached_board import AttachedBoard
from hostlink.app.screens.dialogues import Ask
from hostlink.app.ways import KEYS
from hostlink.app.widgets.page import Page
from hostlink.archive import Archive
from hostlink.archive.firmware import FirmwareWrite
from hostlink.archive.times import shown
from hostlink.errors import RefusedError
from hostlink.firmware.chip import ATMEGA328P, DEFAULT_BOOT_BYTES
from hostlink.firmware.hex_file import load_hex_file
from hostlink.firmware.memory_map import LEGEND, memory_map, segment_rows
from hostlink.firmware.review import ImageReview, review_image
from hostlink.jobs.cautions import CAUTIONS
from hostlink.jobs.firmware.asking import Question, question_of
from hostlink.jobs.firmware.checks import role_of
from hostlink.jobs.firmware.telling import ImageTold, tell_image, told_rows
from hostlink.jobs.firmware.writing import WriteRequest, Written, way_back, write_firmware
from hostlink.jobs.session.session import Session
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

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
        *memory_map(image.segments, reviewed.chip, reviewed.boot_bytes),
        LEGEND,
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
        rows.append("Nothing is wrong with it as a file; whether it is the right one you know.")
    return "\n".join([*rows, "", *told_rows(told)])


def history_words(writes: Sequence[FirmwareWrite]) -> str:
    """Describe all writes and their boards, the latest first."""
    rows = [
        f"{shown(each.began_at)}  {each.image.name} for the {each.role} to "
        f"{each.board or 'a board without a label'}: {each.outcome or 'cut off'}"
        for each in writes
    ]
    return "\n".join(
        ["No image was named. What was written where:", "", *(rows or ["nothing yet"])]
    )


def written_words(written: Written) -> str:
    """Describe the result of a write in one or two sentences."""
    what = f"{plural(written.written, 'page')} written and read back"
    if written.resumed:
        what = f"the write that was cut off is finished, {what}"
    back = ""
    if written.backup:
        back = f" What it held before is kept as {written.backup}."
    if written.restored:
        back = f" Its programs are back on it, proven ({written.backup})."
    if written.was_new:
        back += f" Give it a label {KEYS.label_board}, and load its first program with Ctrl+L."
    return (
        f"{written.image.name} is on the board: {what}, {written.right:,} were right before.{back}"
    )


class FirmwareScreen(Page[None]):
    """Shows an image's review. Writing asks first, with the cautions, and then whatever a refused
    write needs to know; the screen stays, so that a write that was cut off can be finished."""

    app: DeskApp
    HEAD = "Firmware"
    FOOT = (
        "W writes it to the board, asked first, and finishes a write that was cut off. G goes "
        "back to what the flash held before. Escape goes back."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        screen_key("firmware.write", "Write it to the board", "Asked first, with the cautions"),
        screen_key("firmware.back", "Go back to the image before", "What flash held last"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, reviewed: ImageReview | None) -> None:
        """reviewed: None to see what was written, and to go back to the image before."""
        super().__init__()
        self.reviewed = reviewed

    def body(self) -> Iterator[Widget]:
        """Lay out the review of a firmware image or, without one, the history of writes."""
        with VerticalScroll():
            if self.reviewed is not None:
                told = tell_image(self.reviewed.image, self.app.archive)
                words = image_words(self.reviewed, told)
            else:
                words = history_words(self.app.archive.writes())
            shown = Content(safe(words, keep="\n"))
            yield Static(shown, classes="words", id="image", markup=False)

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()

    # --- asking ------------------------------------------------------------------------------

    def action_write(self) -> None:
        """Write the image after asking about doubts, cautions and its purpose, in this order."""
        if self.reviewed is None:
            self.app.notify(f"No image was named: Escape, then {way_to('firmware')}.", markup=False)
            return
        if self.reviewed.errors:
            self.app.notify("It has errors, so it is not written.", markup=False)
            return
        request = WriteRequest(self.reviewed.image, CHIP, DEFAULT_BOOT_BYTES)
        if not self.reviewed.doubts:
            self._caution(partial(self._find_role, request))
            return
        self._ask(
            f"The review has {plural(len(self.reviewed.doubts), 'doubt')} about this image: "
            f"{self.reviewed.doubts[0].message}",
            "write",
            "Write it anyway",
            lambda: self._caution(partial(self._find_role, request)),
        )

    def action_back(self) -> None:
        """Write back the image that the board's flash held before the last write."""
        self._caution(partial(self._start, None))

    def _ask(self, question: str, answer: str, says: str, go_on: Callable[[], object]) -> None:
        """Ask a question; continue only with the answer that is not the safe default."""

        def answered(given: str | None) -> None:
            if given == answer:
                go_on()

        self.app.push_screen(
            Ask(question, [("leave", "Leave it as it is"), (answer, says)]), answered
        )

    def _caution(self, go_on: Callable[[AttachedBoard], object]) -> None:
        attached = self.app.desk.readings.need()
        if attached is None:
            return
        words = CAUTIONS.format(
            part=CHIP.part, port=attached.port, goes_back=KEYS.write_previous
        ).replace("\n  ", " ")
        kept = "What the board holds is backed up first, and its programs are put back afterwards."
        self._ask(f"{words}\n{kept}", "write", "I have read this: write", lambda: go_on(attached))

    def _find_role(self, request: WriteRequest, attached: AttachedBoard) -> None:
        """Use the image's role from the archive, or ask what the image is for."""
        try:
            role = role_of(self.app.archive, request.image, request.role)
        except RefusedError:  # it refuses for nothing else
            self._ask_role(lambda role: self._start(_with(request, role=role), attached))
        else:
            self._start(dataclasses.replace(request, role=role), attached)

    def _ask_role(self, go_on: Callable[[str], object]) -> None:
        roles = {
            "computer": "The computer: it runs the BASIC",
            "display": "The display: it makes the picture",
        }

        def answered(role: str | None) -> None:
            if role in roles:
                go_on(role)

        answers = [("leave", "Leave it"), *roles.items()]
        self.app.push_screen(Ask("What is this image for?", answers), answered)

    # --- writing -----------------------------------------------------------------------------

    def _start(self, request: WriteRequest | None, attached: AttachedBoard) -> None:
        """Write the image; if request is None, the firmware that was on the board before."""
        used: list[WriteRequest] = []

        def work(session: Session, archive: Archive) -> Written:
            wanted = request
            if wanted is None:
                image, role = way_back(archive, session.board_in(archive))
                wanted = WriteRequest(image, CHIP, DEFAULT_BOOT_BYTES, role, goes_back=True)
            used.append(wanted)
            return write_firmware(session, archive, wanted)

        def done(written: Written) -> str:
            self.app.desk.readings.look_again()
            return written_words(written)

        def failed(error: BaseException) -> Callable[[], object] | None:
            self.app.desk.readings.unknown_now(attached)  # it may have been restarted
            attached.read_at = None
            return self._way_on(error, used[-1], attached) if used else None

        name = self.app.desk.readings.name_of(attached)
        job = attached.do(f"Writing firmware to {name}", work, then="write")
        self.app.watch_job(job, done=done, failed=failed)

    def _way_on(
        self, error: BaseException, request: WriteRequest, attached: AttachedBoard
    ) -> Callable[[], object] | None:
        """Return what to ask after a refusal that the user can allow, None for any other error."""

        question = question_of(error, request) if isinstance(error, RefusedError) else None
        return None if question is None else partial(self._ask_request, question, attached)

    def _ask_request(self, question: Question, attached: AttachedBoard) -> None:
        """Ask what a refused write needs to know, and write with the answer."""
        leads = {name: request for name, _, request in question.answers}

        def answered(answer: str | None) -> None:
            if answer in leads:
                self._start(leads[answer], attached)

        answers = [("leave", "Leave it as it is")]
        answers += [(name, says) for name, says, _ in question.answers]
        self.app.push_screen(Ask(question.asks, answers), answered)


def _with(request: WriteRequest, **changes: object) -> WriteRequest:
    return dataclasses.replace(request, **changes)  # type: ignore[arg-type]
