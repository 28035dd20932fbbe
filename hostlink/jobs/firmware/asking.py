"""Ask the user what a refused write needs to know, and write with the answer."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

from hostlink.archive import Archive
from hostlink.errors import Needed, RefusedError
from hostlink.jobs.firmware.checks import look
from hostlink.jobs.firmware.request import WriteRequest, Written
from hostlink.jobs.firmware.situation import Situation
from hostlink.jobs.firmware.writing import write_firmware
from hostlink.jobs.session.session import Session

# Refusals that come before the board is restarted, so that its answer is still valid.
_ABOUT_THE_BOARD = (Needed.NEW_BOARD, Needed.WHICH_BOARD)


@dataclass(frozen=True, slots=True)
class Question:
    """A question that a refused write puts to the user. asks: what happened, in sentences.

    answers: those that let the write go on, each as its id, its words and the changed request.
    """

    asks: str
    answers: tuple[tuple[str, str, WriteRequest], ...]


def question_that_lifts(error: RefusedError, request: WriteRequest) -> Question | None:
    """Return the question whose answer lifts a refusal, None if no answer does."""

    def with_changes(**changes: object) -> WriteRequest:
        return dataclasses.replace(request, **changes)  # type: ignore[arg-type]

    asks = f"{error.what} {error.kept}".strip()
    if error.needed is Needed.NEW_BOARD:
        new = with_changes(new_board=True)
        return Question(asks, (("new", "It is new, nothing on it is needed: write", new),))
    if error.needed is Needed.WHICH_BOARD:
        sure = with_changes(this_board=request.role)
        return Question(asks, (("sure", f"It is the {request.role}: write", sure),))
    if error.needed is Needed.LOSS:
        lose = with_changes(discard_board=True, this_board=request.role)
        return Question(asks, (("lose", "Write, and lose what is not kept", lose),))
    if error.needed is Needed.BOOTLOADER_SIZE:
        sizes = tuple(
            (
                f"size-{size}",
                f"Its bootloader has {size:,} bytes",
                with_changes(boot_bytes=size, boot_is_known=True),
            )
            for size in request.chip.boot_sizes
        )
        return Question(asks, sizes)
    return None


def write_asking(
    session: Session,
    archive: Archive,
    request: WriteRequest,
    ask: Callable[[Question], WriteRequest | None],
) -> Written:
    """Write an image; ask for what a refusal needs, over the same open port.

    ask: returns the request to go on with, None to leave it refused. Raises the errors of
    `write_firmware`; nothing is asked twice.
    """
    asked: set[Needed] = set()
    situation: Situation | None = None
    while True:
        try:
            situation = situation or look(session, archive, request)
            return write_firmware(session, archive, request, situation)
        except RefusedError as error:
            question = question_that_lifts(error, request)
            if question is None or error.needed is None or error.needed in asked:
                raise
            asked.add(error.needed)
            answer = ask(question)
            if answer is None:
                raise
            request = answer
            if error.needed not in _ABOUT_THE_BOARD:
                situation = None  # the board may have been restarted since
