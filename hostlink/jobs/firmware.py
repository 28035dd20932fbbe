"""Write firmware to a board as one guarded task.

The order is the point: look at the board, keep what its BASIC holds, only then restart it into its
bootloader; read all of its flash into the archive, only then write. Cut off at any page, the board
is mute and still has its bootloader, and the same call finishes the work.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

from hostlink.archive import Archive, Backup, Board, FirmwareImage, FirmwareWrite, Role
from hostlink.board.events import Phase, Warned
from hostlink.errors import (
    ArchiveError,
    HostlinkError,
    Interrupted,
    LinkError,
    LinkReason,
    Needed,
    ReadBackError,
    RefusedError,
)
from hostlink.firmware.bootloader import Trouble
from hostlink.firmware.chip import Chip, part_of
from hostlink.firmware.image import Image
from hostlink.firmware.plan import (
    FlashScripts,
    OnPage,
    Plan,
    blank_padded,
    is_half_written,
    overwrites_doubtful,
    plan_pages,
)
from hostlink.jobs.bootlink import BootLink
from hostlink.jobs.events import PageProven, PagesRead
from hostlink.jobs.firmware_after import hear_start, restore
from hostlink.jobs.firmware_checks import Situation, look, must_be_the_board, save_programs
from hostlink.jobs.session import Session

_RESTARTS = 2  # times the board is restarted in the middle of a write before giving up


@dataclass(frozen=True, slots=True)
class WriteRequest:
    """What to write. boot_bytes: size of the bootloader's section at the top of flash.

    role: what the image is for, "" where the archive knows. this_board: the user's word on which
    board it is, "" without one. discard_board: go on where what is there cannot be kept.
    boot_is_known: boot_bytes is the user's word, not only what is usual.
    """

    image: Image
    chip: Chip
    boot_bytes: int
    role: Role | str = ""
    this_board: Role | str = ""
    discard_board: bool = False
    boot_is_known: bool = False

    @property
    def end(self) -> int:
        """The first byte of flash that belongs to the bootloader."""
        return self.chip.application_end(self.boot_bytes)


@dataclass(frozen=True, slots=True)
class Written:
    """A write whose every page was read back. right: pages that held the right bytes before.

    banner: what the board said afterwards. answered: it came to its prompt. backup: what its BASIC
    held, "" if nothing. restored: that is on the board again. resumed: a write that had been cut
    off was finished.
    """

    image: Image
    role: str
    written: int
    right: int
    banner: str
    answered: bool
    backup: str
    restored: bool
    resumed: bool


def write_firmware(session: Session, archive: Archive, request: WriteRequest) -> Written:
    """Write an image that was reviewed. Returns when all of it was read back.

    Raises RefusedError before anything is changed; LinkError, ReadBackError or Interrupted with the
    state of the board and what is kept.
    """
    if len(request.image.flash) > request.end:
        raise RefusedError(
            f"The image reaches beyond {request.end:04X}, where a bootloader of "
            f"{request.boot_bytes:,} bytes begins.",
            kept="Nothing was sent to the board.",
            advice="Check that the image is for this board, and how large its bootloader is.",
        )
    situation = look(session, archive, request.image, request.role)
    must_be_the_board(session, archive, situation, request.this_board)
    boot = BootLink(session)
    detail = {"image": request.image.sha256, "name": request.image.name, "role": situation.role}
    with session.job(archive, "firmware write", situation.board, parts=20, detail=detail) as record:
        backup = save_programs(session, archive, situation, discard=request.discard_board)
        record.detail["backup"] = backup.spec if backup else ""
        record.detail["discarded"] = request.discard_board
        written = _Write(session, archive, request, situation, boot, backup).run()
        record.detail.update(pages=written.written, right=written.right, banner=written.banner)
        return written


def image_before(archive: Archive, board: Board) -> tuple[FirmwareImage, FirmwareWrite]:
    """What a board's flash held before the last write, and that write. Raises RefusedError."""
    last = archive.last_write(board.uuid)
    if last is None or last.previous is None or not last.previous.flash:
        why = "its flash was blank or not read then" if last else "none was written to it from here"
        raise RefusedError(
            f"The archive has no earlier firmware of this board: {why}.",
            kept="Nothing was sent to the board.",
            advice="`hostlink firmware history` shows what was written where.",
        )
    if not last.previous.sound:
        raise ArchiveError(
            f"The archive's copy of the earlier firmware, {last.previous.sha256[:12]}, is damaged.",
            kept="Nothing was sent to the board.",
            advice="Look for it in a duplicate of the archive, with --archive.",
        )
    return last.previous, last


class _Write:
    """One write, from the restart into the bootloader to the programs put back."""

    def __init__(
        self,
        session: Session,
        archive: Archive,
        request: WriteRequest,
        situation: Situation,
        boot: BootLink,
        backup: Backup | None,
    ) -> None:
        self._session = session
        self._archive = archive
        self._request = request
        self._situation = situation
        self._boot = boot
        self._backup = backup
        self._scripts = FlashScripts(request.chip)
        self._record = ""
        self._done = self._pages = 0

    def run(self) -> Written:
        try:
            self._boot.enter()
            self._must_be_the_chip()
            held, eeprom = self._read()
            application = None if held is None else held[: self._request.end]
            previous, resumed = self._previous(application)
            self._must_spare_the_bootloader(application)
            plan = self._plan(application)
            if plan.pages or resumed:
                self._record = self._begin_record(previous, held, eeprom)
        except HostlinkError as error:
            raise self._untouched(error) from error
        self._pages = len({page for page, _ in plan.pages})
        self._write_recorded(plan)
        self._boot.leave()
        banner, answered = self._start()
        if self._record:
            self._archive.end_write(self._record, "done", banner)
        self._archive.set_board_role(self._situation.board.uuid, self._situation.role)
        return Written(
            image=self._request.image,
            role=self._situation.role,
            written=self._pages,
            right=plan.right,
            banner=banner,
            answered=answered,
            backup=self._backup.spec if self._backup else "",
            restored=answered and restore(self._session, self._archive, self._backup),
            resumed=resumed,
        )

    def _start(self) -> tuple[str, bool]:
        return hear_start(self._session, has_prompt=self._situation.role == "computer")

    # --- before the first page ---------------------------------------------------------------

    def _must_be_the_chip(self) -> None:
        chip, signature = self._request.chip, self._boot.signature
        if signature != chip.signature:
            raise RefusedError(
                f"The chip on this board is {part_of(signature)}, not {chip.part}.",
                kept="Nothing was written.",
                advice="Check the port; if the image is for that chip, name it with --chip.",
            )

    def _must_spare_the_bootloader(self, held: bytes | None) -> None:
        """Refuse to replace what may be a bootloader larger than the one that is assumed."""
        request = self._request
        doubtful = not request.boot_is_known and overwrites_doubtful(
            request.image.flash, held, request.chip, request.end
        )
        if not doubtful:
            return
        last = self._archive.last_write(self._situation.board.uuid)
        if last is not None and held is not None and last.is_finished:
            ours = blank_padded(last.image.flash, request.end)[request.chip.doubtful_from :]
            if held[request.chip.doubtful_from :] == ours:
                return  # what stands there was written from here as part of an image
        raise RefusedError(
            f"The image reaches beyond {request.chip.doubtful_from:04X}, where this board holds "
            "something already; that may be a bootloader larger than the usual "
            f"{request.boot_bytes:,} bytes.",
            kept="Nothing was written.",
            advice="Find out how large this board's bootloader is and say so with "
            "--bootloader-bytes: without its bootloader a board cannot be reached any more.",
            needed=Needed.BOOTLOADER_SIZE,
        )

    def _plan(self, held: bytes | None, target: bytes | None = None) -> Plan:
        """What has to be written so that flash holds the request's image, or another target."""
        request = self._request
        wanted = request.image.flash if target is None else target
        doubtful = None if request.boot_is_known else request.chip.doubtful_from
        return plan_pages(wanted, held, request.chip, request.end, doubtful=doubtful)

    def _read(self) -> tuple[bytes | None, bytes | None]:
        """All of flash, and EEPROM where it reads differently; None for what cannot be read."""
        pages = self._request.chip.pages

        def on_page(page: int) -> None:
            self._session.emit(PagesRead(page + 1, pages))

        self._session.emit(Phase("Reading all of flash into the archive"))
        try:
            flash = self._boot.run(self._scripts.read_flash(on_page))
            eeprom = self._boot.run(self._scripts.read_eeprom())
        except (LinkError, ReadBackError) as error:
            if isinstance(error, LinkError) and error.reason is LinkReason.GONE:
                raise
            if self._boot.trouble is Trouble.REFUSED:
                raise RefusedError(
                    "This bootloader does not let flash be read, so nothing that is written could "
                    "be proven.",
                    kept="Nothing was written.",
                    advice="Write it by another way of programming the chip.",
                ) from error
            if not self._request.discard_board:
                raise RefusedError(
                    f"What flash holds now cannot be kept: {error.what}",
                    kept="Nothing was written.",
                    advice=f"{error.advice} To write without keeping it, add --discard-board.",
                    needed=Needed.LOSS,
                ) from error
            self._session.emit(Warned(f"Flash was not kept, as you asked: {error.what}"))
            self._boot.enter((self._boot.baud,))
            return None, None
        return flash, None if eeprom is None or flash.startswith(eeprom) else eeprom

    def _previous(self, held: bytes | None) -> tuple[FirmwareImage | None, bool]:
        """What to go back to, kept; and whether this finishes a write that was cut off."""
        cut_off = self._situation.unfinished
        if held is None:
            return None, False
        if cut_off is not None:
            before = cut_off.previous.flash if cut_off.previous else b""
            half = is_half_written(held, before, cut_off.image.flash, self._request.chip)
            finished = not self._plan(held, cut_off.image.flash).pages
            if half or finished:
                same = cut_off.image.sha256 == self._request.image.sha256
                return cut_off.previous, same
            doubtful = self._situation.role == "computer" and not self._situation.is_own
            if doubtful and not self._request.discard_board:
                raise RefusedError(
                    "This silent board is not the one whose write was cut off: its flash holds "
                    "something else.",
                    kept="Nothing was written.",
                    advice="Check the port. If it is meant, say which board it is with "
                    "--this-board, and add --discard-board if its memory may be lost.",
                    needed=Needed.LOSS,
                )
        image = Image.from_flash("", held)
        name = f"read from {self._situation.board.label or self._session.choice.port}"
        kept = self._archive.keep_image(image.flash, part=self._request.chip.part, name=name)
        return kept, False

    def _untouched(self, error: HostlinkError) -> HostlinkError:
        """Nothing was written: start the firmware again and put the programs back, if possible."""
        if self._backup:
            error.kept = f"{error.kept} Its programs are kept as {self._backup.spec}.".strip()
        if isinstance(error, LinkError) and error.reason is LinkReason.GONE:
            error.kept = f"Nothing was written. {error.kept}".strip()
            return error
        cancelled = self._session.wire.cancelled
        self._session.wire.cancelled = lambda: False
        try:
            with suppress(HostlinkError):
                self._boot.leave()
                if self._start()[1] and restore(self._session, self._archive, self._backup):
                    error.kept = f"{error.kept} They are in its memory again.".strip()
        finally:
            self._session.wire.cancelled = cancelled
        if isinstance(error, Interrupted):
            error.what = "Stopped before anything was written; the board has its firmware still."
        return error

    # --- writing -----------------------------------------------------------------------------

    def _begin_record(
        self, previous: FirmwareImage | None, held: bytes | None, eeprom: bytes | None
    ) -> str:
        """Record, before anything is written, what will be and what was there."""
        request, situation = self._request, self._situation
        image = self._archive.keep_image(
            request.image.flash, part=request.chip.part, name=request.image.name
        )
        return self._archive.begin_write(
            situation.board.uuid,
            image,
            previous=previous,
            role=situation.role,
            part=request.chip.part,
            backup_uuid=self._backup.uuid if self._backup else None,
            boot_section=None if held is None else held[request.end :],
            eeprom=eeprom,
        )

    def _write_recorded(self, plan: Plan) -> None:
        """Carry the plan out; how it ended is recorded where it does not go through."""
        try:
            if plan.pages:
                self._write(plan)
        except HostlinkError as error:
            outcome = "interrupted" if isinstance(error, Interrupted) else "failed"
            self._archive.end_write(self._record, outcome)
            raise self._half_way(error) from error

    def _write(self, plan: Plan) -> None:
        """Carry the plan out; where the bootloader is lost, restart the board and go on."""
        self._session.emit(Phase(f"Writing {self._request.image.name or 'the image'}"))
        for restarts in range(_RESTARTS + 1):
            if not plan.pages:
                return
            try:
                script = self._scripts.write_plan(plan, self._counting(plan))
                self._boot.run(script)
                return
            except LinkError as error:
                if restarts == _RESTARTS or error.reason is LinkReason.GONE:
                    raise
                self._session.emit(Warned(f"{error.what} Restarting the board to go on."))
                self._boot.enter((self._boot.baud,))
                held = self._boot.run(self._scripts.read_flash())[: self._request.end]
                plan = self._plan(held)

    def _counting(self, plan: Plan) -> OnPage:
        """A callback that counts proven pages; the guard in the first page is none of the image."""
        guard = len(plan.pages) > len({page for page, _ in plan.pages})
        self._done = self._pages - len({page for page, _ in plan.pages})

        def on_page(page: int) -> None:
            nonlocal guard
            if guard and page == 0:
                guard = False
                return
            self._done += 1
            self._session.emit(PageProven(self._done, self._pages))

        return on_page

    def _half_way(self, error: HostlinkError) -> HostlinkError:
        where = f"after page {self._done} of {self._pages}"
        if isinstance(error, Interrupted):
            error.what = f"Stopped {where}."
        else:
            error.what = f"{error.what.rstrip('.')}, {where}."
        kept = [
            "The board is mute until the rest is written, and its bootloader is unharmed.",
            "What its flash held before is in the archive.",
        ]
        if self._backup:
            kept.append(f"Its programs are kept as {self._backup.spec}.")
        error.kept = " ".join(kept)
        error.advice = (
            "Write the same image again, which goes on where this stopped; or go back to what was "
            "there before (`hostlink firmware write --previous`)."
        )
        return error
