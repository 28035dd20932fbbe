"""The rows of a board's answer, and the listing among them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from hostlink.board.profile import Profile
from hostlink.listing.canonical import listed_line
from hostlink.listing.parse import Line


@dataclass(frozen=True, slots=True)
class Listed:
    """One answer to LIST. lines: by number. strays: rows inside that are no lines, each with the
    number of the line before; after: such rows behind the last line; said: before the first.
    order: of all rows as they came the number of a line, or the row that is no line."""

    lines: dict[int, Line]
    strays: tuple[tuple[int, str], ...]
    after: tuple[tuple[int, str], ...]
    said: tuple[str, ...] = ()
    order: tuple[int | str, ...] = ()

    @property
    def around(self) -> tuple[str, ...]:
        """The rows before the first line and behind the last; of a board's own words the same each
        time, else one may be a line whose number was damaged."""
        return (*self.said, *(row for _, row in self.after))

    @property
    def unexplained(self) -> tuple[str, ...]:
        """All rows that are no line."""
        return (*self.around, *(row for _, row in self.strays))


def read_listed(text: str, profile: Profile) -> Listed:
    """Read a listing as the board shows it; what the profile does not explain is kept apart."""
    known = ("", profile.commands.list_end, *profile.talk.idle_chatter)
    lines: dict[int, Line] = {}
    strays: list[tuple[int, str]] = []
    after: list[tuple[int, str]] = []
    said: list[str] = []
    order: list[int | str] = []
    last: int | None = None
    for row in rows_of(text):
        line = listed_line(row, profile.rules.form)
        if line is not None and line.number is not None:
            strays += after
            after = []
            last = line.number
            # A number without text cannot be typed again, and no program has one number twice.
            if line.text and last not in lines:
                lines[last] = line
                order.append(last)
                continue
            if last in order:  # and the one before may be the wrong one
                order[order.index(last)] = lines[last].typed
            strays.append((last, row))
        elif row.strip(" ") in known:
            continue
        elif last is None:
            said.append(row)
        else:
            after.append((last, row))
        order.append(row)
    return Listed(lines, tuple(strays), tuple(after), tuple(said), tuple(order))


def rows_of(text: str) -> list[str]:
    """The rows of a board's answer, whatever it ends them with; empty ones left out."""
    return [row for row in re.split(r"[\r\n]+", text) if row]


def shown(text: str) -> str:
    """Board output made safe to print: control characters as escapes, nothing obeyed."""
    return "".join(
        character if character.isprintable() else f"\\x{ord(character):02x}" for character in text
    )
