"""What a sheet says about a program besides its listing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ProgramDetails:
    """The name, title, author, licence and notes of a program, as plain text; "" if unknown.

    name: one word. notes: paragraphs separated by empty lines.
    """

    name: str = ""
    title: str = ""
    author: str = ""
    licence: str = ""
    notes: str = ""
