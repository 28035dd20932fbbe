"""Hold what a page says about a program besides its listing."""

from __future__ import annotations

from dataclasses import dataclass, replace

COLLECTION_TITLE = "Programs in BASIC"
"""The title of a page of many programs if the user gives none."""
_IN_NOTES = ("author", "licence")


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

    def with_note(self, note: str) -> ProgramDetails:
        """Return the details with a note; rows such as `author: Ida` set author or licence."""
        found: dict[str, str] = {}
        rows: list[str] = []
        for row in note.splitlines():
            word, colon, value = row.partition(":")
            word = word.strip().lower()
            if colon and word in _IN_NOTES:
                found[word] = value.strip()
            else:
                rows.append(row)
        return replace(self, **found, notes="\n".join(rows).strip())

    def as_note(self) -> str:
        """Return notes, author and licence as the note from which `with_note` reads them."""
        rows = [f"{word}: {getattr(self, word)}" for word in _IN_NOTES if getattr(self, word)]
        return "\n".join(filter(None, [self.notes, *rows]))
