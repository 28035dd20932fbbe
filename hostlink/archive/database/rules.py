"""Triggers that protect the archive from any tool that writes to it, and keep the word indexes.

1. Revisions, listings, rescues, notes, backups, runs, firmware images and archives are never
   changed.
2. Programs, boards, events and writes of firmware change only in the columns that tables.py calls
   changing, so never in identity, name or start time. Events and writes that have ended never
   change.
3. None of these is ever deleted. INSERT OR REPLACE and UPDATE OR REPLACE delete without a delete
   trigger if a tool leaves recursive_triggers off, so a key that is taken is refused before the
   write.
4. The word indexes follow what they index.

Tags and host copies may come and go, and labels and titles may change; there only the checksum of
the row shows that another tool wrote it.
"""

from __future__ import annotations

from collections.abc import Iterator

from hostlink.archive.database.tables import TABLES
from hostlink.archive.database.views import VIEWS

_KEYS: dict[str, tuple[tuple[str, ...], ...]] = {
    "archives": (("uuid",),),
    "boards": (("uuid",), ("label_key",)),
    "listings": (),
    "programs": (("uuid",), ("name_key",)),
    "revisions": (("uuid",), ("program_id", "archive_id", "number")),
    "rescues": (("uuid",), ("archive_id", "number")),
    "notes": (("uuid",),),
    "firmware_images": (("uuid",), ("sha256",)),
    "backups": (("uuid",), ("archive_id", "number")),
    "backup_items": (("uuid",), ("backup_id", "kind", "slot")),
    "runs": (("uuid",), ("archive_id", "number")),
    "firmware_writes": (("uuid",),),
    "events": (("uuid",),),
}
"""Tables of which no row may be lost, with their keys besides id."""

_SAME_BOARD = (
    "coalesce(usb_vid, -1) = coalesce(NEW.usb_vid, -1) "
    "AND coalesce(usb_pid, -1) = coalesce(NEW.usb_pid, -1) AND usb_serial = NEW.usb_serial "
    "AND CASE WHEN usb_serial = '' THEN location ELSE '' END "
    "= CASE WHEN NEW.usb_serial = '' THEN NEW.location ELSE '' END"
)

_ENDING = ("events", "firmware_writes")
"""Tables of which a row is changed until it has ended."""


def _rules() -> Iterator[str]:
    for table, keys in _KEYS.items():
        said = table.replace("_", " ")
        same = [
            " AND ".join(f"{column} = NEW.{column}" for column in columns)
            for columns in (("id",), *keys)
        ]
        if table == "boards":
            same.append(_SAME_BOARD)
        taken = " OR ".join(f"EXISTS (SELECT 1 FROM {table} WHERE {key})" for key in same)
        yield (
            f"CREATE TRIGGER {table}_never_replace BEFORE INSERT ON {table} WHEN {taken} "
            f"BEGIN SELECT RAISE(ABORT, '{said} are never replaced'); END;"
        )
        yield (
            f"CREATE TRIGGER {table}_never_delete BEFORE DELETE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{said} are never deleted'); END;"
        )
        when, what = "", ""
        if TABLES[table].changing:
            ended = ["OLD.ended_at IS NOT NULL"] if table in _ENDING else []
            fixed = [f"NEW.{name} IS NOT OLD.{name}" for name in ("id", *TABLES[table].fixed)]
            when, what = f"WHEN {' OR '.join(ended + fixed)} ", " in this"
        yield (
            f"CREATE TRIGGER {table}_never_change BEFORE UPDATE ON {table} {when}"
            f"BEGIN SELECT RAISE(ABORT, '{said} are never changed{what}'); END;"
        )
    # The only rows with a key that may change.
    others = " OR ".join(
        f"EXISTS (SELECT 1 FROM boards WHERE id <> OLD.id AND {key})"
        for key in ("label_key = NEW.label_key", _SAME_BOARD)
    )
    yield (
        f"CREATE TRIGGER boards_never_displace BEFORE UPDATE ON boards WHEN {others} "
        "BEGIN SELECT RAISE(ABORT, 'boards are never replaced'); END;"
    )


_WORDS = """
CREATE VIEW program_words_due AS
  -- what program_words must hold
  SELECT
    id, name, title,
    coalesce((SELECT group_concat(text, char(10)) FROM
      (SELECT text FROM notes WHERE program_id = programs.id ORDER BY id)), '') AS notes,
    coalesce((SELECT group_concat(tag, ' ') FROM
      (SELECT tag FROM tags WHERE program_id = programs.id ORDER BY tag_key)), '') AS tags
  FROM programs;
CREATE TRIGGER listings_add_words AFTER INSERT ON listings BEGIN
  INSERT INTO listing_words (rowid, text, spaced_words)
  VALUES (NEW.id, NEW.text, NEW.spaced_words);
END;
CREATE TRIGGER runs_add_words AFTER INSERT ON runs BEGIN
  INSERT INTO run_words (rowid, printed) VALUES (NEW.id, NEW.printed);
END;
CREATE TRIGGER programs_add_words AFTER INSERT ON programs BEGIN
  INSERT INTO program_words (rowid, name, title, notes, tags)
  SELECT id, name, title, notes, tags FROM program_words_due WHERE id = NEW.id;
END;
"""

_WORD_CHANGES = (
    ("programs_change_words", "UPDATE OF name, title ON programs", "NEW.id"),
    ("notes_add_words", "INSERT ON notes", "NEW.program_id"),
    ("tags_add_words", "INSERT ON tags", "NEW.program_id"),
    ("tags_drop_words", "DELETE ON tags", "OLD.program_id"),
)
"""Triggers that renew a program's words after each change of what they come from."""


def _word_triggers() -> Iterator[str]:
    for name, change, program in _WORD_CHANGES:
        yield (
            f"CREATE TRIGGER {name} AFTER {change} BEGIN "
            "UPDATE program_words SET (name, title, notes, tags) = "
            f"(SELECT name, title, notes, tags FROM program_words_due WHERE id = {program}) "
            f"WHERE rowid = {program}; END;"
        )


RULES = "\n".join((*_rules(), _WORDS, *_word_triggers(), VIEWS))
"""All triggers and views, as they are in the latest schema."""
