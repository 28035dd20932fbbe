"""Make the common parts of pages: one HTML file with its style, escaped text, nothing external.

A content security policy tells the browser that the file holds no script but hostlink's own, named
by its SHA-256 (Content Security Policy Level 3, section 2.3.1), so that a listing or a title can
never become more than text.
"""

from __future__ import annotations

import base64
import hashlib
import html

# Widths in millimetres, type sizes in points, since the page is meant for paper.
STYLE = """
:root { color-scheme: light; --ink: #1b1b1b; --faint: #6a6a6a; --rule: #c9c4b8; --paper: #fffdf8; }
* { box-sizing: border-box; }
html { background: #eceae4; }
body { margin: 2rem auto; padding: 14mm 16mm; max-width: 210mm; background: var(--paper);
  color: var(--ink); font: 10.5pt/1.45 ui-serif, serif; overflow-wrap: anywhere;
  box-shadow: 0 1px 4px #0003; }
h1 { font-size: 20pt; line-height: 1.15; margin: 0 0 1mm; font-weight: normal; }
h2 { font-size: 11pt; margin: 6mm 0 1.5mm; break-after: avoid; }
p { margin: 0 0 2mm; max-width: 150mm; }
.byline { color: var(--faint); margin-bottom: 4mm; }
code, kbd, .words { font-family: ui-monospace, monospace; }
code, kbd { font-size: 0.88em; }
dl.facts { display: flex; flex-wrap: wrap; gap: 1mm 8mm; margin: 0 0 4mm; padding: 2mm 0;
  border-block: 0.3mm solid var(--ink); }
dl.facts div { display: flex; gap: 2mm; }
dt { color: var(--faint); }
dd { margin: 0; }
ol, ul { margin: 0; padding-left: 6mm; }
li { margin-bottom: 1mm; max-width: 150mm; break-inside: avoid; }
table { border-collapse: collapse; }
@media print {
  @page { margin: 14mm 16mm; }
  html, body { background: none; }
  body { margin: 0; padding: 0; max-width: none; box-shadow: none; }
}
@media screen and (max-width: 640px) { body { margin: 0; padding: 5mm; } }
"""

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def escaped(value: str) -> str:
    """Return text escaped for HTML and its attributes; control characters become ?."""
    shown = "".join(char if char.isprintable() or char == "\n" else "?" for char in value)
    return html.escape(shown)


def page(title: str, body: str, *, kind: str, style: str = "", script: str = "") -> str:
    """Return a whole page. title: plain text. body: HTML.

    kind: "sheet", "card" and so on, for reading back. style: CSS rules besides those of all pages.
    script: a constant of hostlink, which must not depend on what is published.
    """
    policy, end = _POLICY, ""
    if script:
        digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        policy, end = f"{_POLICY}; script-src 'sha256-{digest}'", f"<script>{script}</script>\n"
    return (
        "<!DOCTYPE html>\n"
        '<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f'<meta name="hostlink-page" content="{escaped(kind)}">\n'
        f"<title>{escaped(title)}</title>\n<style>{STYLE}{style}</style>\n</head>\n"
        f"<body>\n{body}{end}</body>\n</html>\n"
    )


def facts(pairs: list[tuple[str, str]]) -> str:
    """Return a row of short facts as HTML. pairs: names as plain text, values as HTML."""
    rows = "".join(f"<div><dt>{escaped(name)}</dt><dd>{value}</dd></div>" for name, value in pairs)
    return f'<dl class="facts">{rows}</dl>\n'


def paragraphs(value: str) -> str:
    """Return plain text as HTML paragraphs, separated at its empty lines."""
    parts = [part for part in value.replace("\r\n", "\n").split("\n\n") if part.strip()]
    return "".join(f"<p>{escaped(part.strip())}</p>\n" for part in parts)


def key_name(key: bytes) -> str:
    """Return the name of a key: Ctrl+C for 03 hex, Backspace, Escape, or the character itself."""
    names = {8: "Backspace", 27: "Escape", 32: "the blank", 127: "Delete (7F hex)"}
    parts = [
        names.get(byte) or (f"Ctrl+{chr(byte + 64)}" if byte < 32 else chr(byte)) for byte in key
    ]
    return " then ".join(parts)
