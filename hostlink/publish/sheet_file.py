"""Reading a listing sheet back: the listing, its codes and the details of the program.

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

_KEPT = "Nothing was changed."
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


def is_sheet(source: str) -> bool:
    """Return whether a text is a listing sheet, judging by its beginning."""
    head = source[:4000].lstrip("\ufeff \r\n").lower()
    return (
        head.startswith("<!doctype html") and '<meta name="hostlink-page" content="sheet"' in head
    )


def read_sheet(source: str, *, name: str) -> SheetRead:
    """Read a sheet. name: what to call it in messages.

    Raises ListingError if the text is no sheet, holds no listing, or if a line does not match the
    code printed beside it because the sheet was changed or damaged.
    """
    if not is_sheet(source):
        raise ListingError(
            f"{name} is not a listing sheet.",
            kept=_KEPT,
            advice=lambda by: f"Name an HTML file that was written as a sheet {by.write_sheet}.",
        )
    reader = _Reader()
    reader.feed(source)
    reader.close()
    if not reader.rows:
        raise ListingError(f"{name} holds no listing.", kept=_KEPT)
    text = "".join(f"{row}\n" for row, _ in reader.rows)
    codes = _codes(reader, name)
    if reader.coded == "as-printed":
        _check(reader, text, codes, name)
    fields = {field: " ".join(reader.fields.get(field, "").split()) for field in _FIELDS}
    notes = "\n\n".join(" ".join(part.split()) for part in reader.notes if part.strip())
    details = ProgramDetails(
        fields["name"], fields["title"], fields["author"], fields["licence"], notes
    )
    return SheetRead(text, codes, details, fields["profile"])


def _codes(reader: _Reader, name: str) -> Codes:
    lines: dict[int, str] = {}
    for row, code in reader.rows:
        number = Listing.from_text(row).numbered()
        if len(number) != 1 or "\n" in row or not re.fullmatch(r"[0-9]{2}", code, re.ASCII):
            raise _damaged(name, f"the row {row[:40]!r} is not a numbered line and its code")
        if not number.keys().isdisjoint(lines):
            raise _damaged(name, f"line {next(iter(number))} stands in it twice")
        lines[next(iter(number))] = code
    whole = reader.fields.get("whole", "").strip()
    if not re.fullmatch(r"[0-9A-F]{4}", whole, re.ASCII):
        raise _damaged(name, "it lacks the code for all lines")
    return Codes(lines, whole)


def _check(reader: _Reader, text: str, codes: Codes, name: str) -> None:
    """Check the lines of the sheet against its codes."""
    for row, code in reader.rows:
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
    """Collects the rows of the listing and the text of the marked places."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.rows: list[tuple[str, str]] = []
        self.fields: dict[str, str] = {}
        self.notes: list[str] = []
        self.coded = ""
        self._open: list[tuple[str, str]] = []  # tag and the place it marks, "" for none
        self._line: str | None = None
        self._code: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in _VOID:
            return
        held = dict(attrs)
        place = ""
        if tag == "table" and held.get("class") == "listing":
            self.coded = held.get("data-coded") or ""
            place = "table"
        elif tag == "td" and self._inside("table"):
            place = {"line": "line", "code": "code"}.get(held.get("class") or "", "")
        field = held.get("data-field") or ""
        if field in _FIELDS:
            place = field
        if tag == "p" and self._inside("notes"):
            self.notes.append("")
        if place == "line":
            self._line = ""
        elif place == "code":
            self._code = ""
        self._open.append((tag, place))

    def handle_endtag(self, tag: str) -> None:
        if not any(held == tag for held, _ in self._open):
            return
        while self._open:
            held, place = self._open.pop()
            if place == "code" and self._line is not None and self._code is not None:
                self.rows.append((self._line, self._code.strip()))
                self._line = self._code = None
            if held == tag:
                return

    def handle_data(self, data: str) -> None:
        for _, place in reversed(self._open):
            if place == "line":
                self._line = (self._line or "") + data
            elif place == "code":
                self._code = (self._code or "") + data
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
