"""Read a listing sheet back: the listing, its codes and the details of the program.

The file is data: only the text in the marked places is used.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html.parser import HTMLParser

from hostlink.errors import ListingError
from hostlink.listing import Listing
from hostlink.listing.checkcodes import Codes, line_code, whole_code
from hostlink.publish.details import ProgramDetails

SHEET_KINDS = ("sheet", "program")
"""Pages that hold a listing with its codes; a program's page of a site is such a sheet too."""
_KEPT = "Nothing was changed."
_HEAD = 4000  # characters
_BEGINS = re.compile(r'(?is)<!doctype html.*?<meta name="hostlink-page" content="([a-z]+)"')
_FIELDS = ("title", "name", "author", "licence", "notes", "profile", "whole")
_VOID = frozenset(("meta", "br", "hr", "img", "link", "input", "path"))


@dataclass(frozen=True, slots=True)
class SheetRead:
    """A sheet read from a file. profile: the name of the profile it was made for."""

    text: str
    codes: Codes
    details: ProgramDetails
    profile: str

    def other_profile(self, used: str) -> str:
        """Return a sentence if the sheet was made for another profile than the one used, or ""."""
        if self.profile in ("", used):
            return ""
        return f"The sheet was made for profile {self.profile}; the codes are computed for {used}."


def page_kind(source: str) -> str:
    """Return the kind of page of hostlink that a text begins, "" for any other text."""
    match = _BEGINS.match(source[:_HEAD].lstrip("\ufeff \r\n"))
    return match[1].lower() if match else ""


def read_sheet(source: str, *, name: str) -> SheetRead:
    """Read a sheet. name: what to call it in messages.

    Raises ListingError if the text is not a sheet or holds no listing, or if a line does not match
    its code because the sheet was changed or damaged.
    """
    kind = page_kind(source)
    if kind not in SHEET_KINDS:
        raise ListingError(
            f"{name} is {f'a {kind} page, ' if kind else ''}not a listing sheet.",
            kept=_KEPT,
            advice=lambda by: f"Name an HTML file that was written as a sheet {by.write_sheet}.",
        )
    reader = _Reader()
    reader.feed(source)
    reader.close()
    if not reader.lines:
        raise ListingError(f"{name} holds no listing.", kept=_KEPT)
    text = "".join(f"{row}\n" for row in reader.lines)
    codes = _codes(reader, name)
    if reader.coded == "as-printed":
        _check(reader.lines, text, codes, name)
    fields = {field: " ".join(reader.fields.get(field, "").split()) for field in _FIELDS}
    notes = "\n\n".join(" ".join(part.split()) for part in reader.notes if part.strip())
    details = ProgramDetails(
        fields["name"], fields["title"], fields["author"], fields["licence"], notes
    )
    return SheetRead(text, codes, details, fields["profile"])


def _codes(reader: _Reader, name: str) -> Codes:
    """Return the codes of the lines; both are in the same order in the sheet."""
    if len(reader.lines) != len(reader.codes):
        raise _damaged(name, "it does not have one code for each line")
    lines: dict[int, str] = {}
    for row, told in zip(reader.lines, reader.codes, strict=True):
        number = next(iter(Listing.from_text(row).numbered()), None)
        # Sheets of version 0.2.0 have codes without the lines' numbers.
        match = re.fullmatch(r"(?:([0-9]+)\s+)?([0-9]{2})", told.strip(), re.ASCII)
        if number is None or "\n" in row or match is None or match[1] not in (None, str(number)):
            raise _damaged(name, f"the row {row[:40]!r} is not a numbered line and its code")
        if number in lines:
            raise _damaged(name, f"line {number} is in it twice")
        lines[number] = match[2]
    whole = reader.fields.get("whole", "").strip()
    if not re.fullmatch(r"[0-9A-F]{4}", whole, re.ASCII):
        raise _damaged(name, "it lacks the check code of the whole program")
    return Codes(lines, whole)


def _check(rows: list[str], text: str, codes: Codes, name: str) -> None:
    """Check the lines of the sheet against its codes."""
    for row, code in zip(rows, codes.lines.values(), strict=True):
        if line_code(row) != code:
            raise _damaged(name, f"the line {row[:40]!r} does not have the code {code}")
    if whole_code(text) != codes.whole:
        raise _damaged(name, f"its lines together do not have the code {codes.whole}")


def _damaged(name: str, why: str) -> ListingError:
    return ListingError(
        f"The sheet {name} was changed or damaged: {why}.",
        kept=_KEPT,
        advice="Get the sheet again from where it was made.",
    )


class _Reader(HTMLParser):
    """Collects the lines and codes of the listing, and the text of the marked places."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.lines: list[str] = []
        self.codes: list[str] = []
        self.fields: dict[str, str] = {}
        self.notes: list[str] = []
        self.coded = ""
        self._open: list[tuple[str, str]] = []  # tag and the place it marks, "" for none

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _VOID:
            return
        held = dict(attrs)
        place = held.get("class") or ""
        if place == "listing":
            self.coded = held.get("data-coded") or ""
        elif place not in ("line", "code") or tag == "th" or not self._inside("listing"):
            place = ""  # a heading of such a column, in a sheet of version 0.2.0, is neither
        field = held.get("data-field") or ""
        if field in _FIELDS:
            place = field
        if tag == "p" and self._inside("notes"):
            self.notes.append("")
        if place == "line":
            self.lines.append("")
        elif place == "code":
            self.codes.append("")
        self._open.append((tag, place))

    def handle_endtag(self, tag: str) -> None:
        if not any(held == tag for held, _ in self._open):
            return
        while self._open and self._open.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        for _, place in reversed(self._open):
            if place == "line":
                self.lines[-1] += data
            elif place == "code":
                self.codes[-1] += data
            elif place == "notes":
                if self.notes:
                    self.notes[-1] += data
            elif place in _FIELDS:
                self.fields[place] = self.fields.get(place, "") + data
            else:
                continue
            return

    def _inside(self, place: str) -> bool:
        return any(held == place for _, held in self._open)
