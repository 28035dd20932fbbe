"""The scripts that talk to a bootloader: synchronise with it, read, write and prove pages."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise

from hostlink.firmware import protocol
from hostlink.firmware.bootloader import AskFailed, Drain, Failure, Query, Script
from hostlink.firmware.chip import BLANK, Chip
from hostlink.firmware.plan import OnPage, Page, Plan, guard_page, ignore_page

SYNC_TRIES = 9
_SYNC_PATIENCE_S = 0.09  # the bootloader listens for about a second after a restart
_PAGE_TRIES = 6
_REFUSALS = 3
_TRIES_BEFORE_FILLING = 2
_ROUNDS = 6
_READINGS = 3
_BLANK_BYTES = 1024  # in a row, after which no program goes on: common practice, no source


def synchronise(tries: int = SYNC_TRIES) -> Script[None]:
    """Synchronise: let the line fall quiet, then ask until the answer is good.

    A bootloader that gives a wrong answer may hold half a frame of two bytes: one more
    end-of-packet completes it. A silent one gets that byte after every third attempt.
    """
    failed = AskFailed(Failure.SILENT)
    odd = False
    for attempt in range(tries):
        yield Drain(0.02, bytes((protocol.END,)) if odd else b"")
        try:
            yield Query(protocol.get_sync(), patience_s=_SYNC_PATIENCE_S)
        except AskFailed as error:
            odd = error.failure is not Failure.SILENT or attempt % 3 == 2
            if failed.failure is Failure.SILENT:
                failed = error
            continue
        return
    raise failed


def begin() -> Script[bytes]:
    """Synchronise, enter programming mode and read the signature until it is the same twice."""
    seen: list[bytes] = []
    for attempt in range(1, _PAGE_TRIES + 1):
        yield from synchronise()
        try:
            yield Query(protocol.enter_programming())
            signature = yield Query(protocol.read_signature(), 3)
        except AskFailed:
            if attempt == _PAGE_TRIES:
                raise
            continue
        if signature in seen:
            return signature
        seen.append(signature)
    raise AskFailed(Failure.OUT_OF_STEP)


def leave() -> Script[None]:
    """Start the application. The answer may be cut short by the start itself."""
    try:
        yield Query(protocol.leave_programming())
    except AskFailed as failed:
        if failed.failure is Failure.REFUSED:
            raise


class Unproven(Exception):
    """A page never read back as it was written, or never twice the same."""

    def __init__(self, page: int) -> None:
        super().__init__(f"page {page}")
        self.page = page


class FlashScripts:
    """Scripts over one chip's flash. failures: questions that failed and pages that read wrong."""

    def __init__(self, chip: Chip) -> None:
        self.chip = chip
        self.failures = 0

    def read_flash(self, on_page: OnPage = ignore_page) -> Script[bytes]:
        """Read all of flash, each page until two readings agree. Raises Unproven."""
        flash = bytearray()
        for page in range(self.chip.pages):
            flash += yield from self._proven(self._read_page(page), page)
            on_page(page)
        return bytes(flash)

    def read_program(self) -> Script[bytes]:
        """Read flash from its start up to a blank kibibyte; all pages but the first are read once.

        This is enough to recognise what a chip holds, but not to keep it. Raises Unproven.
        """
        flash = bytearray()
        blank = bytes((BLANK,)) * _BLANK_BYTES
        for page in range(self.chip.pages):
            read = self._read_page(page)
            flash += yield from (self._patiently(read) if page else self._proven(read, page))
            if flash.endswith(blank):
                break
        return bytes(flash)

    def write_pages(self, pages: Iterable[Page], on_page: OnPage) -> Script[None]:
        """Write pages in order, each read back. Raises Unproven. on_page: called with each."""
        for page, data in pages:
            yield from self._write_proven(page, data)
            on_page(page)

    def write_plan(self, plan: Plan, on_page: OnPage) -> Script[None]:
        """Carry out a plan; the last page is written only when all others are proven.

        That page is tried once per round. If that fails, it may be wrong, or may have overwritten
        another one, so the guard page is written again before the repair. Raises Unproven.
        """
        *body, (first, data) = plan.pages
        guard = (first, guard_page(len(data)))
        yield from self._write_guarded(body, guard, on_page)
        for _ in range(_PAGE_TRIES):
            yield from self._settle(plan.wanted[1:], guard)
            self.failures = 0
            if (yield from self._write_at_once(first, data)):
                on_page(first)
                return
            yield from self.write_pages([guard], ignore_page)
        raise Unproven(first)

    def _write_guarded(self, pages: Iterable[Page], guard: Page, on_page: OnPage) -> Script[None]:
        """Write pages; rewrite the guard page if a damaged address may have overwritten it."""
        for page, data in pages:
            before = self.failures
            yield from self._write_proven(page, data)
            if self.failures > before and page and not (yield from self._reads_as(*guard)):
                yield from self._write_proven(*guard)
            on_page(page)

    def _settle(self, wanted: Sequence[Page], guard: Page) -> Script[None]:
        """After any damage, read all pages again and rewrite wrong ones until a pass finds none.

        Raises Unproven if that does not end. A damaged address sends a page elsewhere; reading back
        a page that was right before cannot show that.
        """
        if not self.failures:
            return
        wrong: list[Page] = []
        for _ in range(_ROUNDS):
            wrong = yield from self._wrong(wanted)
            if not wrong:
                return
            yield from self._write_guarded(wrong, guard, ignore_page)
        raise Unproven(wrong[0][0])

    def _wrong(self, wanted: Sequence[Page]) -> Script[list[Page]]:
        """Return the pages that do not read as they should."""
        wrong: list[Page] = []
        for page, data in wanted:
            if not (yield from self._reads_as(page, data)):
                wrong.append((page, data))
        return wrong

    def read_eeprom(self) -> Script[bytes | None]:
        """Read all of EEPROM; return None if the bootloader does not let it be read.

        The application note leaves open whether EEPROM is addressed by bytes or by words; blocks
        that overlap tell: by bytes, the second half of each is the first half of the next.
        """
        size, half = self.chip.page_bytes, self.chip.page_bytes // 2
        count = self.chip.eeprom_bytes // size
        try:
            blocks = []
            for block in range(count):
                blocks.append((yield from self._eeprom_block(block * half)))
            by_word = b"".join(blocks)
            if any(a[half:] != b[:half] for a, b in pairwise(blocks)):
                return by_word
            by_byte = b"".join(block[:half] for block in blocks)
            for block in range(count // 2, count):
                by_byte += yield from self._eeprom_block(block * size)
        except AskFailed as failed:
            if failed.failure is Failure.REFUSED:
                self.failures -= _REFUSALS  # a refusal is an answer, not damage
                return by_word if len(blocks) == count else None
            raise
        return by_byte

    def _eeprom_block(self, address: int) -> Script[bytes]:
        return (yield from self._proven(self._read(address, protocol.EEPROM), address))

    def _read(self, address: int, memory: bytes = protocol.FLASH) -> Callable[[], Script[bytes]]:
        size = self.chip.page_bytes

        def ask() -> Script[bytes]:
            yield Query(protocol.load_address(address))
            return (yield Query(protocol.read_page(size, memory), size))

        return ask

    def _read_page(self, page: int) -> Callable[[], Script[bytes]]:
        return self._read(page * self.chip.page_bytes // 2)

    def _proven(self, read: Callable[[], Script[bytes]], page: int) -> Script[bytes]:
        """Read until two readings agree. Raises Unproven naming the page."""
        readings: list[bytes] = []
        for _ in range(_PAGE_TRIES):
            got = yield from self._patiently(read)
            if got in readings:
                return got
            self.failures += bool(readings)
            readings.append(got)
        raise Unproven(page)

    def _write_proven(self, page: int, data: bytes) -> Script[None]:
        for _ in range(_PAGE_TRIES):
            yield from self._patiently(self._write(page, data))
            if (yield from self._reads_as(page, data)):
                return
        raise Unproven(page)

    def _write_at_once(self, page: int, data: bytes) -> Script[bool]:
        """Write a page once; return whether it was acknowledged and reads back as wanted."""
        try:
            yield from self._write(page, data)()
        except AskFailed:
            self.failures += 1
            yield from self._regain()
            return False
        return (yield from self._reads_as(page, data))

    def _write(self, page: int, data: bytes) -> Callable[[], Script[bytes]]:
        def ask() -> Script[bytes]:
            yield Query(protocol.load_address(page * len(data) // 2))
            return (yield Query(protocol.program_page(data)))

        return ask

    def _reads_as(self, page: int, data: bytes) -> Script[bool]:
        """Return whether one of a few readings of a page is as wanted; a reading may be damaged."""
        for _ in range(_READINGS):
            if (yield from self._patiently(self._read_page(page))) == data:
                return True
            self.failures += 1
        return False

    def _patiently(self, script: Callable[[], Script[bytes]]) -> Script[bytes]:
        """Run a script; if it fails, synchronise and run it again, a few times.

        A refusal may be an answer to a command that was damaged; the same one again and again is
        final.
        """
        refusals = 0
        for attempt in range(1, _PAGE_TRIES + 1):
            try:
                return (yield from script())
            except AskFailed as failed:
                self.failures += 1
                refusals += failed.failure is Failure.REFUSED
                if refusals == _REFUSALS or attempt == _PAGE_TRIES:
                    raise
            yield from self._regain()
        raise AssertionError("not reached: the last attempt returns or raises")

    def _regain(self) -> Script[None]:
        """Synchronise and enter programming mode again.

        Usually the answer was damaged, and the bootloader waits for the next command. Otherwise it
        waits for the rest of a frame, which is padded so that it answers. End-of-packet is not used
        as padding: a damaged command to read a page differs in one bit from one to write it, and
        would be carried out with the padding.
        """
        try:
            yield from synchronise(_TRIES_BEFORE_FILLING)
        except AskFailed:
            yield Drain(0.03, bytes(self.chip.page_bytes + 8))
            yield from synchronise()
        for attempt in range(1, _REFUSALS + 1):
            try:
                yield Query(protocol.enter_programming())
            except AskFailed:
                if attempt == _REFUSALS:
                    raise
                yield from synchronise()
                continue
            return
