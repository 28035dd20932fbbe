"""How long writing firmware takes against what the protocol itself allows, on a virtual clock.

A full image (240 pages of the ATmega328P, made by `random.Random(2525)`) is written over another
one and every page is read back, on the practice board's bootloader. Times run from the first byte
written to the last page proven.

bound_s is worked out from the protocol's frames alone (Atmel AVR061), never from the code that is
measured: for each page its address (4 bytes out, 2 back), its data (133, 2), its address again (4,
2) and its bytes back (5, 130), all at the baud rate; the chip's time for a page, during which the
first byte of its answer is on the wire already; one bridge latency for each of these four
exchanges. The guard that keeps half an image from running is one page more.
read_bound_s: flash read twice over, 256 pages, two exchanges (9 bytes out, 132 back) each time.
"""

from __future__ import annotations

import itertools
import random
from typing import Any

from bench_report import Row, Section, Target

from hostlink.firmware.bootloader import Conversation, Script
from hostlink.firmware.chip import ATMEGA328P, DEFAULT_BOOT_BYTES
from hostlink.firmware.plan import ignore_page, plan_pages
from hostlink.firmware.scripts import FlashScripts, begin
from hostlink.link.clock import VirtualClock
from hostlink.link.wire import Wire
from hostlink.practice.machine import Machine
from hostlink.practice.port import PracticePort
from hostlink.practice.settings import BoardSettings

BAUDS = (57_600, 115_200)
LATENCIES_MS = (1, 16)
PAGE_MS = 4.5
END = ATMEGA328P.application_end(DEFAULT_BOOT_BYTES)
PAGES = END // ATMEGA328P.page_bytes
MOST_TIMES = 1.1


def image() -> bytes:
    """The fixed image: every page of the application section, none of them blank."""
    return random.Random(2525).randbytes(END)


def bound(baud: int, latency_ms: float, pages: int = PAGES + 1) -> float:
    """Seconds that writing and reading back so many pages takes at least."""
    out = 4 + 133 + 4 + 5
    back = 2 + 1 + 2 + 130
    return pages * ((out + back) * 10 / baud + PAGE_MS / 1000 + 4 * latency_ms / 1000)


def read_bound(baud: int, latency_ms: float) -> float:
    """Seconds that reading all of flash twice takes at least."""
    return 2 * ATMEGA328P.pages * ((9 + 132) * 10 / baud + 2 * latency_ms / 1000)


def measure(baud: int, latency_ms: float) -> Row:
    """Read all of flash, then write the image, on one kind of wire."""
    clock = VirtualClock()
    settings = BoardSettings(bootloader_baud=baud, latency_ms=latency_ms, page_ms=PAGE_MS)
    machine = Machine(settings, host_baud=baud)
    wire = Wire(PracticePort(machine, clock, jump=clock.advance_to), clock)
    wire.port.dtr = False
    wire.port.dtr = True

    def run(script: Script[Any]) -> tuple[float, Any]:
        began = clock.now()
        core: Conversation[Any] = Conversation(script, baud)
        wire.run(core)
        return (clock.now() - began if core.failure is None else float("inf")), core.result

    run(begin())
    scripts = FlashScripts(ATMEGA328P)
    read_s, held = run(scripts.read_flash())
    plan = plan_pages(image(), held[:END], ATMEGA328P, END)
    out, back = wire.health.bytes_out, wire.health.bytes_in
    write_s, _ = run(scripts.write_plan(plan, ignore_page))
    right = bytes(machine.chip.flash[:END]) == image()
    return {
        "baud": baud,
        "latency_ms": latency_ms,
        "pages": len(plan.pages),
        "bytes_out": wire.health.bytes_out - out,
        "bytes_back": wire.health.bytes_in - back,
        "bound_s": round(bound(baud, latency_ms), 6),
        "hostlink_s": round(write_s, 6),
        "times": round(write_s / bound(baud, latency_ms), 6),
        "read_bound_s": round(read_bound(baud, latency_ms), 6),
        "read_s": round(read_s, 6),
        "wrong": int(not right or machine.chip.flash[END:] != held[END:]),
    }


def targets_of(rows: list[Row]) -> list[Target]:
    """What must hold over the rows; without rows nothing does."""

    def worst(top: str, bottom: str) -> float:
        return max((float(r[top] or 0) / float(r[bottom] or 1) for r in rows), default=float("inf"))

    wrong = sum(int(row["wrong"] or 0) for row in rows)
    counted = sum(
        (row["pages"], row["bytes_out"], row["bytes_back"])
        != (PAGES + 1, (PAGES + 1) * 146, (PAGES + 1) * 136)
        for row in rows
    )
    return [
        Target.at_most(
            "times the protocol's minimum, pages written and read back",
            round(worst("hostlink_s", "bound_s"), 6),
            MOST_TIMES,
        ),
        Target.at_most(
            "times the protocol's minimum, flash read twice",
            round(worst("read_s", "read_bound_s"), 6),
            MOST_TIMES,
        ),
        Target.at_most("boards that hold something else", wrong, 0),
        Target.at_most("rows whose counted bytes differ from the frames", counted, 0),
    ]


def run() -> Section:
    """Measure both usual speeds over both usual bridges."""
    rows = [measure(baud, latency) for baud, latency in itertools.product(BAUDS, LATENCIES_MS)]
    notes = (
        f"{PAGES} pages and the guard; seconds from the first byte to the last page proven.",
        "The minimum: bytes at the baud rate, page time, one latency for each exchange.",
        "",
    )
    return Section("firmware", rows, targets_of(rows), notes)
