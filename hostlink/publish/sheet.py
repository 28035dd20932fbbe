"""The listing sheet: one page to type a program from, with codes that prove it was typed right."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

from hostlink.board.profile.model import Profile
from hostlink.errors import ListingError
from hostlink.listing import Listing, canonical_line, measure
from hostlink.listing.checkcodes import WHOLE, codes_of
from hostlink.listing.rules import Language
from hostlink.listing.tokens import scan
from hostlink.publish.details import ProgramDetails
from hostlink.publish.page import facts, page, paragraphs, text
from hostlink.publish.qr import drawing
from hostlink.sentences import no_numbered_line

_BLANKS = re.compile(" +")

STYLE = """
table.listing { min-width: 60%; max-width: 100%; margin-top: 1mm; font-size: 9.5pt;
  line-height: 1.5; }
.listing th { text-align: left; font-weight: normal; color: var(--faint); font-size: 9pt; }
.listing td { vertical-align: top; padding: 0; }
.listing .line { white-space: pre-wrap; overflow-wrap: anywhere; padding: 0 4ch 0 6ch;
  text-indent: -6ch; }
.listing .code { text-align: right; width: 14mm; border-left: 0.2mm solid var(--rule); }
.listing tbody tr:last-child td { padding-bottom: 1.5mm; }
.listing tbody { break-inside: avoid; }
.listing tfoot { display: table-row-group; }
.listing tfoot td { border-top: 0.3mm solid var(--ink); padding-top: 1mm; }
.listing .whole { text-align: right; font-family: inherit; padding-right: 4ch; }
.gap { border-bottom: 0.5mm dotted var(--faint); }
figure { break-inside: avoid; }
figure { margin: 5mm 0 0; display: flex; align-items: center; gap: 6mm; }
figcaption { max-width: 60mm; color: var(--faint); }
"""


def printed_rows(listing: Listing, profile: Profile) -> list[tuple[int, str]]:
    """Return the numbers and texts of the lines as a sheet prints them: as the board lists them.

    If the board ignores blanks, a line is printed as typed and its code leaves the blanks out.
    """
    rules = profile.rules
    free = rules.form.has_free_blanks
    return [
        (number, f"{number} {line.text}" if free else canonical_line(line, rules))
        for number, line in listing.numbered().items()
    ]


def sheet(listing: Listing, profile: Profile, details: ProgramDetails) -> str:
    """Return the sheet of a program for a kind of board as an HTML page.

    Raises ListingError if the listing has no numbered line, or a character without a code.
    """
    rows = printed_rows(listing, profile)
    if not rows:
        raise ListingError(
            no_numbered_line("put on a sheet"),
            kept="Nothing was written.",
        )
    codes = codes_of(listing, profile.rules)
    title = details.title or details.name or "A program"
    body = "".join(
        (
            f'<h1 data-field="title">{text(title)}</h1>\n',
            _byline(details),
            facts(_facts(listing, profile, len(rows))),
            f'<div data-field="notes">{paragraphs(details.notes)}</div>\n' if details.notes else "",
            "<h2>Listing</h2>\n",
            _table(rows, codes.lines, codes.whole, profile),
            '<section class="how">\n<h2>Type it, then check it</h2>\n',
            f"<ol>\n{''.join(f'<li>{step}</li>' for step in _steps(details, profile))}\n</ol>\n",
            "</section>\n",
            _figure(rows),
        )
    )
    return page(title, body, kind="sheet", style=STYLE)


def _byline(details: ProgramDetails) -> str:
    parts = []
    if details.name:
        parts.append(f'program <span data-field="name">{text(details.name)}</span>')
    if details.author:
        parts.append(f'by <span data-field="author">{text(details.author)}</span>')
    if details.licence:
        parts.append(f'licence <span data-field="licence">{text(details.licence)}</span>')
    return f'<p class="byline">{", ".join(parts)}</p>\n' if parts else ""


def _facts(listing: Listing, profile: Profile, lines: int) -> list[tuple[str, str]]:
    ledger = measure(listing, profile.rules)
    size = f"{ledger.total:,} bytes"
    if ledger.limit:
        rest = f"{ledger.over:,} over" if ledger.over else f"{ledger.free:,} free"
        size = f"{ledger.total:,} of {ledger.limit:,} bytes, {rest}"
    name = f'<span data-field="profile">{text(profile.name)}</span>'
    return [
        ("for", f"{text(profile.title or profile.name)} (profile {name})"),
        ("size", size),
        ("lines", f"{lines:,}"),
    ]


def _table(
    rows: list[tuple[int, str]], codes: Mapping[int, str], whole: str, profile: Profile
) -> str:
    """Return the listing as an HTML table, in groups of five lines that are easy to follow."""
    language = profile.rules.language
    coded = "without-blanks" if profile.rules.form.has_free_blanks else "as-printed"
    shown = [
        f'<tr><td class="line">{_marked(row, language)}</td>'
        f'<td class="code">{codes[number]}</td></tr>\n'
        for number, row in rows
    ]
    groups = ("".join(shown[at : at + 5]) for at in range(0, len(shown), 5))
    bodies = "".join(f"<tbody>\n{group}</tbody>\n" for group in groups)
    return (
        f'<table class="listing" data-coded="{coded}">\n'
        '<thead><tr><th>line</th><th class="code">code</th></tr></thead>\n'
        f'{bodies}<tfoot><tr><td class="whole">all lines ({WHOLE})</td>'
        f'<td class="code" data-field="whole">{whole}</td></tr></tfoot>\n</table>\n'
    )


def _marked(row: str, language: Language) -> str:
    """Return a line as HTML, with dots under blanks that are easily overlooked."""
    pieces: list[str] = []
    at = 0
    for match in _BLANKS.finditer(row):
        if len(match[0]) > 1 or _at_edge(row, match.start(), language):
            pieces += [text(row[at : match.start()]), f'<span class="gap">{match[0]}</span>']
            at = match.end()
    return "".join([*pieces, text(row[at:])])


def _at_edge(row: str, place: int, language: Language) -> bool:
    """Return whether a blank is at the start or end of quoted text, or at the end of the line."""
    return (
        any(
            span.kind == "quoted" and place in (span.start + 1, span.end - 2)
            for span in scan(row, language)
        )
        or place == len(row) - 1
    )


def _steps(details: ProgramDetails, profile: Profile) -> Iterator[str]:
    """Yield the steps to type and check the program on this board, as HTML."""
    commands = profile.commands
    name = text(details.name or "PROGRAM")
    if commands.clear:
        yield (
            f"Save what the board holds if you still need it: <code>{text(commands.clear)}</code> "
            "empties its memory, and you begin with that."
        )
    yield (
        "Type each line as it is printed, without the code at the right, and end it with Return. "
        "Dots under a line stand for blanks: type one for each. Mind <code>0</code> and "
        "<code>O</code>, <code>1</code> and <code>I</code>."
    )
    yield (
        f"With a computer: <code>hostlink save {name}</code>, then <code>hostlink compare {name} "
        "--sheet</code> and the name of this file; it tells which lines are wrong. From paper, "
        "type the codes into a file and give that with <code>--codes</code>. In the app, "
        "“Check codes” does both."
    )
    blanks = ", blanks outside quotation marks left out" if _is_free(profile) else ""
    yield (
        f"By hand, for one line as <code>{text(commands.list or 'LIST')}</code> shows it, from its "
        f"number on{blanks}: begin with C = 0; for each character put the remainder of "
        "(C × 100 + its ASCII code − 31) ÷ 97 in place of C. The line's code is 98 less the "
        "remainder of (C × 100) ÷ 97. The code for all lines is their CRC-16/XMODEM, each line "
        "with a line feed after it."
    )
    yield f"When the codes agree, type <code>{text(commands.run or 'RUN')}</code>."


def _is_free(profile: Profile) -> bool:
    return profile.rules.form.has_free_blanks


def _figure(rows: list[tuple[int, str]]) -> str:
    content = "".join(row + "\n" for _, row in rows)
    drawn = drawing(content)
    if drawn is None:
        return (
            f"<p>No QR code holds this listing of {len(content):,} characters; copy it from the "
            "file of this sheet.</p>\n"
        )
    svg, width = drawn
    return (
        f'<figure><div style="width: {width}mm" role="img" aria-label="QR code of the listing">'
        f"{svg}</div><figcaption>The listing as text, {len(content):,} characters, to be read with "
        "a camera.</figcaption></figure>\n"
    )
