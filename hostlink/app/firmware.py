"""Firmware: an image reviewed and drawn, then written page by page, each page read back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from hostlink.app.dialogues import Ask
from hostlink.app.texts import plain, plural
from hostlink.app.work import Attached
from hostlink.archive import Archive
from hostlink.firmware.chip import chip_named
from hostlink.firmware.hex_file import load_hex_file
from hostlink.firmware.image import Image
from hostlink.firmware.memory_map import LEGEND, memory_map, segment_rows
from hostlink.firmware.review import ImageReview, review_image
from hostlink.jobs.cautions import CAUTIONS
from hostlink.jobs.firmware import WriteRequest, Written, image_before, write_firmware
from hostlink.jobs.session import Session

if TYPE_CHECKING:
    from hostlink.app.application import DeskApp

PART = "ATmega328P"
BOOT_BYTES = 2048


def review_file(path: Path) -> ImageReview:
    """Read an image and review it for the usual chip. Raises an error of ours."""
    chip = chip_named(PART)
    assert chip is not None
    return review_image(load_hex_file(path, chip.flash_bytes), chip, BOOT_BYTES)


def image_words(reviewed: ImageReview) -> str:
    """What an image holds, where it lies in flash, and what is wrong with it."""
    image = reviewed.image
    rows = [
        f"{image.name}: {plural(image.used_bytes, 'byte')} of {reviewed.application_end:,}",
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
    return "\n".join(rows)


def written_words(written: Written) -> str:
    """How a write ended, in one sentence or two."""
    what = f"{plural(written.written, 'page')} written and read back"
    back = f" Its programs are back on it, proven ({written.backup})." if written.restored else ""
    return (
        f"{written.image.name} is on the board: {what}, {written.right:,} were right before.{back}"
    )


class FirmwareScreen(Screen[None]):
    """Shows an image's review; writing asks first, with the cautions."""

    app: DeskApp
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("w", "write", "Write it to the board", tooltip="Asked first, with the cautions"),
        Binding("g", "back", "Go back to the image before", tooltip="What flash held last"),
        Binding("escape", "leave", "Back", tooltip="To the desk"),
    ]

    def __init__(self, reviewed: ImageReview) -> None:
        super().__init__(classes="page")
        self.reviewed = reviewed

    def compose(self) -> ComposeResult:
        yield Static("Firmware", classes="heading", markup=False)
        with VerticalScroll():
            words = plain(image_words(self.reviewed), keep="\n")
            yield Static(Content(words), classes="words", id="image", markup=False)
        yield Static(
            "W writes it to the board, asked first. G goes back to what the flash held before. "
            "Escape goes back to the desk.",
            classes="foot",
            markup=False,
        )

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()

    def action_write(self) -> None:
        if self.reviewed.errors:
            self.app.notify("It has errors, so it is not written.", markup=False)
            return
        self._ask(self.reviewed.image)

    def action_back(self) -> None:
        self._ask(None)

    def _ask(self, image: Image | None) -> None:
        """image None: the one that was on the board before."""
        attached = self.app.desk.need_board()
        if attached is None:
            return

        def role_known(role: str | None) -> None:
            if role in ("computer", "display"):
                self._start(attached, image, role)

        def cautioned(answer: str | None) -> None:
            if answer == "write" and image is None:
                self._start(attached, None, "")
            elif answer == "write":
                self.app.push_screen(
                    Ask(
                        "What is this image for?",
                        [
                            ("leave", "Leave it"),
                            ("computer", "The computer: it runs the BASIC"),
                            ("display", "The display: it makes the picture"),
                        ],
                    ),
                    role_known,
                )

        self.app.push_screen(
            Ask(
                CAUTIONS.format(part=PART, port=attached.port).replace("\n  ", " "),
                [("leave", "Leave it as it is"), ("write", "I have read this: write")],
            ),
            cautioned,
        )

    def _start(self, attached: Attached, image: Image | None, role: str) -> None:
        chip = self.reviewed.chip

        def work(session: Session, archive: Archive) -> Written:
            wanted, wanted_role = image, role
            if wanted is None:
                before, last = image_before(archive, session.board_in(archive))
                wanted, wanted_role = Image.from_flash(before.name, before.flash), last.role
            request = WriteRequest(wanted, chip, BOOT_BYTES, wanted_role)
            return write_firmware(session, archive, request)

        self.dismiss()
        job = attached.do(f"Writing firmware to {self.app.desk.board_name(attached)}", work)

        def done(written: Written) -> str:
            self.app.desk.look_again()
            return written_words(written)

        self.app.watch_job(job, done=done)

    def action_leave(self) -> None:
        self.dismiss()
