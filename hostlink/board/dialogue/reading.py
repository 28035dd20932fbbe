"""Read one answer to LIST: its lines, its other rows, and whether the question was heard right."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from hostlink.board.dialogue.own_rows import is_own
from hostlink.board.profile.model import Profile
from hostlink.errors import NotKnownError
from hostlink.listing.canonical import listed_line
from hostlink.listing.parse import Line
from hostlink.listing.rules import Form

_ROW_ENDS = re.compile(r"[\r\n]+")
# ECMA-48, sections 5.4 (control sequences), 5.6 (control strings), 5.5 and 5.3 (other escapes).
_CONTROL = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]*(?:\x07|\x1b\\)|[ -/]*[0-Z\\^-~])")
NUMBER_WIDTH = 5  # columns in which a board may align its line numbers at the right


@dataclass(frozen=True, slots=True)
class Reading:
    """One answer to LIST.

    lines: by number. strays: rows between lines that are not lines, each with the number of the
    line before it. after: such rows after the last line. said: such rows before the first.
    order: every row as it came: the number of a line, or the row that is not a line.
    heard_right: the question was echoed right and answered without being asked again.
    rows: the answer as it came.
    """

    lines: dict[int, Line]
    strays: tuple[tuple[int, str], ...] = ()
    after: tuple[tuple[int, str], ...] = ()
    said: tuple[str, ...] = ()
    order: tuple[int | str, ...] = ()
    heard_right: bool = True
    rows: tuple[str, ...] = ()

    @property
    def around(self) -> tuple[str, ...]:
        """Return the rows before the first line and after the last.

        The board's own rows are the same each time; another row may be a line with a damaged
        number.
        """
        return (*self.said, *(row for _, row in self.after))

    @property
    def descents(self) -> int:
        """Count the lines that come after one with a greater number, as no board lists them."""
        numbers = [each for each in self.order if isinstance(each, int)]
        return sum(later < sooner for sooner, later in pairwise(numbers))

    @property
    def unexplained(self) -> tuple[str, ...]:
        """Return all rows that are neither a line nor named in the profile."""
        return (*self.around, *(row for _, row in self.strays))

    @property
    def is_bare(self) -> bool:
        """Return whether a question that was heard right got no line and no unknown row.

        Only such an answer suggests an empty program.
        """
        return self.heard_right and not self.lines and not self.unexplained


def read_listing(text: str, profile: Profile, *, heard_right: bool = True) -> Reading:
    """Read an answer to LIST; what the profile does not explain is kept apart. Never raises.

    Lines are listed in the order of their numbers. A first or last row that is out of order is not
    a line but a count, such as `38 LINES`.
    """
    known = ("", *profile.commands.answer_rows)
    lines: dict[int, Line] = {}
    strays: list[tuple[int, str]] = []
    after: list[tuple[int, str]] = []
    said: list[str] = []
    order: list[int | str] = []
    last: int | None = None
    rows = unwrapped(raw_rows_of(text), profile.rules.form)
    read = [None if is_own(row, known) else listed_line(row, profile.rules.form) for row in rows]
    _set_counts_apart(read)
    for row, line in zip(rows, read, strict=True):
        if line is not None and line.number is not None:
            strays += after
            after = []
            last = line.number
            # A number without text cannot be typed again, and no program has one number twice.
            if line.text and last not in lines:
                lines[last] = line
                order.append(last)
                continue
            if last in order:  # either of the two may be the damaged one
                order[order.index(last)] = lines[last].typed
            strays.append((last, row))
        elif is_own(row, known):
            continue
        elif last is None:
            said.append(row)
        else:
            after.append((last, row))
        order.append(row)
    return Reading(
        lines, tuple(strays), tuple(after), tuple(said), tuple(order), heard_right, tuple(rows)
    )


def refuse_colours(rows: Sequence[str], profile: Profile, kept: str = "") -> None:
    """Raise NotKnownError if an answer to LIST shows lines only without its control sequences.

    rows: the answer. kept: what was not lost. Which sequences belong to a line is not known.
    """
    text = "\n".join(rows)
    if not read_listing(text, profile).lines and (
        read_listing(without_controls(text), profile).lines
    ):
        raise NotKnownError(
            "The board lists its program with control sequences, as for colours, so its lines "
            "cannot be read.",
            kept=kept,
            advice="Turn the colours of its listing off, then try again.",
        )


def _set_counts_apart(read: list[Line | None]) -> None:
    """Remove rows that are counts and not lines, in place.

    These are a last row with a lower number than the one before it, and a first row with a higher
    number than the next. Of two rows with the same number either may be the damaged one, so both
    stay.
    """
    places = [(at, line.number) for at, line in enumerate(read) if line and line.number is not None]
    numbers = [number for _, number in places]
    if len(places) > 1 and numbers[-1] < numbers[-2] and numbers.count(numbers[-1]) == 1:
        read[places.pop()[0]] = None
    if len(places) > 1 and numbers[0] > numbers[1] and numbers.count(numbers[0]) == 1:
        read[places[0][0]] = None


def unwrapped(rows: list[str], form: Form) -> list[str]:
    """Join the rows that a board has broken at the width of its screen.

    A row that is as wide as the screen goes on in the next one, after `wrap_indent` blanks. If
    that is more blanks than can stand before a line number, they alone mark the continuation: such
    a board may break a line before the last column, so as not to cut a word.
    """
    tells = form.wrap_indent > NUMBER_WIDTH
    if form.wrap_indent < 0 or not form.screen_width:
        return rows
    joined: list[str] = []
    goes_on = False
    for row in rows:
        indent = row[: form.wrap_indent]
        is_rest = tells and len(indent) == form.wrap_indent and not indent.strip(" ")
        if joined and (is_rest or (goes_on and not indent.strip(" "))):
            joined[-1] += row[form.wrap_indent :]
        else:
            joined.append(row)
        goes_on = len(row) == form.screen_width
    return joined


def rows_of(text: str) -> list[str]:
    """Split a board's answer into rows without control sequences; empty rows are left out."""
    return raw_rows_of(without_controls(text))


def raw_rows_of(text: str) -> list[str]:
    """Split an answer into rows as they came: a program or its name may hold control sequences."""
    return [row for row in _ROW_ENDS.split(text) if row]


def without_controls(text: str) -> str:
    """Return a text without control sequences, as for colours or a window's title (ECMA-48)."""
    return _CONTROL.sub("", text)


def plain_names(listed: Sequence[str]) -> list[str]:
    """Return the names without the colours in which a board may list them.

    Where two would be the same, the control sequences are part of the name.
    """
    plain = [without_controls(name) for name in listed]
    times = Counter(map(str.casefold, plain))
    return [
        bare if times[bare.casefold()] == 1 else name
        for name, bare in zip(listed, plain, strict=True)
    ]
