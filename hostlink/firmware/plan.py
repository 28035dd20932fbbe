"""Planning which pages are written, and in which order.

An interruption must not leave half an image that runs. So the first page is written last, and
before anything else it is replaced by a guard: an endless jump followed by blank bytes. (A blank
page is not enough: the chip runs through blank words into the second page.) With the guard in place
the board is silent after a restart, and the bootloader still answers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hostlink.firmware.chip import BLANK, Chip

_ENDLESS_JUMP = b"\xff\xcf"  # RJMP to itself, low byte first (instruction set manual: 1100 kkkk...)

Page = tuple[int, bytes]
OnPage = Callable[[int], None]


def ignore_page(page: int) -> None:
    """Do nothing with a page: for a caller that shows no progress."""


def guard_page(size: int) -> bytes:
    """Return the contents of the first page while the others are written."""
    return _ENDLESS_JUMP + bytes((BLANK,)) * (size - len(_ENDLESS_JUMP))


def is_guarded(flash: bytes) -> bool:
    """Return whether no firmware would run: the first word is blank or the guard's jump."""
    return flash[:2] in (b"\xff\xff", _ENDLESS_JUMP)


def blank_padded(data: bytes, size: int) -> bytes:
    """Return `size` bytes of flash: `data` from the start, then blank."""
    return data.ljust(size, bytes((BLANK,)))


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan of a write.

    pages: what to write, in order, the guard first and the first page last; empty if the board
    holds the image already. right: how many pages are right already, as read before. wanted: the
    contents of every page that matters in the end.
    """

    pages: tuple[Page, ...]
    right: int
    wanted: tuple[Page, ...]


def plan_pages(
    target: bytes, held: bytes | None, chip: Chip, end: int, *, doubtful: int | None = None
) -> Plan:
    """Plan a write after which flash up to `end` holds `target`, and is blank elsewhere.

    held: the contents read just before; None if unreadable, so that every page is written, blank
    ones too. doubtful: the address from which a larger bootloader than assumed may begin; pages
    beyond that are left alone where the image is blank.
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
        del order[0]  # still in place from an interrupted write
    return Plan(tuple(order), len(wanted) - len(body) - 1, wanted)


def is_blank(data: bytes) -> bool:
    """Return whether all bytes are blank."""
    return not data.strip(bytes((BLANK,)))


def overwrites_doubtful(target: bytes, held: bytes | None, chip: Chip, end: int) -> bool:
    """Return whether an image would overwrite what may be a larger bootloader than assumed."""
    size = chip.page_bytes
    whole = blank_padded(target, end)
    for start in range(chip.doubtful_from, end, size):
        new = whole[start : start + size]
        old = None if held is None else held[start : start + size]
        if not is_blank(new) and (old is None or (old != new and not is_blank(old))):
            return True
    return False


def is_half_written(held: bytes, before: bytes, target: bytes, chip: Chip) -> bool:
    """Return whether flash looks like an interrupted write from `before` to `target`.

    That is guarded, with each page equal to one of the two; one page may be written in part.
    """
    size, end = chip.page_bytes, len(held)
    one, other = blank_padded(before, end), blank_padded(target, end)
    odd = sum(
        held[start : start + size] not in (one[start : start + size], other[start : start + size])
        for start in range(size, end, size)
    )
    return is_guarded(held) and odd <= 1
