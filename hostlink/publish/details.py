"""What a sheet says of a program beyond its listing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Matter:
    """All plain text, "" where unknown.

    name: the program's name, one word. notes: paragraphs parted by empty lines.
    """

    name: str = ""
    title: str = ""
    author: str = ""
    licence: str = ""
    notes: str = ""
