"""Writing firmware from the command line: one board, or the two of a machine in one sitting."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from hostlink.cli.context import CommonOptions
from hostlink.cli.first_firmware import (
    ask_role,
    asker,
    check_first_steps,
    may_ask,
    take_first_steps,
)
from hostlink.cli.output import as_json, say
from hostlink.cli.stopping import ask_word, ask_yes_no
from hostlink.errors import RefusedError, UsageError
from hostlink.sentences import NOBODY_TO_ASK

if TYPE_CHECKING:
    from collections.abc import Callable

    from hostlink.archive import Archive
    from hostlink.firmware.image import Image
    from hostlink.firmware.review import ImageReview
    from hostlink.jobs.firmware.request import FirstSteps, WriteRequest
    from hostlink.jobs.session.session import Session


def write_one(
    common: CommonOptions,
    reviewed: ImageReview | None,
    role: str | None,
    request: Callable[..., WriteRequest],
    first: FirstSteps,
) -> None:
    """Write the reviewed image, or the previous one if it is None, and report the result.

    request: makes the request of an image and its role.
    """
    from hostlink.cli.firmware_teller import PageTeller
    from hostlink.cli.firmware_words import written_dict
    from hostlink.jobs.firmware.asking import write_asking
    from hostlink.jobs.firmware.image_words import written_words
    from hostlink.jobs.firmware.request import AfterWriteError

    with common.archive() as archive, PageTeller(quiet=common.quiet) as teller:
        check_first_steps(archive, first, common.the_port())
        if reviewed is not None:
            role = _role(common, archive, reviewed.image, role or "")  # before a port is opened
        with common.session(archive, teller.emit) as session:
            image, wanted = _image_and_role(session, archive, reviewed, role)
            ask = asker(common, teller)
            try:
                wish = request(image=image, role=wanted, first=first)
                written = write_asking(session, archive, wish, ask)
            except AfterWriteError as error:
                if common.json:
                    as_json(written_dict(error.written))
                raise
            teller.close()
            if common.json:
                as_json(written_dict(written))
            else:
                for sentence in written_words(written):
                    say(sentence, quiet=common.quiet)
            if written.answered and (first.is_new or written.first.wanted):
                take_first_steps(common, session, archive, written.first, teller)


def _role(common: CommonOptions, archive: Archive, image: Image, role: str) -> str:
    """Return what an image is for; ask for it at a terminal if it is not known."""
    from hostlink.jobs.firmware.checks import role_of

    try:
        return role_of(archive, image, role)
    except RefusedError:  # raised only if the role is not known
        if not may_ask(common):
            raise
        return ask_role()


def _image_and_role(
    session: Session, archive: Archive, reviewed: ImageReview | None, role: str | None
) -> tuple[Image, str]:
    """Return the image to write and its role: the reviewed image, or the previous one."""
    from hostlink.jobs.firmware.record import previous_image

    if reviewed is not None:
        return reviewed.image, role or ""
    image, known = previous_image(archive, session.board_in(archive))
    return image, role or known


def check_two_boards(common: CommonOptions, *, previous: bool) -> None:
    """Refuse to write the display too if nobody can be asked to move wires."""
    if previous:
        raise UsageError("--display goes with the IMAGE of the computer, not with --previous.")
    if not may_ask(common):
        raise RefusedError(
            f"Somebody has to move wires between the two writes, {NOBODY_TO_ASK}.",
            kept="Nothing was sent to a board.",
            advice="Write each image with a command of its own, with --role computer, then with "
            "--role display.",
        )


def write_display(
    common: CommonOptions, reviewed: ImageReview, request: Callable[..., WriteRequest]
) -> None:
    """Ask for the bridge to be moved to the display, and write the display. Raises RefusedError."""
    from hostlink.jobs.cautions import MOVE_BACK, MOVE_TO_DISPLAY
    from hostlink.jobs.firmware.request import FirstSteps

    for line in MOVE_TO_DISPLAY.split("\n"):
        say(line)
    if not ask_yes_no("Is that done?"):
        raise RefusedError(
            "The display was not written, as you chose.",
            kept="The computer is done.",
            advice="Write it later with --role display.",
        )
    port = ask_word(f"At which port is the display? (Enter: {common.port}, as before)")
    second = dataclasses.replace(common, port=port or common.port)
    try:
        write_one(second, reviewed, "display", request, FirstSteps())
    finally:
        _keep_role(common, second)
    for line in MOVE_BACK.split("\n"):
        say(line)


def _keep_role(common: CommonOptions, second: CommonOptions) -> None:
    """Record the board as the computer again if the display was written over the same bridge."""
    from hostlink.board.port.ports import identity_of, same_board
    from hostlink.jobs.session.last_known import known_board

    first = identity_of(common.the_port())
    if not same_board(first, identity_of(second.the_port())):
        return
    with common.archive() as archive:
        board = known_board(archive, first)
        if board is not None:
            archive.set_board_role(board.uuid, "computer")
