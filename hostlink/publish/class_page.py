"""Make the page of a class: its table, to be printed at the end of an evening."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.publish.page import escaped, page

STYLE = """
body { max-width: 297mm; }
table.class { width: 100%; font-size: 9pt; }
.class th { text-align: left; font-weight: normal; color: var(--faint); }
.class th, .class td { padding: 1mm 3mm 1mm 0; vertical-align: top; overflow-wrap: anywhere;
  min-width: 6.5em; border-bottom: 0.2mm solid var(--rule); }
.class tr { break-inside: avoid; }
@media print { @page { size: A4 landscape; } }
@media screen and (max-width: 640px) {
  .class thead { display: none; }
  .class tr { display: block; padding: 2mm 0; border-bottom: 0.2mm solid var(--rule); }
  .class td { display: flex; padding: 0.5mm 0; border: 0; }
  .class td::before { content: attr(data-head); flex: none; width: 8em; color: var(--faint); }
}
"""


def class_page(title: str, when: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return the page of a class. when: the day and time. heads, rows: the table, plain text."""
    head = "".join(f"<th>{escaped(each)}</th>" for each in heads)
    body = "".join(
        "<tr>"
        + "".join(
            f'<td data-head="{escaped(head)}"><span>{escaped(cell)}</span></td>'
            for head, cell in zip(heads, row, strict=True)
        )
        + "</tr>\n"
        for row in rows
    )
    table = (
        f'<table class="class">\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}</tbody></table>\n'
    )
    said = f'<h1>{escaped(title)}</h1>\n<p class="byline">{escaped(when)}</p>\n'
    return page(title, said + table, kind="class", style=STYLE)
