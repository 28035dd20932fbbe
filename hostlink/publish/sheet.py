"""Make a listing sheet: a page to type a program from, with codes that prove the typing right."""

from __future__ import annotations

from hostlink.publish.page import escaped, page
from hostlink.publish.program import STYLE, PublishedProgram, about, listing_with_codes, steps
from hostlink.publish.qr import drawing

SHEET_STYLE = f"""{STYLE}
figure {{ break-inside: avoid; margin: 5mm 0 0; display: flex; flex-wrap: wrap; align-items: center;
  gap: 6mm; }}
figure div {{ max-width: 100%; }}
figcaption {{ max-width: 60mm; color: var(--faint); }}
"""


def sheet(program: PublishedProgram) -> str:
    """Return the sheet of a program as an HTML page."""
    body = f"{sheet_body(program)}{_figure(program.text)}"
    return page(program.title, body, kind="sheet", style=SHEET_STYLE)


def sheet_body(program: PublishedProgram, *, above: str = "", after: str = "") -> str:
    """Return the content of a sheet as HTML. above, after: HTML above and below the listing."""
    return (
        f'<h1 dir="auto" data-field="title">{escaped(program.title)}</h1>\n{about(program)}'
        f"<h2>Listing</h2>\n{above}{listing_with_codes(program)}{after}"
        f"{steps(program.profile, program.details.name)}"
    )


def _figure(content: str) -> str:
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
