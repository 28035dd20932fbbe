"""Listing page by page: some boards wait for a key whenever the screen is full."""

from __future__ import annotations

from hostlink.practice.ops import Answer, Chore, Firmware, ReadKey, ReadLine, Work


def by_pages(firmware: Firmware, page_lines: int, prompt: bytes) -> Firmware:
    """Run a firmware that waits for a key after each full page of a listing.

    page_lines: lines of a page, 0 if the board never waits. prompt: what it shows while it waits.
    """
    listed = 0
    answer: Answer = None
    op = next(firmware)
    while True:
        answer = yield op
        if isinstance(op, ReadLine):
            listed = 0
        elif isinstance(op, Work) and op.chore is Chore.LIST_LINE and not answer:
            if page_lines and listed and listed % page_lines == 0:
                answer = yield ReadKey(prompt)
            listed += 1
        op = firmware.send(answer)
