"""Find the keys that erase a character or cancel a line, from what the board holds after them.

Without storing, a direct line prints a number that shows what the board received. With test lines
the listing shows it. The echo proves nothing: one board echoes a step back and keeps the character,
another erases it silently. Only one key is typed after characters that came back, so that nothing
before the line is erased.
"""

from __future__ import annotations

from collections.abc import Callable

from hostlink.board.survey.bench import Bench
from hostlink.board.survey.findings import NO_PRINT

_ERASING = (b"\x08", b"\x7f")
_CANCELLING = (b"\x15", b"\x18", b"\x1b")

Shows = Callable[[bytes], bool]


def find_keys_by_printing(bench: Bench) -> None:
    """Find the keys by direct lines that print a number."""
    if not (_prints(bench, b"PRINT 13", "13") or _prints(bench, b"PRINT 13", "13")):
        for name in ("talk.erase", "talk.line_cancel"):
            bench.findings.missing(name, NO_PRINT)
        return
    note_keys(
        bench,
        erases=lambda key: _prints(bench, b"PRINT 12" + key + b"3", "13"),
        cancels=lambda key: _prints(bench, b"PRINT 1" + key + b"PRINT 2", "2"),
        by="a direct line printed a number without the characters taken back",
    )


def note_keys(bench: Bench, erases: Shows, cancels: Shows, by: str) -> None:
    """Try the usual keys and record those that work twice."""
    for name, keys, shows, does in (
        ("talk.erase", _ERASING, erases, "takes a character back"),
        ("talk.line_cancel", _CANCELLING, cancels, "abandons the line"),
    ):
        found = next((key for key in keys if shows(key) and shows(key)), None)
        if found is not None:
            bench.findings.add(name, found, f"byte {found[0]} {does}: {by}")
        else:
            tried = ", ".join(str(key[0]) for key in keys)
            bench.findings.missing(name, f"none of the bytes {tried} {does}")


def _prints(bench: Bench, line: bytes, number: str) -> bool:
    """Return whether a line is answered by one number."""
    return [row.strip() for row in bench.enter(line)] == [number]
