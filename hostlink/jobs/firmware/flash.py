"""Reading and keeping all of flash before the first page is written, and planning the write."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.advice import join_advice
from hostlink.archive import Archive, FirmwareImage
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.errors import LinkError, LinkReason, Needed, ReadBackError, RefusedError
from hostlink.firmware.bootloader import Failure
from hostlink.firmware.chip import part_of
from hostlink.firmware.image import Image
from hostlink.firmware.plan import (
    Plan,
    blank_padded,
    is_half_written,
    overwrites_doubtful,
    plan_pages,
)
from hostlink.firmware.scripts import FlashScripts
from hostlink.jobs.events import PagesRead
from hostlink.jobs.firmware.bootlink import BootLink, in_pages
from hostlink.jobs.firmware.request import WriteRequest
from hostlink.jobs.firmware.situation import Situation
from hostlink.jobs.session.session import Session
from hostlink.sentences import NOT_KEPT, let_be_lost


@dataclass(frozen=True, slots=True)
class FlashBefore:
    """The contents of flash before a write, and the plan of the write.

    previous: the image to go back to, None if flash could not be read. boot_section, eeprom: as
    read, None if not readable. resumed: an interrupted write is being finished.
    """

    previous: FirmwareImage | None
    boot_section: bytes | None
    eeprom: bytes | None
    plan: Plan
    resumed: bool


def plan_for(request: WriteRequest, held: bytes | None, target: bytes | None = None) -> Plan:
    """Plan the pages to write so that flash holds the request's image, or another target."""
    wanted = request.image.flash if target is None else target
    doubtful = None if request.boot_is_known else request.chip.doubtful_from
    return plan_pages(wanted, held, request.chip, request.end, doubtful=doubtful)


def look_at_flash(
    session: Session,
    archive: Archive,
    request: WriteRequest,
    situation: Situation,
    boot: BootLink,
    scripts: FlashScripts,
) -> FlashBefore:
    """Read and keep all of flash through the bootloader; plan the write.

    Raises RefusedError for another chip or board, or if something cannot be kept or a larger
    bootloader could be overwritten; LinkError or ReadBackError if flash cannot be read.
    """
    _must_be_the_chip(request, boot.signature)
    flash, eeprom = _read(session, request, boot, scripts)
    held = None if flash is None else flash[: request.end]
    previous, resumed = _previous(session, archive, request, situation, held)
    _must_spare_the_bootloader(archive, request, situation, held)
    section = None if flash is None else flash[request.end :]
    return FlashBefore(previous, section, eeprom, plan_for(request, held), resumed)


def _must_be_the_chip(request: WriteRequest, signature: bytes) -> None:
    if signature != request.chip.signature:
        raise RefusedError(
            f"The chip on this board is {part_of(signature)}, not {request.chip.part}.",
            kept="Nothing was written.",
            advice=lambda by: (
                f"Check the port; if the image is for that chip, say so {by.say_chip}."
            ),
        )


def _read(
    session: Session, request: WriteRequest, boot: BootLink, scripts: FlashScripts
) -> tuple[bytes | None, bytes | None]:
    """Read all of flash, and EEPROM if the bootloader can; None for what cannot be read."""
    pages = request.chip.pages

    def on_page(page: int) -> None:
        session.emit(PagesRead(page + 1, pages))

    text = f"Reading all of flash into the archive, in {in_pages(pages, request.chip)}"
    session.emit(Phase(f"{text}, {boot.time_words(pages, request.chip)}"))
    try:
        flash = boot.run_again(lambda: scripts.read_flash(on_page))
        eeprom = boot.run(scripts.read_eeprom())
    except (LinkError, ReadBackError) as error:
        if isinstance(error, LinkError) and error.reason is LinkReason.GONE:
            raise
        if boot.failure is Failure.REFUSED:
            raise RefusedError(
                "This bootloader does not allow flash to be read, so no write could be proven.",
                kept="Nothing was written.",
                advice="Program the chip in another way.",
            ) from error
        if not request.discard_board:
            raise RefusedError(
                f"What flash holds now cannot be kept: {error.what}",
                kept="Nothing was written.",
                advice=join_advice(
                    error.advice, lambda by: f"To write without keeping it, {let_be_lost(by)}."
                ),
                needed=Needed.LOSS,
            ) from error
        session.emit(Warned(f"Flash was {NOT_KEPT}: {error.what}"))
        boot.enter((boot.baud,))
        return None, None
    return flash, None if eeprom is None or flash.startswith(eeprom) else eeprom


def _previous(
    session: Session,
    archive: Archive,
    request: WriteRequest,
    situation: Situation,
    held: bytes | None,
) -> tuple[FirmwareImage | None, bool]:
    """Keep the image to go back to; return it, and whether an interrupted write is finished now."""
    if held is None:
        return None, False
    left = situation.left_by
    if left is not None:
        before = left.previous.flash if left.previous else b""
        half = is_half_written(held, before, left.image.flash, request.chip)
        whole = not plan_for(request, held, left.image.flash).pages
        if not left.is_finished and (half or whole):
            return left.previous, left.image.sha256 == request.image.sha256
        _must_be_what_was_written(request, situation, is_ours=whole)
    image = Image.from_flash("", held)
    name = f"firmware read from {situation.board.label or session.choice.port}"
    return archive.keep_image(image.flash, part=request.chip.part, name=name), False


def _must_be_what_was_written(
    request: WriteRequest, situation: Situation, *, is_ours: bool
) -> None:
    """Raise RefusedError if flash does not hold what the assumed earlier write left there."""
    left = situation.left_by
    sure = is_ours or (situation.is_own and left is not None and not left.is_finished)
    may_differ = request.discard_board or request.new_board
    if sure or situation.role != "computer" or may_differ:
        return
    raise RefusedError(
        "This silent board is not the one whose write was cut off: its flash holds something else."
        if left is not None and not left.is_finished
        else "This silent board is not the one that was last written to: its flash holds "
        "something else.",
        kept="Nothing was written.",
        advice=lambda by: (
            "Check the port. If this board is meant, say which it is "
            f"{by.say_board('')}, and that what its memory holds may be lost {by.discard_board}."
        ),
        needed=Needed.LOSS,
    )


def _must_spare_the_bootloader(
    archive: Archive, request: WriteRequest, situation: Situation, held: bytes | None
) -> None:
    """Raise RefusedError if the image overwrites what may be a larger bootloader than assumed."""
    doubtful = not request.boot_is_known and overwrites_doubtful(
        request.image.flash, held, request.chip, request.end
    )
    if not doubtful:
        return
    last = archive.last_write(situation.board.uuid)
    if last is not None and held is not None and last.is_finished:
        ours = blank_padded(last.image.flash, request.end)[request.chip.doubtful_from :]
        if held[request.chip.doubtful_from :] == ours:
            return  # that was written by hostlink as part of an image
    raise RefusedError(
        f"The image reaches beyond {request.chip.doubtful_from:04X}, where this board holds "
        "something already; that may be a bootloader larger than the usual "
        f"{request.boot_bytes:,} bytes.",
        kept="Nothing was written.",
        advice=lambda by: (
            "Find out how large this board's bootloader is and say so "
            f"{by.say_bootloader_size}: without its bootloader a board cannot be reached any more."
        ),
        needed=Needed.BOOTLOADER_SIZE,
    )
