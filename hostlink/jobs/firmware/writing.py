"""Writing firmware to a board as one guarded job.

The order matters: look at the board, keep its programs, and only then restart it into its
bootloader; read all of its flash into the archive, and only then write. After an interruption at
any moment the same call finishes the work: a silent board still has its bootloader, and its
programs are put back.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import asdict, dataclass
from typing import Any

from hostlink.advice import Advice, Ways, join_advice
from hostlink.archive import Archive, Backup
from hostlink.board.dialogue.events import Phase, Warned
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    ReadBackError,
    RefusedError,
)
from hostlink.firmware.plan import OnPage, Plan
from hostlink.firmware.scripts import FlashScripts
from hostlink.jobs.events import PageProven
from hostlink.jobs.firmware.bootlink import BootLink, in_pages
from hostlink.jobs.firmware.checks import look, must_be_the_board, save_programs
from hostlink.jobs.firmware.flash import FlashBefore, look_at_flash, plan_for
from hostlink.jobs.firmware.record import JOB, can_go_back
from hostlink.jobs.firmware.request import FirstSteps, WriteRequest, Written
from hostlink.jobs.firmware.restoring import (
    Start,
    after_write_error,
    hear_start,
    is_cut_off,
    restore,
)
from hostlink.jobs.firmware.situation import Situation
from hostlink.jobs.session.job import recorded_job
from hostlink.jobs.session.patience import TELL_OFTEN_S
from hostlink.jobs.session.session import Session
from hostlink.sentences import BACK_IN_MEMORY, MUTE, NOTHING_SENT, go_back, programs_kept

_RESTARTS = 2  # restarts of the board during a write before giving up


def write_firmware(
    session: Session, archive: Archive, request: WriteRequest, situation: Situation | None = None
) -> Written:
    """Write a reviewed image; return when it is read back and the programs are put back.

    situation: what the board was just seen to be; None to look at it first.
    Raises RefusedError before anything is changed; LinkError, ReadBackError or Interrupted with the
    state of the board and what is kept; AfterWriteError if the image is on the board, but the
    board does not come to its prompt or its programs could not be put back.
    """
    if len(request.image.flash) > request.end:
        raise RefusedError(
            f"The image reaches beyond {request.end:04X}, where a bootloader of "
            f"{request.boot_bytes:,} bytes begins.",
            kept=NOTHING_SENT,
            advice="Check that the image is for this board, and how large its bootloader is.",
        )
    situation = situation or look(session, archive, request)
    must_be_the_board(session, archive, situation, request)
    boot = BootLink(session)
    backup = save_programs(session, archive, situation, request)
    with recorded_job(
        session,
        archive,
        JOB,
        situation.board,
        parts=20,
        detail=_detail(request, situation, backup),
        tell_every_s=TELL_OFTEN_S,
    ) as record:
        return _Write(session, archive, request, situation, boot, backup, record.detail).run()


def _detail(request: WriteRequest, situation: Situation, backup: Backup | None) -> dict[str, Any]:
    """Return the detail of the event of a write, as far as it is known before it begins."""
    return {
        "image": request.image.sha256,
        "name": request.image.name,
        "role": situation.role,
        "goes_back": request.goes_back,
        "backup": backup.spec if backup else "",
        "backup_uuid": backup.uuid if backup else "",
        "discarded": request.discard_board,
        "first": asdict(_first_steps(request, situation)),
    }


def _first_steps(request: WriteRequest, situation: Situation) -> FirstSteps:
    """Return what follows the write: as requested, else as for the write that it finishes."""
    first, before = request.first, situation.first
    is_new = situation.may_be_new and (request.new_board or before.is_new)
    return FirstSteps(is_new, first.label or before.label, first.load or before.load)


@dataclass
class _Write:
    """One write, from the restart into the bootloader until the programs are put back.

    detail: of the event of the write, see record.JOB.
    """

    session: Session
    archive: Archive
    request: WriteRequest
    situation: Situation
    boot: BootLink
    backup: Backup | None
    detail: dict[str, Any]

    def __post_init__(self) -> None:
        self._scripts = FlashScripts(self.request.chip)
        self._record = ""
        self._done = self._pages = 0

    def run(self) -> Written:
        try:
            self.boot.enter()
            before = look_at_flash(
                self.session,
                self.archive,
                self.request,
                self.situation,
                self.boot,
                self._scripts,
            )
            if before.plan.pages or before.resumed:
                self._begin_record(before)
        except HostlinkError as error:
            raise self._untouched(error) from error
        self._pages = len({page for page, _ in before.plan.pages})
        self._write_recorded(before.plan)
        return self._afterwards(before)

    def _start(self) -> Start:
        start = hear_start(self.session, has_prompt=self.situation.role == "computer")
        self.detail.update(banner=start.banner, answered=start.answered)
        return start

    # --- before the first page ---------------------------------------------------------------

    def _begin_record(self, before: FlashBefore) -> None:
        """Record the image and the contents of flash before anything is written."""
        request, situation = self.request, self.situation
        image = self.archive.keep_image(
            request.image.flash, part=request.chip.part, name=request.image.name
        )
        self._record = self.archive.begin_write(
            situation.board.uuid,
            image,
            previous=before.previous,
            role=situation.role,
            part=request.chip.part,
            backup_uuid=self.backup.uuid if self.backup else None,
            boot_section=before.boot_section,
            eeprom=before.eeprom,
        )
        self.detail["write"] = self._record

    def _untouched(self, error: HostlinkError) -> HostlinkError:
        """Start the unchanged firmware again and put the programs back, if possible."""
        gone = isinstance(error, LinkError) and error.reason is LinkReason.GONE
        back = False
        if not gone:
            with self.session.unstoppable(), suppress(HostlinkError):
                self.boot.leave()
                if self._start().answered and self.backup is not None:
                    restore(self.session, self.archive, self.backup)
                    self.detail["restored"] = back = True
        what, advice = error.what, error.advice
        if isinstance(error, Interrupted):
            what = "Stopped before anything was written; the chip's flash is as it was."
        said = [error.kept]
        if "Nothing was written" not in error.kept:
            said.insert(0, "Nothing was written.")
        if self.backup is not None:
            said.append(programs_kept(self.backup.spec))
            if back:
                said.append(BACK_IN_MEMORY)
            else:
                advice = join_advice(advice, self._when_back())
        return error.but(what=what, kept=" ".join(part for part in said if part), advice=advice)

    def _when_back(self) -> Advice:
        """Return advice for putting the programs back on a board with unchanged firmware."""
        again = "Repeat the command: it puts them back at its end"
        if self.situation.left_by is not None:
            return f"{again}."
        assert self.backup is not None
        spec = self.backup.spec
        return lambda by: f"{again}, or put them back at once {by.put_back(spec)}."

    # --- writing -----------------------------------------------------------------------------

    def _write_recorded(self, plan: Plan) -> None:
        """Carry out the plan, and record how it ended if it failed."""
        try:
            if plan.pages:
                self._write(plan)
        except HostlinkError as error:
            outcome = "interrupted" if isinstance(error, Interrupted) else "failed"
            with suppress(ArchiveError):  # a record without an end means the same
                self.archive.end_write(self._record, outcome)
            raise self._half_way(error) from error

    def _write(self, plan: Plan) -> None:
        """Carry out the plan; if the bootloader stops answering, restart the board and continue."""
        name, chip = self.request.image.name or "the image", self.request.chip
        time_words = self.boot.time_words(len(plan.pages), chip)
        text = f"Writing {name} in {in_pages(self._pages, chip)}, {time_words}"
        self.session.emit(Phase(text))
        for restarts in range(_RESTARTS + 1):
            if not plan.pages:
                return
            try:
                script = self._scripts.write_plan(plan, self._counting(plan))
                self.boot.run(script)
                return
            except LinkError as error:
                if restarts == _RESTARTS or error.reason is LinkReason.GONE:
                    raise
                self.session.emit(Warned(f"{error.what} Restarting the board to go on."))
                self.boot.enter((self.boot.baud,))
                held = self.boot.run(self._scripts.read_flash())[: self.request.end]
                plan = plan_for(self.request, held)

    def _counting(self, plan: Plan) -> OnPage:
        """Return a callback that counts proven pages, but not the guard that page 0 holds first."""
        guard = len(plan.pages) > len({page for page, _ in plan.pages})
        self._done = self._pages - len({page for page, _ in plan.pages})

        def on_page(page: int) -> None:
            nonlocal guard
            if guard and page == 0:
                guard = False
                return
            self._done += 1
            self.session.emit(PageProven(self._done, self._pages, page))

        return on_page

    def _half_way(self, error: HostlinkError) -> HostlinkError:
        where = f"after page {self._done} of {self._pages}"
        is_stopped = isinstance(error, Interrupted)
        what = f"Stopped {where}." if is_stopped else f"{error.what.rstrip('.')}, {where}."
        kept = [f"{MUTE} Its bootloader is unharmed."]
        can_go_back = self._can_go_back()
        if can_go_back:
            kept.append("What its flash held before is in the archive.")
        if self.backup:
            kept.append(f"{programs_kept(self.backup.spec)} They go back at the end.")
        check = error.advice if isinstance(error, ReadBackError) else ""
        advice = join_advice(check, self._again)
        if self.request.goes_back:
            advice = "Do the same again: it goes on where this stopped."
        elif can_go_back:
            advice = join_advice(advice, lambda by: f"Or {go_back(by)}.")
        return error.but(what=what, kept=" ".join(kept), advice=advice)

    def _again(self, by: Ways) -> str:
        image = self.request.image
        again = by.write_again(image.file or image.name)
        return f"Write the same image again {again}: that goes on where this stopped."

    def _can_go_back(self) -> bool:
        return can_go_back(self.archive, self.situation.board, over=self.request.image)

    # --- afterwards --------------------------------------------------------------------------

    def _afterwards(self, before: FlashBefore) -> Written:
        """Let the firmware start and put the programs back. Raises AfterWriteError, Interrupted.

        The write is recorded as ended only after the start, with the banner that was heard.
        """
        start, cause = Start(), None
        restored = False
        try:
            try:
                self.boot.leave()
                start = self._start()
            finally:
                if self._record:
                    self.archive.end_write(self._record, "done", start.banner)
            self.archive.set_board_role(self.situation.board.uuid, self.situation.role)
            if start.answered and self.backup is not None:
                restore(self.session, self.archive, self.backup)
                self.detail["restored"] = restored = True
        except HostlinkError as error:
            cause = error
        written = Written(
            image=self.request.image,
            role=self.situation.role,
            written=self._pages,
            right=before.plan.right,
            banner=start.banner,
            answered=start.answered,
            backup=self.backup.spec if self.backup else "",
            restored=restored,
            resumed=before.resumed,
            first=_first_steps(self.request, self.situation),
        )
        self.detail.update(pages=written.written, right=written.right, cut_off=is_cut_off(cause))
        mute = written.role == "computer" and not start.answered
        if cause is None and not mute:
            return written
        profile, can_go_back = self.session.profile.name, self._can_go_back()
        raise after_write_error(written, start, cause, profile, can_go_back=can_go_back) from cause
