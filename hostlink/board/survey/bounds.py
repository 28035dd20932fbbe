"""Find which line numbers a board accepts, changes or refuses, and the longest line."""

from __future__ import annotations

import re
from collections.abc import Callable

from hostlink.board.survey.keys import note_keys
from hostlink.board.survey.store import Store

# Known limits of line numbers: ECMA-55 section 5 (9999), 8, 15 and 16 bits, and those of large
# BASICs (common practice, no source).
_LIKELY = (255, 9_999, 32_767, 63_999, 65_529, 65_533, 65_535, 99_999)
_NUMBER = re.compile(r" *(-?[0-9]+)")
_SIXTEEN_BITS = 0x10000
_SHORTEST = 24  # characters of a line that every board takes
_TOO_LONG = "X"  # fills long lines: harmless if a board runs the rest of a line


def find_bounds(store: Store) -> None:
    """Find the smallest and the largest line number, and what happens to larger ones."""
    findings = store.bench.findings
    listed = _listed(store, 0, 1)
    first = 0 if 0 in listed else 1
    says = "0 is stored and listed" if first == 0 else "0 is not listed after it was typed"
    findings.add("listing.first_line", first, says)
    listed = _listed(store, *_LIKELY)
    taken = [number for number in _LIKELY if number in listed]
    if not taken:
        findings.missing("listing.last_line", f"none of {len(_LIKELY)} numbers is listed")
        return
    if any(number < 0 for number in listed):
        findings.add("listing.signed_numbers", True, f"{min(listed)} is listed for a larger number")
    others = {number % _SIXTEEN_BITS for number in _LIKELY if number >= _SIXTEEN_BITS}
    wraps = bool(others & listed - set(_LIKELY))
    low, says = taken[-1], f"{taken[-1]} is listed"
    above = [number for number in _LIKELY if number > low]
    if above:
        low, high = _between(low, above[0], lambda number: number in _listed(store, number))
        says = f"{low} is listed after it was stored, {high} is not"
        become = "wrapped" if wraps else "refused"
        does = "a larger one is stored as another" if wraps else "a larger one is not stored"
        findings.add("listing.beyond_last", become, does)
    findings.add("listing.last_line", low, says)
    store.clear()


def _listed(store: Store, *numbers: int) -> set[int]:
    """Return the numbers that are listed after lines with these numbers were typed."""

    def measure() -> set[int]:
        store.clear()
        said = store.put(*(f"{number} REM" for number in numbers))
        listed = {int(match[1]) for row in store.lines() if (match := _NUMBER.match(row))}
        for number in said.keys() - listed:
            store.bench.note_refusal((said[number],), f"{number} REM")
        return listed

    return store.bench.until_steady(measure) or set()


def _between(low: int, high: int, holds: Callable[[int], bool]) -> tuple[int, int]:
    """Return the last number that holds and the first that does not, given one of each.

    The number after `low` is tried first, because `low` is often the limit.
    """
    if high - low > 1 and not holds(low + 1):
        return low, low + 1
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            low = middle
        else:
            high = middle
    return low, high


def find_stored_keys(store: Store) -> None:
    """Find the keys that erase a character or cancel a line, from stored lines."""

    def shows(*, typed: bytes, listed: str, absent: str = "") -> bool:
        store.clear()
        store.bench.enter(typed)
        rows = store.lines()
        return any(row.rstrip(" ").endswith(listed) for row in rows) and not any(
            absent and row.lstrip(" ").startswith(absent) for row in rows
        )

    note_keys(
        store.bench,
        erases=lambda key: shows(typed=b"10 REM AX" + key + b"B", listed="AB"),
        cancels=lambda key: shows(typed=b"10 REM A" + key + b"20 REM B", listed="B", absent="10"),
        by="a stored line is listed without what was taken back",
    )
    store.clear()


def find_longest(store: Store, most: int) -> None:
    """Find the longest line, up to `most` characters, that is listed completely.

    Beyond its limit a board may drop characters, run the rest as a line, clear its program or hang.
    So the limit is approached from below, and what is beyond it does nothing if it is run.
    """
    findings = store.bench.findings
    low, high = 0, 0
    for length in sorted({*range(_SHORTEST, most, 8), most}):
        if _is_whole(store, length):
            low = length
        else:
            high = length
            break
    if not low:
        findings.missing("listing.longest_line", f"{_SHORTEST} characters are not listed whole")
    elif not high:
        says = f"lines of {low} characters are listed whole; longer ones were not tried"
        findings.add("listing.longest_line", low, says, "likely")
    else:
        low, high = _between(low, high, lambda length: _is_whole(store, length))
        says = f"a line of {low} characters is listed whole, one of {high} is not"
        findings.add("listing.longest_line", low, says)
    store.clear()


def _is_whole(store: Store, length: int) -> bool:
    """Return whether a line of this length is stored and listed completely."""
    store.clear()
    text = "10 REM " + _TOO_LONG * (length - 7)
    store.bench.enter(text.encode())
    rows = store.bench.until_steady(lambda: store.bench.dialogue.read_listing().rows) or ()
    return "".join(row.strip() for row in rows).count(_TOO_LONG) == length - 7
