"""Show a program as sheet, booklet and site do: its facts, and its listing with the codes.

The codes of a few lines stand in a row below them: a line's number and its code in a box, as they
are typed for `compare --codes`. So a reader types a few lines, then checks them, and the text has
the whole width of a narrow screen.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from hostlink.board.profile.model import Profile
from hostlink.errors import ListingError
from hostlink.listing import Ledger, Listing, canonical_line, measure
from hostlink.listing.checkcodes import WHOLE, Codes, codes_of
from hostlink.listing.rules import Language
from hostlink.listing.tokens import scan
from hostlink.publish.details import ProgramDetails
from hostlink.publish.page import escaped, facts, paragraphs
from hostlink.sentences import no_numbered_line

_TOGETHER = 5  # lines whose codes stand in one row
_MAY_BREAK = 36  # characters; the narrowest telephone breaks a longer line
_PIECES = re.compile(" +|[^ ]+")

STYLE = """
.listing { margin: 1mm 0 0; font-size: 9.5pt; line-height: 1.5; }
.listing .line, .listing .code, .listing .whole { font-family: ui-monospace, monospace; }
.listing .line { display: block; white-space: break-spaces; font-size: 1em;
  padding-left: 6ch; text-indent: -6ch; }
.lines { break-inside: avoid; }
.codes { display: flex; flex-wrap: wrap; gap: 1mm 2mm; margin: 0.8mm 0 2.6mm 6ch; max-width: none;
  font-size: 8.5pt; line-height: 1.35; user-select: none; -webkit-user-select: none; }
.code, .whole { border: 0.25mm solid var(--faint); border-radius: 1.2mm; padding: 0 1.2mm; }
.code i, .whole i { font-style: normal; color: var(--faint); }
.code b, .whole b { margin-left: 0.6ch; }
.word { display: inline-block; max-width: 100%; text-indent: 0; }
.gap { border-bottom: 0.5mm dotted var(--faint); }
@media screen and (max-width: 640px) { .codes { margin-left: 0; gap: 1mm; } }
"""


@dataclass(frozen=True, slots=True)
class SampleRun:
    """What a program printed once. typed: the answers. left_out: rows that are not shown."""

    rows: tuple[str, ...]
    typed: tuple[str, ...] = ()
    left_out: int = 0


@dataclass(frozen=True, slots=True)
class PublishedProgram:
    """A program to publish for a kind of board.

    rows: its lines as the board lists them, by number. ledger: its size on the board. sample: what
    it prints, if that is known.
    """

    profile: Profile
    details: ProgramDetails
    rows: dict[int, str]
    codes: Codes
    ledger: Ledger
    tags: tuple[str, ...] = ()
    sample: SampleRun | None = None

    @property
    def title(self) -> str:
        """Return the program's title, else its name."""
        return self.details.title or self.details.name or "A program"

    @property
    def text(self) -> str:
        """Return the program's lines, each ended by a line feed."""
        return "".join(f"{row}\n" for row in self.rows.values())


def publish(
    listing: Listing,
    profile: Profile,
    details: ProgramDetails,
    tags: tuple[str, ...] = (),
    sample: SampleRun | None = None,
) -> PublishedProgram:
    """Return a program as it is published: its lines as the board lists them.

    If the board ignores blanks, a line is printed as typed and its code leaves the blanks out.
    Raises ListingError if the listing has no numbered line, or a character without a code.
    """
    free = profile.rules.form.has_free_blanks
    rows = {
        number: f"{number} {line.text}" if free else canonical_line(line, profile.rules)
        for number, line in listing.numbered().items()
    }
    if not rows:
        raise ListingError(no_numbered_line("put on a page"), kept="Nothing was written.")
    codes = codes_of(listing, profile.rules)
    ledger = measure(listing, profile.rules)
    return PublishedProgram(profile, details, rows, codes, ledger, tags, sample)


def field(name: str, value: str) -> str:
    """Return plain text as HTML, marked as a detail for reading back.

    Text that is written from right to left does not change the order of the text around it.
    """
    return f'<span dir="auto" data-field="{name}">{escaped(value)}</span>'


def about(program: PublishedProgram, *, with_board: bool = True) -> str:
    """Return what a page says about a program above its listing, without its title, as HTML."""
    details = program.details
    parts = [
        f"{words} {field(name, getattr(details, name))}"
        for words, name in (("program", "name"), ("by", "author"), ("licence", "licence"))
        if getattr(details, name)
    ]
    byline = f'<p class="byline">{", ".join(parts)}</p>\n' if parts else ""
    notes = f'<div data-field="notes">{paragraphs(details.notes)}</div>\n' if details.notes else ""
    return f"{byline}{facts(_facts(program)[0 if with_board else 1 :])}{notes}"


def _facts(program: PublishedProgram) -> list[tuple[str, str]]:
    profile, ledger = program.profile, program.ledger
    size = f"{ledger.total:,} bytes"
    if ledger.limit:
        rest = f"{ledger.over:,} over" if ledger.over else f"{ledger.free:,} free"
        size = f"{ledger.total:,} of {ledger.limit:,} bytes, {rest}"
    board = escaped(profile.title or profile.name)
    return [
        ("for", f"{board} (profile {field('profile', profile.name)})"),
        ("size", size),
        ("lines", f"{len(program.rows):,}"),
    ]


def listing_with_codes(program: PublishedProgram) -> str:
    """Return the listing as HTML, in groups of lines with their codes below."""
    form, language = program.profile.rules.form, program.profile.rules.language
    numbers = list(program.rows)
    whole = (
        f'<p class="codes">all lines together <span class="whole"><i>{WHOLE}</i> '
        f'<b data-field="whole">{program.codes.whole}</b></span></p>\n'
    )
    groups: list[str] = []
    for at in range(0, len(numbers), _TOGETHER):
        some = numbers[at : at + _TOGETHER]
        lines = "".join(
            f'<code class="line">{_marked(program.rows[number], language)}</code>\n'
            for number in some
        )
        codes = "\n".join(
            f'<span class="code"><i>{number}</i> <b>{program.codes.lines[number]}</b></span>'
            for number in some
        )
        after = whole if at + _TOGETHER >= len(numbers) else ""  # never alone on a page
        groups.append(f'<div class="lines">\n{lines}<p class="codes">{codes}</p>\n{after}</div>\n')
    coded = "without-blanks" if form.has_free_blanks else "as-printed"
    return f'<div class="listing" data-coded="{coded}">\n{"".join(groups)}</div>\n'


def _unbroken(word: str) -> str:
    """Return a word as HTML that is broken across rows only if no row has room for it."""
    return f'<span class="word">{escaped(word)}</span>'


def _marked(row: str, language: Language) -> str:
    """Return a line as HTML, with dots under blanks that are easily overlooked.

    These are at the start or end of quoted text, or at the end of the line, or several in a row.
    A long line may be broken at a blank. All its blanks have dots, since one at the end of a row
    would be invisible; it is not broken after a minus sign, which would look like a hyphen.
    """
    breaks, pieces = len(row) > _MAY_BREAK, list[str]()
    quoted = [span for span in scan(row, language) if span.kind == "quoted"]
    edges = {len(row) - 1, *(at for q in quoted for at in (q.start + 1, q.end - 2))}
    for place, match in enumerate(_PIECES.finditer(row)):
        piece = match[0]
        if piece[0] != " ":
            pieces.append(_unbroken(piece) if breaks else escaped(piece))
        elif len(piece) > 1 or (breaks and place > 1) or match.start() in edges:
            pieces.append(f'<span class="gap">{piece}</span>')
        else:
            pieces.append(piece)
    return "".join(pieces)


def steps(profile: Profile, name: str = "") -> str:
    """Return how a program is typed and checked on this kind of board, as HTML.

    name: of the program, whose page this is; "" for steps for any program.
    """
    items = "".join(f"<li>{step}</li>" for step in _steps(profile, name))
    return (
        '<section class="how">\n<h2>Type it, then check it</h2>\n'
        f"<ol>\n{items}\n</ol>\n</section>\n"
    )


def _steps(profile: Profile, name: str) -> Iterator[str]:
    commands = profile.commands
    if commands.clear:
        yield (
            "Save what the board holds if you still need it, then type "
            f"<code>{escaped(commands.clear)}</code> to empty its memory."
        )
    yield (
        "Type each line as it is printed, and end it with Return; an indented row continues the "
        "line above it. The rows of boxes are codes and not part of the program. Dots under a "
        "line stand for blanks: type one for each. Do not confuse "
        "<code>0</code> and <code>O</code>, <code>1</code> and <code>I</code>."
    )
    yield (
        "Below every few lines are their codes, each in a box after the number of its line. "
        + _with_computer(name)
    )
    free = profile.rules.form.has_free_blanks
    blanks = ", blanks outside quotation marks left out" if free else ""
    yield (
        f"By hand, for one line as <code>{escaped(commands.list or 'LIST')}</code> shows it, from "
        f"its number on{blanks}: begin with C = 0; for each character put the remainder of "
        "(C × 100 + its ASCII code − 31) ÷ 97 in place of C. The line's code is 98 less the "
        f"remainder of (C × 100) ÷ 97. The code for all lines, {WHOLE}, is their "
        f"{_unbroken('CRC-16/XMODEM')}, each line with a line feed after it."
    )
    yield f"When the codes agree, type <code>{escaped(commands.run or 'RUN')}</code>."


def _with_computer(name: str) -> str:
    """Return how hostlink checks a program, by the file of its own page or by typed codes.

    It names both the command line and the app, unlike `Ways`, which address a user of one of them:
    the reader of a page may have either, or only paper.
    """
    typed = "type the codes from the boxes into a file and name it after"
    shown, sheet, codes = escaped(name or "PROGRAM"), _unbroken("--sheet"), _unbroken("--codes")
    by_file = (
        f"<code>hostlink compare {shown} {sheet}</code> and the name of this file; it tells which "
        f"lines are wrong. From paper, {typed} <code>{codes}</code>."
        if name
        else f"{typed} <code>hostlink compare {shown} {codes}</code>; it tells which lines are "
        "wrong."
    )
    return (
        f"With a computer: <code>hostlink save {shown}</code>, then {by_file} In the app, "
        "“Check codes” does the same."
    )
