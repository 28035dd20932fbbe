"""Read a TOML file that a person wrote, naming every fault with its line.

Rules: it is at most 256 KiB of UTF-8, and one error reports all faults.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

from hostlink.board.profile.lines import line_of_key
from hostlink.board.profile.written import short_value
from hostlink.errors import FaultyFileError
from hostlink.sentences import CHECK_FILE

LARGEST_FILE = 256 * 1024  # bytes
LONGEST_ROW = 4096  # characters; a TOML reader is slow on very long dotted keys
MOST_TOLD = 100  # faults listed in one error
MOST_EXPLAINED = 20  # of them with a suggestion of what may have been meant

_PLACE = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", re.DOTALL)
_MEND_FILE = "Mend the file and try again."
ErrorKind = type[FaultyFileError]


class FileFaults:
    """Collects the faults of one text, each with its line. kind: the error that lists them."""

    def __init__(self, file: str, lines: dict[tuple[str, ...], int], kind: ErrorKind) -> None:
        self.file = file
        self.lines = lines
        self.bad: set[str] = set()  # "table.key" of values that could not be used
        self._kind = kind
        self._found: list[tuple[int, str]] = []

    def add(self, path: tuple[str, ...], says: str) -> None:
        """Note a fault. path: of the key. says: a sentence without its full stop."""
        self._found.append((line_of_key(self.lines, path) or 0, says))
        self.bad.add(".".join(path[:2]))

    @property
    def are_many(self) -> bool:
        """Return whether so many faults were found that further ones get no suggestion."""
        return len(self._found) >= MOST_EXPLAINED

    def check(self) -> None:
        """Raise one error that lists the collected faults by line, if there are any."""
        if not self._found:
            return
        in_order = sorted(self._found, key=lambda fault: fault[0])
        told = [self._told(line, says) for line, says in in_order[:MOST_TOLD]]
        if len(self._found) > MOST_TOLD:
            told.append(f"{self.file}: {len(self._found) - MOST_TOLD} more faults are not shown.")
        raise self._kind("\n".join(told), advice=_MEND_FILE)

    def _told(self, line: int, says: str) -> str:
        place = f"{self.file}, line {line}" if line else self.file
        return f"{place}: {says}" + ("" if says.endswith("?") else ".")


def toml_text(data: bytes, name: str, kind: ErrorKind) -> str:
    """Return the text of a file. data: its bytes, up to one more than LARGEST_FILE.

    name: what errors call the file. Raises an error of `kind` if it is too large or not UTF-8.
    """
    if len(data) > LARGEST_FILE:
        raise _too_large(name, kind)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise kind(
            f"{name}, line {line}: byte {data[error.start]} is not UTF-8 text.",
            advice="Save the file as UTF-8 and try again.",
        ) from error


def parse_toml(text: str, name: str, kind: ErrorKind) -> dict[str, Any]:
    """Parse TOML. Raises an error of `kind` for text that is not TOML, too long or too nested."""
    if len(text) > LARGEST_FILE:
        raise _too_large(name, kind)
    for line, row in enumerate(text.split("\n"), 1):
        if len(row) > LONGEST_ROW:
            raise kind(
                f"{name}, line {line}: it has {len(row)} characters; at most {LONGEST_ROW} are "
                "allowed.",
                advice=_MEND_FILE,
            )
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise kind(
            f"{name}: its lists or tables are nested too deeply.", advice=_MEND_FILE
        ) from error
    except ValueError as error:
        place = _PLACE.fullmatch(str(error))
        reason, row, column = place.groups("") if place else (str(error), "", "")
        last = text.rstrip("\n").count("\n") + 1
        where = f", line {row or last}" if place else ""
        at = f", column {column}" if column else ", at the end of the file" if place else ""
        raise kind(
            f"{name}{where}: this is not TOML: {_plain(reason)}{at}.", advice=_MEND_FILE
        ) from error


def _plain(reason: str) -> str:
    """Make the message of the TOML parser fit into one of hostlink's sentences."""
    reason = "".join(ch if ch.isprintable() else short_value(ch)[1:-1] for ch in reason)[:200]
    return reason[:1].lower() + reason[1:]


def _too_large(name: str, kind: ErrorKind) -> FaultyFileError:
    return kind(
        f"{name} is larger than {LARGEST_FILE // 1024} KiB, so it was not read.", advice=CHECK_FILE
    )
