"""Make a web site of programs: a page for each and one of contents, which need no server.

Each page is one file by itself. A script adds a button that copies the listing, or a field that
searches the contents; without scripts only these are missing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import quote

from hostlink.publish.page import escaped, facts, page
from hostlink.publish.program import STYLE, PublishedProgram, SampleRun
from hostlink.publish.sheet import sheet_body
from hostlink.words import natural, plural, unaccented

CONTENTS = "index.html"
CONTENTS_KIND, PROGRAM_KIND = "contents", "program"
"""The kinds of the pages; a program's page is read back as a listing sheet."""
_KEYS = """
button, input { font: inherit; color: inherit; background: none; border: 0.3mm solid var(--ink);
  border-radius: 1.2mm; padding: 1mm 3mm; }
button { cursor: pointer; }
input { width: 60mm; max-width: 100%; }
button:focus-visible, input:focus-visible, a:focus-visible { outline: 0.6mm solid var(--ink);
  outline-offset: 0.6mm; }
a { color: inherit; }
.tool { margin: 2mm 0; }
.tool output { margin-left: 2mm; color: var(--faint); }
@media print { .tool, .way { display: none; } }
"""
PAGE_STYLE = f"""{STYLE}{_KEYS}
.printed {{ font: 9.5pt/1.4 ui-monospace, monospace; white-space: pre-wrap; margin: 1mm 0;
  border-left: 0.6mm solid var(--rule); padding-left: 3mm; }}
"""
CONTENTS_STYLE = f"""{_KEYS}
.programs {{ list-style: none; padding: 0; }}
.programs li {{ margin-bottom: 2.5mm; }}
.programs small {{ display: block; color: var(--faint); font-size: 0.88em; }}
[hidden] {{ display: none; }}
"""

# Only the listing is copied, without codes and without blanks at the ends of rows.
COPY = """
const tool = document.getElementById("copy"), told = tool.querySelector("output");
const rows = [...document.querySelectorAll(".listing .line")].map((line) => line.textContent);
const listing = rows.map((row) => row + "\\n").join("");
function byEvent() {
  const give = (event) => {
    event.clipboardData.setData("text/plain", listing);
    event.preventDefault();
  };
  document.addEventListener("copy", give, { once: true });
  return document.execCommand("copy");
}
tool.hidden = false;
tool.querySelector("button").addEventListener("click", async () => {
  let done = true;
  try { await navigator.clipboard.writeText(listing); } catch { done = byEvent(); }
  told.textContent = done ? `${rows.length} lines copied.` : "Select the lines and copy them.";
});
"""
SEARCH = """
const tool = document.getElementById("search"), told = tool.querySelector("output");
const field = tool.querySelector("input");
const items = [...document.querySelectorAll(".programs li")];
function plain(text) {
  return text.normalize("NFKD").replace(/\\p{M}/gu, "").toLowerCase().replaceAll("ß", "ss");
}
function search() {
  const words = plain(field.value).split(/\\s+/).filter(Boolean);
  let found = 0;
  for (const item of items) {
    item.hidden = !words.every((word) => item.dataset.words.includes(word));
    found += !item.hidden;
  }
  told.textContent = words.length ? `${found} of ${items.length} programs` : "";
}
tool.hidden = false;
field.addEventListener("input", search);
search();
"""


def page_of_program(program: PublishedProgram) -> str:
    """Return the page of a program; it reads back as a listing sheet does."""
    copy = (
        '<p class="tool" id="copy" hidden><button type="button">Copy the listing</button>'
        '<output aria-live="polite"></output></p>\n'
    )
    body = (
        f'<p class="way"><a href="{CONTENTS}">All programs</a></p>\n'
        f"{sheet_body(program, above=copy, after=_sample(program.sample))}"
    )
    return page(program.title, body, kind=PROGRAM_KIND, style=PAGE_STYLE, script=COPY)


def _sample(sample: SampleRun | None) -> str:
    """Return what a program prints, as HTML."""
    if sample is None:
        return ""
    answers = f"<p>Answers typed: {escaped(', '.join(sample.typed))}</p>\n" if sample.typed else ""
    rest = f"<p>{plural(sample.left_out, 'more row')}.</p>\n" if sample.left_out else ""
    rows = "\n".join(sample.rows)
    return f'<h2>What it prints</h2>\n{answers}<pre class="printed">\n{escaped(rows)}</pre>\n{rest}'


def contents_page(programs: Mapping[str, PublishedProgram], title: str) -> str:
    """Return the page of contents. programs: by the file of each page. title: plain text."""
    named = {each.profile.title or each.profile.name for each in programs.values()}
    boards = sorted(named, key=natural)
    body = (
        f'<h1 dir="auto">{escaped(title)}</h1>\n'
        f"{facts([('for', escaped(', '.join(boards))), ('programs', f'{len(programs):,}')])}"
        '<p class="tool" id="search" hidden><label>Search <input type="search"></label>'
        '<output aria-live="polite"></output></p>\n'
        f'<ul class="programs">\n{"".join(_item(*each) for each in programs.items())}</ul>\n'
    )
    return page(title, body, kind=CONTENTS_KIND, style=CONTENTS_STYLE, script=SEARCH)


def _item(file: str, program: PublishedProgram) -> str:
    details = program.details
    name = details.name if details.title else ""  # without a title the name is the heading
    told = [f"<bdi>{escaped(each)}</bdi>" for each in (name, *program.tags) if each]
    told.append(plural(program.ledger.total, "byte"))
    return (
        f'<li data-words="{escaped(_searched(program))}"><a href="{quote(file)}">'
        f"<bdi>{escaped(program.title)}</bdi></a> <small>{', '.join(told)}</small></li>\n"
    )


def _searched(program: PublishedProgram) -> str:
    """Return the text to search: what is said about a program, and its listing, unaccented."""
    details = program.details
    said: Sequence[str] = (details.name, details.title, details.author, details.notes)
    text = " ".join((*said, *program.tags, program.text))
    return " ".join(unaccented(text).lower().split())
