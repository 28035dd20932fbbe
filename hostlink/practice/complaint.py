"""What the firmware says when it cannot go on, in the practice board's own words."""

from __future__ import annotations

ERROR_WORDS = ("! ",)
"""How every error text of the board begins (at the start of a line)."""

STOPPED = "* stopped"
"""How the board's word for an interrupted program begins; it is no error."""


class Complaint(Exception):
    """A program or command cannot go on. The text lacks the mark in front and the line number."""


def puzzled(rest: str) -> Complaint:
    """The complaint about text that fits no rule of the language, shown from where it starts."""
    return Complaint(f"puzzled by {excerpt(rest)}" if rest.strip() else "line ends too soon")


def excerpt(rest: str) -> str:
    """The first characters of a text, fit to be shown."""
    return "".join(c if " " <= c <= "~" else "." for c in rest.strip()[:10])
