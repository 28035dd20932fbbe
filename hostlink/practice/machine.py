"""The practice board: one deterministic machine, advanced by `run_until`.

Rules:

1. Time is controlled by the caller. Nothing happens between two calls of `run_until`; after a call
   everything due by then has happened. Virtual and real time use the same code.
2. The processor does one thing at a time. Bytes that arrive while it is busy wait in the receive
   buffer; a byte that finds it full is lost and counted in `overruns`.
3. The interrupt byte is noticed as it arrives (by the receive interrupt) and never waits.
4. The firmware is a generator (see ops.py) and knows no time. The machine feeds the line editor
   (editor.py), because that is where bytes meet time.
5. The kind of board changes values (see kind.py), never this code.
"""

from __future__ import annotations

import dataclasses
from collections import deque

from hostlink.practice.basic import Basic
from hostlink.practice.bootloader import Bootloader, eeprom_bytes, new_chip
from hostlink.practice.editor import LineEditor
from hostlink.practice.faults import Erased, Faults
from hostlink.practice.kind import BoardKind
from hostlink.practice.line import SerialLine
from hostlink.practice.main_loop import chore_seconds, flood, main_loop
from hostlink.practice.ops import Answer, Chore, Op, ReadKey, ReadLine, Send, Work
from hostlink.practice.pages import by_pages
from hostlink.practice.receiver import Receiver
from hostlink.practice.reported_memory import ListingAnswers
from hostlink.practice.settings import BoardSettings


class Machine(SerialLine):
    """One board on one wire.

    settings: replace those of its kind, by default the practice board. host_baud: the speed of the
    host's side of the wire.
    """

    def __init__(
        self,
        settings: BoardSettings | None = None,
        faults: Faults | None = None,
        *,
        kind: BoardKind | None = None,
        host_baud: int | None = None,
    ) -> None:
        kind = kind or BoardKind()
        settings = settings or kind.settings
        super().__init__(settings, faults or Faults(), host_baud or settings.baud)
        self.kind = kind = dataclasses.replace(kind, settings=settings)
        self.basic = Basic(kind, teller=ListingAnswers(self.faults))
        self.basic.pins.now = lambda: self._t * 1000
        self._editor = LineEditor(settings, self.basic.line_room)
        self.receiver = Receiver(settings)
        self.typed: list[bytes] = []  # every line taken at the prompt
        self.erased: list[Erased] = []
        self.overruns = 0
        self.heard = 0
        self.unplugged = False
        self.busy_s = 0.0  # time spent storing lines, for the wire's bound
        self.chip = new_chip(settings, self.faults.worn_page)
        self._chores = chore_seconds(settings)
        self._t = 0.0
        self._start(0.0, booting=False)

    # --- power and restart -------------------------------------------------------------------

    def restart(self, now: float) -> None:
        """Restart by the restart line: memory is lost, EEPROM stays, the banner comes."""
        self.run_until(now)
        self._start(now, booting=True, pulled=True)

    def resume(self) -> None:
        """Begin with the present memory, as if switched on long ago: nothing is sent."""
        self._to_host.clear()
        self._start(0.0, booting=False, prompted=True)

    def hold_flash(self, flash: bytes) -> None:
        """Begin with this flash, as if switched on long ago."""
        self.chip.flash[:] = flash
        self.resume()

    def _start(
        self, at: float, *, booting: bool, pulled: bool = False, prompted: bool = False
    ) -> None:
        """Begin at the firmware's first instruction; `booting` is a restart that loses memory.

        pulled: the host did it, by the restart line. prompted: its prompt was shown long ago.
        """
        settings = self.settings
        if booting:
            self.erased.append(Erased(at, pulled, dict(self.basic.lines)))
            self.basic.power_on()
            cut = at + self._latency
            self._to_host = deque(entry for entry in self._to_host if entry[0] <= cut)
        self._boot: Bootloader | None = None
        window_s = settings.restart_ms / 1000 if booting else 0.0
        if booting and settings.bootloader:
            given = eeprom_bytes(self.basic.eeprom, settings.eeprom_bytes)
            self.chip.eeprom = given if settings.bootloader_eeprom else None
            self._boot = Bootloader(self.chip, at, window_s, settings.page_ms / 1000)
        self._set_speed(settings.bootloader_baud if self._boot else settings.baud)
        self._out_free = at
        self._reset(at, at + window_s)
        if self._boot is None:
            self._start_firmware(booting=booting, prompted=prompted)

    def _reset(self, at: float, boot_until: float) -> None:
        self._op: Op = Work(Chore.STATEMENT)
        self._t = at
        self._boot_until = boot_until
        self.receiver.reset()
        self._editor.begin(b"")
        self._column = 0

    def _start_firmware(self, *, booting: bool, prompted: bool = False) -> None:
        mute = self.chip.is_mute
        firmware = main_loop(
            self.basic, self.typed.append, booting=booting, mute=mute, prompted=prompted
        )
        settings = self.settings
        self._firmware = by_pages(firmware, settings.page_lines, settings.page_prompt)
        self._begin(next(self._firmware))

    def _boot_step(self, boot: Bootloader, moment: float) -> bool:
        """Give the bootloader the next byte; return False if nothing happens by `moment`."""
        wire = self._on_wire
        if wire and wire[0][0] <= min(moment, boot.until):
            at, byte = wire.popleft()
            self._hear(at)
            if self._boot is boot and not self.unplugged:
                for ready, data in boot.hear(byte, at):
                    self._answer(data, ready)
                if boot.left:
                    boot.until = self._out_free
            return True
        if boot.until > moment:
            return False
        self._boot = None
        self._set_speed(self.settings.baud)
        self._reset(boot.until, boot.until)
        self._start_firmware(booting=True)
        return True

    # --- time --------------------------------------------------------------------------------

    def run_until(self, moment: float, *, stop_at_output: bool = False) -> float:
        """Advance the machine to `moment` and return the time reached.

        stop_at_output: stop earlier, when the host can read the first byte.
        """
        while not self.unplugged:
            if stop_at_output and self._to_host:
                moment = min(moment, self._to_host[0][0])
            if self._boot is not None:
                if not self._boot_step(self._boot, moment):
                    break
                continue
            if self._t > moment:
                break
            if not isinstance(self._op, ReadLine | ReadKey):
                self._finish_op()
            elif not self._take_byte(moment):
                break
        return moment

    def _arrivals(self, until: float) -> None:
        """Move bytes that arrived while the processor was busy into the receive buffer."""
        wire = self._on_wire
        while wire and wire[0][0] <= until and not self.unplugged:
            at, byte = wire.popleft()
            self._hear(at)
            if at >= self._boot_until and not self.receiver.take(byte, self._op):
                self.overruns += 1

    def _hear(self, at: float) -> None:
        """Count a byte from the host, and cause the faults that are due."""
        self.heard += 1
        faults = self.faults
        if faults.unplug_after_bytes and self.heard >= faults.unplug_after_bytes:
            self.unplugged = True
        if faults.stall_every_bytes and self.heard % faults.stall_every_bytes == 0:
            self._t = max(self._t, at) + faults.stall_s
        if faults.flood_after_bytes and self.heard == faults.flood_after_bytes:
            self._firmware = flood()
            self._begin(next(self._firmware))
        if faults.restart_after_bytes and self.heard == faults.restart_after_bytes:
            self._start(max(self._t, at), booting=True)

    def _take_byte(self, moment: float) -> bool:
        """Give a waiting processor the next byte; return False if none came by `moment`."""
        op, until = self._op, self._t
        self._arrivals(until)
        if self._op is not op or self.unplugged or self._t > until:
            return True
        if self.receiver.take_interrupt():
            self._give_up_line()
            return True
        if self.receiver.waiting:
            self._key(self.receiver.waiting.popleft())
            return True
        if not self._on_wire or self._on_wire[0][0] > moment:
            return False
        # Nothing waits and the processor is idle: it takes the byte from the wire as it arrives.
        at, byte = self._on_wire.popleft()
        self._t = at
        self._hear(at)
        if self._op is not op or self.unplugged:
            return True
        if self.receiver.notices(byte, self._op):
            return True
        if self._t > at:  # this byte began a stall
            self.receiver.waiting.append(byte)
        else:
            self._key(byte)
        return True

    def _finish_op(self) -> None:
        """Finish the current operation at the end of its time, unless a stall has begun."""
        op, until = self._op, self._t
        self._arrivals(until)
        if self._op is not op or self.unplugged or self._t > until:
            return
        if isinstance(op, Send):
            self._put(op.data)
            self._advance(False)
        elif isinstance(op, Work):
            self._catch_up_echo()
            stoppable = op.chore in (Chore.STATEMENT, Chore.LIST_LINE, Chore.WAIT)
            self._advance(stoppable and self.receiver.take_interrupt())

    def _advance(self, answer: Answer) -> None:
        self._begin(self._firmware.send(answer))

    def _begin(self, op: Op) -> None:
        """Start an operation of the firmware."""
        self._op = op
        self._t = max(self._t, self._boot_until)
        if isinstance(op, Work):
            seconds = self._chores[op.chore] * op.times
            self._t += seconds
            if op.chore is Chore.STORE:
                self.busy_s += seconds
            return
        self._catch_up_echo()  # no work came after the line (an answer to the last INPUT)
        if isinstance(op, ReadLine):
            self._editor.begin(op.prompt or self.settings.prompt)
            if self.settings.interrupt_typed != "at-once":
                self.receiver.take_interrupt()  # too late: the program had ended
        if isinstance(op, ReadLine | ReadKey):
            self._put(op.prompt)

    # --- typing ------------------------------------------------------------------------------

    def _key(self, byte: int) -> None:
        """Take one byte typed at the prompt, at INPUT or after a full page."""
        settings = self.settings
        self._t += settings.char_ms / 1000
        if isinstance(self._op, ReadKey):
            if settings.page_key in (b"", bytes((byte,))):
                self._put(settings.reply_end)
                self._advance(False)
            return
        keyed = self._editor.take(byte)
        if keyed.sent:
            self._put(keyed.sent)
        if keyed.line is not None:
            self._advance(keyed.line)

    def _give_up_line(self) -> None:
        """Handle an interrupt while waiting for a line, or for a key after a full page."""
        self._put(self.settings.reply_end)
        self._advance(True if isinstance(self._op, ReadKey) else None)

    def _catch_up_echo(self) -> None:
        """Send the echo of a line end that was held back during the work on the line."""
        if late := self._editor.late_echo():
            self._put(late)

    def _put(self, data: bytes) -> None:
        self._t = self._transmit(data, self._t)
