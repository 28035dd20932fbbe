"""Make a booklet to print: contents, programs with their codes, an index of words and of programs.

A page gets its number only when it is printed, and no browser that was tried (Chromium 156) has
`target-counter` of CSS Generated Content for Paged Media, which would show the page of another
part. So contents and index refer to programs by their numbers; each program begins a page, and its
number stands in the top corner of each of its pages.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby

from hostlink.listing import Listing
from hostlink.listing.adapting.forms import common_language
from hostlink.listing.rules import Language
from hostlink.listing.shrinking.unreached import unknown_word
from hostlink.listing.tokens import scan
from hostlink.publish.page import escaped, facts, page
from hostlink.publish.program import STYLE, PublishedProgram, about, listing_with_codes, steps
from hostlink.words import natural, plural

_LONGEST_HEAD = 40  # characters

BOOKLET_STYLE = f"""{STYLE}
.contents, .index {{ columns: 50mm; column-gap: 8mm; margin: 0; }}
.contents {{ column-width: 75mm; list-style: none; padding: 0; }}
.contents a {{ display: flex; color: inherit; text-decoration: none; }}
.contents .number {{ min-width: 3ch; text-align: right; }}
.contents .size {{ margin-left: auto; padding-left: 3mm; white-space: nowrap; }}
.program {{ break-before: page; }}
.program h2 {{ font-size: 17pt; font-weight: normal; line-height: 1.2; margin: 0 0 1mm; }}
.number {{ color: var(--faint); margin-right: 1.5ch; }}
.index div {{ break-inside: avoid; padding-left: 4mm; text-indent: -4mm; }}
.index dt, .index dd {{ display: inline; }}
.index dt {{ color: inherit; margin-right: 1.5ch; }}
.index dd {{ color: var(--faint); }}
.index dd span {{ white-space: nowrap; }}
.after {{ break-before: page; }}
@media screen {{ .program, .after {{ margin-top: 16mm; }} }}
@media print {{ @page {{
  font: 9pt ui-serif, serif; margin: 18mm 16mm;
  @bottom-right {{ content: "page " counter(page) " of " counter(pages); }}
}} }}
"""


def booklet(
    programs: Sequence[PublishedProgram], title: str, known: Collection[Language] = ()
) -> str:
    """Return programs for one kind of board as a booklet, an HTML page.

    title: plain text. known: languages whose words the index lists too for a program that has a
    word unknown to its board.
    """
    first = programs[0].profile
    board = f"{escaped(first.title or first.name)} (profile {escaped(first.name)})"
    lines = sum(len(each.rows) for each in programs)
    told = [("for", board), ("programs", f"{len(programs):,}"), ("lines", f"{lines:,}")]
    parts = "".join(
        f'<section class="program" id="program-{at}">\n'
        f'<h2><span class="number">{at}</span><bdi>{escaped(each.title)}</bdi></h2>\n'
        f"{about(each, with_board=False)}{listing_with_codes(each)}</section>\n"
        for at, each in enumerate(programs, 1)
    )
    body = (
        f'<h1 dir="auto">{escaped(title)}</h1>\n{facts(told)}'
        f"<h2>Contents</h2>\n{_contents(programs)}"
        f'{steps(first)}{parts}<div class="after">\n<h2>Programs by name</h2>\n'
        f"{_index([{each.details.name or each.title} for each in programs])}"
        "<h2>Words and the programs that use them</h2>\n"
        f"{_index([_words(each, known) for each in programs])}</div>\n"
    )
    style = BOOKLET_STYLE + "".join(_head(at, each) for at, each in enumerate(programs, 1))
    return page(title, body, kind="booklet", style=style)


def _contents(programs: Sequence[PublishedProgram]) -> str:
    items = "".join(
        f'<li><a href="#program-{at}"><span class="number">{at}</span>'
        f"<bdi>{escaped(each.title)}</bdi>"
        f'<span class="size">{plural(each.ledger.total, "byte")}</span></a></li>\n'
        for at, each in enumerate(programs, 1)
    )
    return f'<ol class="contents">\n{items}</ol>\n'


def _head(number: int, program: PublishedProgram) -> str:
    """Return the style rules that put a program's name and number at the top of its pages."""
    name = _css_string((program.details.name or program.title)[:_LONGEST_HEAD])
    return (
        f"#program-{number} {{ page: program-{number}; }}\n@page program-{number} {{ "
        f'@top-left {{ content: {name}; }} @top-right {{ content: "{number}"; }} }}\n'
    )


def _css_string(value: str) -> str:
    """Return text as a string of a style sheet, whose escapes also hide it from HTML."""
    shown = "".join(
        char if char.isascii() and char.isalnum() else f"\\{ord(char):x} "
        for char in value
        if char.isprintable()
    )
    return f'"{shown}"'


def _index(had: Sequence[Collection[str]]) -> str:
    """Return an index that leads to programs by number, as HTML. had: each program's entries."""
    places: dict[str, list[int]] = {}
    for number, each in enumerate(had, 1):
        for what in each:
            places.setdefault(what, []).append(number)
    rows = "".join(
        f"<div><dt><bdi>{escaped(what)}</bdi></dt>"
        f"<dd>{'all' if len(places[what]) == len(had) > 1 else _spans(places[what])}</dd></div>\n"
        for what in sorted(places, key=natural)
    )
    return f'<dl class="index">\n{rows}</dl>\n'


def _spans(numbers: Sequence[int]) -> str:
    """Return ascending numbers as HTML, three or more in a row as a range: 1, 4–7."""
    told: list[str] = []
    for _, some in groupby(enumerate(numbers), lambda each: each[1] - each[0]):
        span = [str(number) for _, number in some]
        told += [f"<span>{span[0]}\u2013{span[-1]}</span>"] if len(span) > 2 else span
    return ", ".join(told)


def _words(program: PublishedProgram, known: Collection[Language]) -> set[str]:
    """Return the words of the BASIC in a program; the items of DATA are not words."""
    rules, listing = program.profile.rules, Listing.from_text(program.text)
    language = rules.language
    if unknown_word(listing, rules) is not None:  # STOP, read as S and TO
        language = common_language((language, *known))
    words: set[str] = set()
    for line in listing:
        for span in scan(line.text, language):
            words.add(span.word)
            if span.word == "DATA":
                break
    return words - {""}
