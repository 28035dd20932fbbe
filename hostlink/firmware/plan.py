"""Which pages are written, in which order.

An interruption must not leave half an image that runs. So the first page is the last to be
written, and before anything else it is replaced by a guard: an endless jump, blank behind it. (A
wholly blank page would not do on the silicon: a blank word is no stop but falls through to the next
one, and so into whatever stands in the second page.) With the guard in place the board is mute
after a restart, and the bootloader still answers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hostlink.firmware.chip import BLANK, Chip

_ENDLESS_JUMP = b"\xff\xcf"  # RJMP to itself, low byte first (instruction set manual: 1100 kkkk...)

Page = tuple[int, bytes]
OnPage = Callable[[int], None]


def silently(page: int) -> None:
    """For work on pages that nobody follows."""


def guard_page(size: int) -> bytes:
    """What stands in the first page while the others are written."""
    return _ENDLESS_JUMP + bytes((BLANK,)) * (size - len(_ENDLESS_JUMP))


def is_guarded(flash: bytes) -> bool:
    """Whether no firmware would run: the first word is blank or the guard's jump."""
    return flash[:2] in (b"\xff\xff", _ENDLESS_JUMP)


def blank_padded(data: bytes, size: int) -> bytes:
    """Flash of `size` bytes that holds `data` from the start and is blank behind."""
    return data.ljust(size, bytes((BLANK,)))


@dataclass(frozen=True, slots=True)
class Plan:
    """pages: what to write, in order, the guard first and the first page last; empty where the
    board holds the image already. right: pages that need no writing, read back before. wanted:
    every page that must hold something definite in the end."""

    pages: tuple[Page, ...]
    right: int
    wanted: tuple[Page, ...]


def plan_pages(
    target: bytes, held: bytes | None, chip: Chip, end: int, *, doubtful: int | None = None
) -> Plan:
    """The plan that makes flash up to `end` hold `target`, blank where that says nothing.

    held: what was read back just now; None where it could not be read, so that every page is
    written, blank ones too. doubtful: from this address on a bootloader may stand that is larger
    than was assumed; what the image leaves blank there is left as it is.
    """
    size = chip.page_bytes
    whole = blank_padded(target, end)
    wanted = tuple(
        (start // size, whole[start : start + size])
        for start in range(0, end, size)
        if doubtful is None or start < doubtful or not is_blank(whole[start : start + size])
    )
    pages = [
        (page, data)
        for page, data in wanted
        if held is None or held[page * size : (page + 1) * size] != data
    ]
    if not pages:
        return Plan((), len(wanted), wanted)
    body = [page for page in pages if page[0]]
    order = [(0, guard_page(size)), *body, wanted[0]]
    if held is not None and held[:size] == order[0][1]:
        del order[0]  # still in place from a write that was cut off
    return Plan(tuple(order), len(wanted) - len(body) - 1, wanted)


def is_blank(data: bytes) -> bool:
    """Whether nothing is written there."""
    return not data.strip(bytes((BLANK,)))


def overwrites_doubtful(target: bytes, held: bytes | None, chip: Chip, end: int) -> bool:
    """Whether an image would replace what may be part of a bootloader larger than assumed."""
    size = chip.page_bytes
    whole = blank_padded(target, end)
    for start in range(chip.doubtful_from, end, size):
        new = whole[start : start + size]
        old = None if held is None else held[start : start + size]
        if not is_blank(new) and (old is None or (old != new and not is_blank(old))):
            return True
    return False


def is_half_written(held: bytes, before: bytes, target: bytes, chip: Chip) -> bool:
    """Whether flash is what a write from `before` to `target` leaves when it is cut off.

    Guarded, and each page from one of the two; one page may be neither, cut off in the middle.
    """
    size, end = chip.page_bytes, len(held)
    one, other = blank_padded(before, end), blank_padded(target, end)
    odd = sum(
        held[start : start + size] not in (one[start : start + size], other[start : start + size])
        for start in range(size, end, size)
    )
    return is_guarded(held) and odd <= 1


# --- scripts -------------------------------------------------------------------------------------
