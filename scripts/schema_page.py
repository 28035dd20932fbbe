"""Write the page about the archive's tables and views: `schema_page.py [--write | --check]`.

It is made from the schema itself: a new archive is opened, and what SQLite says of each table, its
columns, its references and the comments in its SQL becomes Markdown on standard output. --write
puts it between the two marks in DEVELOPERS.md; --check tells with status 1 if it is not that.
Run it with the project's Python: `scripts/start.py --python scripts/schema_page.py`.
"""

from __future__ import annotations

import argparse
import re
import sqlite3
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from hostlink.archive import Archive
from hostlink.archive.database.tables import TABLES

PAGE = Path(__file__).resolve().parent.parent / "DEVELOPERS.md"
BEGIN, END = "<!-- schema: made by scripts/schema_page.py -->", "<!-- end of schema -->"
_ABOUT_TABLES = """\
**Tables.** `→` names the table that a column refers to. Each row also has a `checksum`, by which
damage is known: CRC-32 (RFC 1952, section 8) over the table's name and each value in the order of
the table, joined by a byte 1F. A value is a letter for its type, then text in UTF-8 (`t`), a number
in decimal (`i`), bytes (`b`), or nothing for NULL (`n`). Left out are `text`, `raw` and `canonical`
of listings and `data` of images, which SHA-256 proves. `unproven` says what speaks against a
listing that a board gave; it is empty where nothing does."""
_COLUMN = re.compile(r"^  (\w+) [A-Z].*?(?:-- (.*))?$")
_ABOUT = re.compile(r"^  -- (.*)$")


def page(conn: sqlite3.Connection) -> str:
    """The page for one archive's schema, as Markdown."""
    number = conn.execute("PRAGMA user_version").fetchone()[0]
    mark = conn.execute("PRAGMA application_id").fetchone()[0]
    rows = [
        f"An archive is one SQLite file: `application_id` {mark} (the bytes `hlnk`),",
        f"`user_version` {number}. Times are UTC as text (`2031-09-03T18:30:00.000Z`).",
        "Every table is STRICT; what is kept is never changed or deleted, which triggers hold.",
        "Rows of tags and host_copies come and go, and these columns change, of events and",
        "firmware_writes only until they have ended:",
        "",
        *_changing(),
        "",
        "**Views, for any tool.** Read these; they name things as people do.",
        "",
        *_views(conn),
        "",
        *_ABOUT_TABLES.split("\n"),
        "",
        *_tables(conn),
    ]
    return "\n".join(rows).rstrip() + "\n"


def _changing() -> Iterator[str]:
    """What may change anyway, table by table."""
    for table in TABLES.values():
        if table.changing:
            yield f"- {table.name}: `{'`, `'.join(table.changing)}`"


def _views(conn: sqlite3.Connection) -> Iterator[str]:
    for name, sql in _of_type(conn, "view"):
        if name.endswith("_due"):
            continue  # what an index must hold; of no use to a reader
        about = _about(sql.split("\n"))
        columns = [row[1] for row in conn.execute(f"PRAGMA table_info({name})")]
        yield f"- `{name}`{': ' + about if about else ''} ({', '.join(columns)})"


def _tables(conn: sqlite3.Connection) -> Iterator[str]:
    for name, sql in _of_type(conn, "table"):
        if " STRICT" not in sql:
            continue  # of an index, or of the migrations
        lines = sql.split("\n")
        about = _about(lines)
        says = {match[1]: match[2] for row in lines if (match := _COLUMN.match(row)) and match[2]}
        refers = {row[3]: row[2] for row in conn.execute(f"PRAGMA foreign_key_list({name})")}
        columns = []
        for _, column, _, _, _, _ in conn.execute(f"PRAGMA table_info({name})"):
            if column == "checksum":
                continue
            target = f" → {refers[column]}" if column in refers else ""
            said = f" ({says[column]})" if column in says else ""
            columns.append(f"`{column}`{target}{said}")
        yield f"- **{name}**: {about + ' ' if about else ''}{', '.join(columns)}"


def _about(lines: Sequence[str]) -> str:
    """The comments on rows of their own: each block of them a sentence."""
    blocks: list[list[str]] = [[]]
    for line in lines:
        if match := _ABOUT.match(line):
            blocks[-1].append(match[1])
        elif blocks[-1]:
            blocks.append([])
    sentences = [" ".join(block).rstrip(".") + "." for block in blocks if block]
    return " ".join(text[0].upper() + text[1:] for text in sentences)


def _of_type(conn: sqlite3.Connection, kind: str) -> list[tuple[str, str]]:
    found = conn.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = ? AND name NOT LIKE 'sqlite_%' "
        "AND sql NOT LIKE 'CREATE VIRTUAL%' ORDER BY rowid",
        (kind,),
    )
    return [(name, sql) for name, sql in found]


def of_new_archive() -> str:
    """The page for a new archive."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "archive.sqlite3"
        Archive.open(path).close()
        conn = sqlite3.connect(path)
        try:
            return page(conn)
        finally:
            conn.close()


def put_into(text: str, made: str) -> str:
    """A document with the page between its two marks. Raises ValueError where they are not."""
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"{PAGE.name} lacks the marks {BEGIN} and {END}")
    return f"{before}{BEGIN}\n\n{made}\n{END}{after}"


def main(arguments: Sequence[str] | None = None, target: Path = PAGE) -> int:
    parser = argparse.ArgumentParser(prog="schema_page.py", description=(__doc__ or "")[:64])
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--write", action="store_true", help=f"put it into {PAGE.name}")
    what.add_argument("--check", action="store_true", help=f"status 1 if {PAGE.name} differs")
    options = parser.parse_args(arguments)
    made = of_new_archive()
    if not (options.write or options.check):
        print(made, end="")
        return 0
    held = target.read_text(encoding="utf-8")
    due = put_into(held, made)
    if options.write:
        target.write_text(due, encoding="utf-8")
    elif held != due:
        print(f"{PAGE.name} does not tell the schema as it is: run schema_page.py --write")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
