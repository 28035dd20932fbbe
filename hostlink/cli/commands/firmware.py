"""The commands firmware review, write and history."""

from __future__ import annotations

import contextlib
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from hostlink.archive.times import local_text
from hostlink.cli.context import CommonOptions
from hostlink.cli.damage import show_records
from hostlink.cli.firmware_writing import check_two_boards, write_display, write_one
from hostlink.cli.group import Group
from hostlink.cli.options import FILE, WholeRange, output_option, shared
from hostlink.cli.output import as_json, say
from hostlink.cli.stopping import ask_yes_no
from hostlink.errors import RefusedError, UsageError
from hostlink.sentences import NOBODY_TO_ASK, NOTHING_SENT
from hostlink.words import plural, safe

if TYPE_CHECKING:
    from collections.abc import Callable

    from hostlink.archive import FirmwareImage
    from hostlink.firmware.chip import Chip
    from hostlink.firmware.review import ImageReview

_ROLES = click.Choice(["computer", "display"])


@click.group(cls=Group)
def firmware() -> None:
    """Review and write firmware images, and see what was written where.

    IMAGE is an Intel HEX file. Try everything on `--port practice://` first: that board has a
    bootloader and flash too.
    """


def _image_options(function: Callable[..., Any]) -> Callable[..., Any]:
    chip = click.option(
        "--chip",
        "part",
        metavar="PART",
        default="ATmega328P",
        show_default=True,
        help="The chip by part number.",
    )
    boot = click.option(
        "--bootloader-bytes",
        type=WholeRange(),
        metavar="BYTES",
        help="Size of the bootloader's section at the top of flash: 512, 1024, 2048 or 4096; "
        "2048 is assumed.",
    )
    return chip(boot(function))


@firmware.command()
@click.argument("image", type=FILE)
@output_option("Write a draft profile (TOML) made of what the image shows.")
@_image_options
@shared(json=True, yes=True)
def review(
    common: CommonOptions,
    image: Path,
    output: Path | None,
    part: str,
    bootloader_bytes: int | None,
) -> int:
    """Show what an image holds, where it lies in flash, and what is wrong with it.

    It is not run: its BASIC words, texts and speed are read from its bytes, and compared with the
    image written before. Nothing is sent anywhere. Exit status 1 if it has errors.
    """
    from hostlink.cli.firmware_words import review_dict, show_review
    from hostlink.firmware.chip import DEFAULT_BOOT_BYTES
    from hostlink.jobs.firmware.draft import write_draft
    from hostlink.jobs.firmware.image_words import tell_image, told_dict

    reviewed = _reviewed(image, part, bootloader_bytes or DEFAULT_BOOT_BYTES)
    known = role = ""
    with _archive_if_any(common) as archive:
        if archive is not None:
            held = archive.known_image(reviewed.image.sha256)
            known = held.name if held is not None else ""
            role = archive.image_role(reviewed.image.sha256)
        told = tell_image(reviewed.image, archive)
    if output is not None and not reviewed.errors:
        write_draft(reviewed.image, told.knowledge, output, replace=common.yes)
        say(f"{output} is a draft profile, read from {image.name}.", quiet=common.quiet)
    if common.json:
        as_json(review_dict(reviewed, known, role) | told_dict(told))
    else:
        show_review(reviewed, known, role, told)
    if output is not None and reviewed.errors:
        raise RefusedError(
            f"{image.name} has errors, so no draft profile is made of it.",
            kept=f"{output} was not written.",
        )
    return 1 if reviewed.errors else 0


def _archive_if_any(common: CommonOptions) -> Any:
    """Open the archive to look up images; yield None, and create nothing, if there is none yet."""
    if not common.archive_file().exists():
        return contextlib.nullcontext()
    return common.archive(create=False, read_only=True)


def _reviewed(path: Path, part: str, boot_bytes: int) -> ImageReview:
    from hostlink.firmware.hex_file import load_hex_file
    from hostlink.firmware.review import review_image

    chip = _chip(part, boot_bytes)
    return review_image(load_hex_file(path, chip.flash_bytes), chip, boot_bytes)


def _chip(part: str, boot_bytes: int) -> Chip:
    from hostlink.firmware.chip import CHIPS, chip_named

    chip = chip_named(part)
    if chip is None:
        raise UsageError(
            f'The chip "{part}" is not known.',
            advice=f"Known: {', '.join(each.part for each in CHIPS)}.",
        )
    if boot_bytes not in chip.boot_sizes:
        *sizes, largest = map(str, chip.boot_sizes)
        raise UsageError(
            f"A bootloader's section on the {chip.part} has {', '.join(sizes)} or {largest} bytes."
        )
    return chip


@firmware.command()
@click.argument("image", required=False, type=FILE)
@click.option("--previous", is_flag=True, help="Go back to what the board's flash held before.")
@_image_options
@click.option("--role", type=_ROLES, help="What the image is for; this is remembered.")
@click.option("--this-board", type=_ROLES, help="Say which of the two boards this is.")
@click.option("--despite-review", is_flag=True, help="Write although the review has doubts.")
@click.option(
    "--discard-board", is_flag=True, help="Go on even if what the board holds cannot be kept."
)
@click.option(
    "--new-board", is_flag=True, help="Say that a silent board is new and holds only a bootloader."
)
@click.option("--label", metavar="LABEL", default="", help="Label the board afterwards.")
@click.option("--load", "program", metavar="WHAT", default="", help="Load a listing afterwards.")
@click.option(
    "--display",
    type=FILE,
    help="The image of the machine's display, written next; you are told which wires to move.",
)
@shared(link=True, json=True, yes=True)
def write(
    common: CommonOptions,
    image: Path | None,
    previous: bool,
    part: str,
    bootloader_bytes: int | None,
    role: str | None,
    this_board: str | None,
    despite_review: bool,
    discard_board: bool,
    new_board: bool,
    label: str,
    program: str,
    display: Path | None,
) -> None:
    """Write an image to a board, read every page back, and put the board's programs back.

    What the board holds is kept first. Repeat the command to finish a write that was cut off. At a
    terminal you are asked for what is not known; a new board gets a label and a first program.
    """
    from hostlink.firmware.chip import DEFAULT_BOOT_BYTES
    from hostlink.jobs.firmware.request import FirstSteps, WriteRequest

    _check_named(common, image, display, previous=previous)
    boot_bytes = bootloader_bytes or DEFAULT_BOOT_BYTES
    reviewed = _sound(image, part, boot_bytes, despite_review)
    second = _sound(display, part, boot_bytes, despite_review)
    chip = _chip(part, boot_bytes)
    _ask_to_go_on(common, chip, reviewed)
    said: dict[str, Any] = {"this_board": this_board or "", "discard_board": discard_board}
    said |= {"new_board": new_board, "goes_back": previous}
    said |= {"boot_bytes": boot_bytes, "boot_is_known": bootloader_bytes is not None}
    request = partial(WriteRequest, chip=chip, **said)
    if program and Path(program).is_file():
        program = str(Path(program).absolute())  # another write may have to finish this one
    first = FirstSteps(new_board, label, program)
    write_one(common, reviewed, role, request, first)
    if second is not None:
        write_display(common, second, request)


def _check_named(
    common: CommonOptions, image: Path | None, display: Path | None, *, previous: bool
) -> None:
    """Refuse images that do not go together, or an earlier one that the archive lacks."""
    if (image is None) == (not previous):
        raise UsageError("Give either an IMAGE or --previous.")
    if display is not None:
        check_two_boards(common, previous=previous)
    if previous:
        _must_have_previous(common)


def _must_have_previous(common: CommonOptions) -> None:
    """Refuse --previous, before a port is opened, if the archive has no previous image."""
    from hostlink.board.port.ports import identity_of
    from hostlink.jobs.firmware.record import image_before
    from hostlink.jobs.session.last_known import known_board

    with common.archive() as archive:
        image_before(archive, known_board(archive, identity_of(common.the_port())))


def _sound(path: Path | None, part: str, boot_bytes: int, despite: bool) -> ImageReview | None:
    """Return the review of an image, None for no path.

    Raises RefusedError for errors and, unless `despite`, for doubts.
    """
    if path is None:
        return None
    reviewed = _reviewed(path, part, boot_bytes)
    found = reviewed.errors or (() if despite else reviewed.doubts)
    if not found:
        return reviewed
    first, more = found[0], len(found) - 1
    where = f"line {first.line}: " if first.line else ""
    others = f" (and {more} more)" if more else ""
    raise RefusedError(
        f"{reviewed.image.name} is not written: {where}{first.message}{others}",
        kept=NOTHING_SENT,
        advice="`hostlink firmware review` shows everything."
        + ("" if reviewed.errors else " If it is right anyway, add --despite-review."),
    )


def _ask_to_go_on(common: CommonOptions, chip: Chip, reviewed: ImageReview | None) -> None:
    """Show the image and the cautions, and ask for consent. Raises RefusedError without it."""
    from hostlink.cli.ways import COMMANDS, at_port
    from hostlink.jobs.cautions import CAUTIONS
    from hostlink.jobs.firmware.image_words import told_sentence

    if reviewed is not None:
        say(told_sentence(reviewed.image), quiet=common.quiet)
    port = safe(common.the_port())
    words = CAUTIONS.format(
        part=chip.part, port=port, goes_back=at_port(COMMANDS.write_previous, port)
    )
    for line in words.split("\n"):
        say(line)
    if common.yes:
        return
    if not sys.stdin.isatty():
        raise RefusedError(
            f"Writing firmware must be confirmed, {NOBODY_TO_ASK}.",
            kept=NOTHING_SENT,
            advice="Read the cautions above, then repeat the command with --yes.",
        )
    if not ask_yes_no("Go on?"):
        raise RefusedError("Nothing was written, as you chose.")


@firmware.command()
@shared(json=True)
def history(common: CommonOptions) -> int:
    """Show which image was written to which board, when, and how it ended."""
    from hostlink.cli.firmware_words import write_dict

    with common.reading() as archive:
        found = archive.writes()
    counted = f"{plural(len(found), 'write')} of firmware."
    return show_records(
        common,
        found,
        write_dict,
        {
            "began": lambda each: local_text(each.began_at),
            "board": lambda each: each.board or each.board_uuid[:8],
            "role": lambda each: each.role,
            "image": lambda each: each.image.name,
            "SHA-256": lambda each: each.image.sha256[:12],
            "before it": lambda each: _before(each.previous),
            "how it ended": lambda each: each.outcome or "cut off",
        },
        counted,
    )


def _before(image: FirmwareImage | None) -> str:
    """Return what a board held before a write: the start of its SHA-256, or a word."""
    if image is None:
        return "-"
    return image.sha256[:12] if image.flash else "blank"
