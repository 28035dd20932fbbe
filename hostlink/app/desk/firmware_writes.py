"""Write firmware in a job that goes on whichever screen is in front."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from hostlink.app.actions.table import way_to
from hostlink.app.desk.part import DeskPart
from hostlink.app.sentences import LEAVE_IT
from hostlink.app.ways import KEYS, shown_error
from hostlink.errors import RefusedError
from hostlink.sentences import MUTE

if TYPE_CHECKING:
    from hostlink.app.attached_board import AttachedBoard
    from hostlink.app.desk.desk import Desk
    from hostlink.app.job import Job
    from hostlink.archive import Archive
    from hostlink.firmware.review import ImageReview
    from hostlink.jobs.firmware.asking import Question
    from hostlink.jobs.firmware.request import WriteRequest, Written
    from hostlink.jobs.session.session import Session

_ON_STOP = f"Stop writing firmware? {MUTE} Its bootloader and its kept programs are not lost."


class FirmwareWrites(DeskPart):
    """Writes firmware, one image at a time, and knows its progress.

    job: the write under way or the last one. outcome: how that ended, in words; "" before.
    reviewed: the image as it was reviewed, None to go back to the previous one. request: what is
    written, None until that is known. on_change: called at each progress of the write.
    """

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.job: Job[Written] | None = None
        self.outcome = ""
        self.reviewed: ImageReview | None = None
        self.request: WriteRequest | None = None
        self.on_change: list[Callable[[], object]] = []

    @property
    def under_way(self) -> bool:
        """Return whether a write is under way."""
        return self.job is not None and not self.job.ended

    def start(
        self, request: WriteRequest | None, attached: AttachedBoard, reviewed: ImageReview | None
    ) -> None:
        """Write an image or, if request is None, the board's previous firmware."""
        if self.under_way:
            self.app.notify("A firmware write is under way; wait until it has ended.", markup=False)
            return
        self.reviewed, self.request = reviewed, request

        def work(session: Session, archive: Archive) -> Written:
            from hostlink.firmware.chip import ATMEGA328P, DEFAULT_BOOT_BYTES
            from hostlink.jobs.firmware.record import previous_image
            from hostlink.jobs.firmware.request import WriteRequest
            from hostlink.jobs.firmware.writing import write_firmware

            wanted = request
            if wanted is None:
                image, role = previous_image(archive, session.board_in(archive))
                wanted = WriteRequest(image, ATMEGA328P, DEFAULT_BOOT_BYTES, role, goes_back=True)
                self.request = wanted
            return write_firmware(session, archive, wanted)

        def done(written: Written) -> str:
            from hostlink.jobs.firmware.image_words import written_words

            self.desk.readings.look_again()
            told = written_words(written)
            if written.first.is_new:
                told.append(
                    f"Give it a label {KEYS.label_board}, and load its first program "
                    f"with {way_to('load')}."
                )
            self.outcome = " ".join(told)
            return self.outcome

        what = f"Writing firmware to {self.desk.readings.name_of(attached)}"
        job = attached.do(what, work, then="write", doing="is getting new firmware")
        failed = partial(self._failed, attached)
        self.app.watch_job(job, done=done, failed=failed, follow=self._follow)

    def _follow(self, job: Job[Written]) -> None:
        """Show a write on the desk, and on the firmware screen while that is open."""
        job.stop_question = _ON_STOP
        self.job, self.outcome = job, ""
        self.desk.progress.follow(job)
        job.on_change.append(self._moved)
        self._moved(job)

    def _moved(self, _: Job[Written]) -> None:
        for changed in list(self.on_change):
            changed()

    def _failed(self, attached: AttachedBoard, error: BaseException) -> Callable[[], object] | None:
        """Return the question to ask if the user can lift the refusal, None for other errors."""
        from hostlink.jobs.firmware.asking import question_that_lifts

        self.outcome = shown_error(error).what
        self.desk.readings.unknown_now(attached)  # it may have been restarted
        attached.read_at = None
        if self.request is None or not isinstance(error, RefusedError):
            return None
        question = question_that_lifts(error, self.request)
        return None if question is None else partial(self._ask, question, attached)

    def _ask(self, question: Question, attached: AttachedBoard) -> None:
        """Ask what a refused write needs to know, and write with the answer."""
        from hostlink.app.screens.dialogues import ask

        answers = [
            (name, says, partial(self.start, request, attached, self.reviewed))
            for name, says, request in question.answers
        ]
        ask(self.app, question.asks, *answers, leave=LEAVE_IT)
