"""The tables of the archive, schema by schema.

The comments of the SQL are stored in the file too, for anyone who opens it with another tool in
years to come. Tables are STRICT and only ever added to. The rules (triggers) and views are in
rules.py and views.py; each change of the schema makes them again.
"""

from __future__ import annotations

from hostlink.archive.database.tables import TABLES

TABLES_1 = """
CREATE TABLE archives (
  -- id 1 is this archive; the others are archives that something was merged from
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  made_at TEXT NOT NULL,
  made_by TEXT NOT NULL
) STRICT;

CREATE TABLE boards (
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  label TEXT NOT NULL DEFAULT '',
  label_key TEXT UNIQUE, -- the label folded for comparison, NULL without one
  usb_vid INTEGER,
  usb_pid INTEGER,
  usb_serial TEXT NOT NULL DEFAULT '',
  location TEXT NOT NULL DEFAULT '',
  profile TEXT NOT NULL DEFAULT '',
  restarts_on_open INTEGER CHECK (restarts_on_open IN (0, 1)),
  first_seen TEXT NOT NULL,
  last_seen TEXT NOT NULL,
  role TEXT NOT NULL DEFAULT '' -- what it is in its machine: computer, display, or not known
) STRICT;
CREATE UNIQUE INDEX boards_by_identity ON boards (
  coalesce(usb_vid, -1), coalesce(usb_pid, -1), usb_serial,
  CASE WHEN usb_serial = '' THEN location ELSE '' END
);

CREATE TABLE listings (
  -- each listing once; a row is the exact bytes together with how one profile reads them
  id INTEGER PRIMARY KEY,
  sha256 BLOB NOT NULL CHECK (length(sha256) = 32), -- of the exact bytes
  canonical_sha256 BLOB NOT NULL CHECK (length(canonical_sha256) = 32), -- of UTF-8
  profile TEXT NOT NULL,
  charset TEXT NOT NULL, -- codec between the exact bytes and the text
  text TEXT NOT NULL,
  raw BLOB, -- the exact bytes, NULL where text in charset gives them (packed: see below)
  canonical BLOB, -- canonical text in UTF-8, NULL where it is the text
  spaced_words TEXT NOT NULL, -- words that only show when run-together keywords are parted
  line_count INTEGER NOT NULL
  -- raw and canonical are zlib streams (RFC 1950); their preset dictionary is the text in UTF-8
  -- with its ASCII letters in capitals, followed by the text in UTF-8 as it is
) STRICT;
-- no UNIQUE over all that makes a listing, for that would hold most of it twice
CREATE INDEX listings_by_sha256 ON listings (sha256);
CREATE INDEX listings_by_canonical ON listings (canonical_sha256);

CREATE TABLE programs (
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  name TEXT NOT NULL,
  name_key TEXT NOT NULL UNIQUE, -- the name folded for comparison
  title TEXT NOT NULL DEFAULT '',
  made_at TEXT NOT NULL,
  retired_at TEXT
) STRICT;

CREATE TABLE revisions (
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  program_id INTEGER NOT NULL REFERENCES programs,
  archive_id INTEGER NOT NULL REFERENCES archives, -- the archive that gave the number
  number INTEGER NOT NULL CHECK (number > 0),
  parent_id INTEGER REFERENCES revisions,
  listing_id INTEGER NOT NULL REFERENCES listings,
  size_bytes INTEGER, -- cost on the board, by the profile as it was then
  origin TEXT NOT NULL,
  origin_where TEXT NOT NULL DEFAULT '',
  board_id INTEGER REFERENCES boards,
  note TEXT NOT NULL DEFAULT '',
  captures INTEGER NOT NULL DEFAULT 0, -- how many captures agreed
  after_restart INTEGER NOT NULL DEFAULT 0 CHECK (after_restart IN (0, 1)),
  kept_at TEXT NOT NULL,
  UNIQUE (program_id, archive_id, number)
) STRICT;
CREATE INDEX revisions_by_size ON revisions (size_bytes);
CREATE INDEX revisions_by_listing ON revisions (listing_id);
CREATE INDEX revisions_by_board ON revisions (board_id) WHERE board_id IS NOT NULL;
CREATE INDEX revisions_by_parent ON revisions (parent_id) WHERE parent_id IS NOT NULL;

CREATE TABLE rescues (
  -- what a board held before it was overwritten; keep it under a name to make it a revision
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  archive_id INTEGER NOT NULL REFERENCES archives,
  number INTEGER NOT NULL CHECK (number > 0),
  board_id INTEGER REFERENCES boards, -- NULL only where the board could not be told
  program_id INTEGER REFERENCES programs,
  listing_id INTEGER NOT NULL REFERENCES listings,
  size_bytes INTEGER,
  origin TEXT NOT NULL,
  origin_where TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  captures INTEGER NOT NULL DEFAULT 0,
  after_restart INTEGER NOT NULL DEFAULT 0 CHECK (after_restart IN (0, 1)),
  kept_at TEXT NOT NULL,
  UNIQUE (archive_id, number)
) STRICT;
CREATE INDEX rescues_by_listing ON rescues (listing_id);
CREATE INDEX rescues_by_board ON rescues (board_id);
CREATE INDEX rescues_by_program ON rescues (program_id) WHERE program_id IS NOT NULL;

CREATE TABLE notes (
  -- only added to; the last one of a program, or of a revision, is the one shown
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  program_id INTEGER NOT NULL REFERENCES programs,
  revision_id INTEGER REFERENCES revisions,
  text TEXT NOT NULL,
  noted_at TEXT NOT NULL
) STRICT;
CREATE INDEX notes_by_program ON notes (program_id);
CREATE INDEX notes_by_revision ON notes (revision_id) WHERE revision_id IS NOT NULL;

CREATE TABLE tags (
  id INTEGER PRIMARY KEY,
  program_id INTEGER NOT NULL REFERENCES programs,
  tag TEXT NOT NULL,
  tag_key TEXT NOT NULL,
  UNIQUE (tag_key, program_id)
) STRICT;
CREATE INDEX tags_by_program ON tags (program_id);

CREATE TABLE host_copies (
  -- our copy of what each board holds; changes with every line that passes by
  board_id INTEGER PRIMARY KEY REFERENCES boards,
  raw BLOB NOT NULL,
  text TEXT NOT NULL,
  canonical TEXT NOT NULL,
  profile TEXT NOT NULL,
  charset TEXT NOT NULL,
  size_bytes INTEGER,
  revision_id INTEGER REFERENCES revisions,
  changed_at TEXT NOT NULL,
  proven_at TEXT,
  may_lack_edits INTEGER NOT NULL CHECK (may_lack_edits IN (0, 1))
) STRICT;
CREATE INDEX host_copies_by_revision ON host_copies (revision_id) WHERE revision_id IS NOT NULL;

CREATE TABLE firmware_images (
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  sha256 BLOB NOT NULL UNIQUE CHECK (length(sha256) = 32),
  data BLOB NOT NULL,
  part TEXT NOT NULL DEFAULT '', -- the chip by its part number
  name TEXT NOT NULL DEFAULT '',
  kept_at TEXT NOT NULL
) STRICT;

CREATE TABLE backups (
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  archive_id INTEGER NOT NULL REFERENCES archives, -- the archive that gave the number
  number INTEGER NOT NULL CHECK (number > 0),
  board_id INTEGER NOT NULL REFERENCES boards,
  firmware_image_id INTEGER REFERENCES firmware_images,
  profile TEXT NOT NULL DEFAULT '',
  origin_where TEXT NOT NULL DEFAULT '',
  banner TEXT NOT NULL DEFAULT '', -- what the board said of itself, where it was heard
  free_bytes INTEGER, -- by the board's own word
  after_restart INTEGER NOT NULL DEFAULT 0 CHECK (after_restart IN (0, 1)),
  note TEXT NOT NULL DEFAULT '',
  made_at TEXT NOT NULL,
  UNIQUE (archive_id, number)
) STRICT;
CREATE INDEX backups_by_board ON backups (board_id);
CREATE INDEX backups_by_firmware ON backups (firmware_image_id);

CREATE TABLE backup_items (
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  backup_id INTEGER NOT NULL REFERENCES backups,
  kind TEXT NOT NULL, -- memory, or stored
  slot TEXT NOT NULL DEFAULT '', -- the stored program's name or number on the board
  listing_id INTEGER NOT NULL REFERENCES listings,
  size_bytes INTEGER,
  captures INTEGER NOT NULL DEFAULT 0,
  UNIQUE (backup_id, kind, slot)
) STRICT;
CREATE INDEX backup_items_by_listing ON backup_items (listing_id);

CREATE TABLE firmware_writes (
  -- which image was written to which board; one without an end was cut off
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  board_id INTEGER NOT NULL REFERENCES boards,
  firmware_image_id INTEGER NOT NULL REFERENCES firmware_images,
  previous_image_id INTEGER REFERENCES firmware_images, -- what flash held before, to go back to
  backup_id INTEGER REFERENCES backups,
  role TEXT NOT NULL DEFAULT '', -- what the board is in its machine
  part TEXT NOT NULL DEFAULT '',
  boot_section BLOB, -- the bootloader's own section as it was read
  eeprom BLOB, -- as it was read, NULL where it reads like flash or not at all
  began_at TEXT NOT NULL,
  ended_at TEXT,
  outcome TEXT NOT NULL DEFAULT '',
  banner TEXT NOT NULL DEFAULT '' -- what the board said afterwards
) STRICT;
CREATE INDEX firmware_writes_by_board ON firmware_writes (board_id);
CREATE INDEX firmware_writes_by_image ON firmware_writes (firmware_image_id);
CREATE INDEX firmware_writes_by_previous ON firmware_writes (previous_image_id)
  WHERE previous_image_id IS NOT NULL;

CREATE TABLE events (
  -- every job; one without an end was cut off
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  job TEXT NOT NULL,
  board_id INTEGER REFERENCES boards,
  program_id INTEGER REFERENCES programs,
  revision_id INTEGER REFERENCES revisions,
  rescue_id INTEGER REFERENCES rescues,
  started_at TEXT NOT NULL,
  ended_at TEXT,
  outcome TEXT NOT NULL DEFAULT '',
  detail TEXT NOT NULL DEFAULT '{}' CHECK (json_valid(detail))
) STRICT;
CREATE INDEX events_by_board ON events (board_id) WHERE board_id IS NOT NULL;
CREATE INDEX events_by_program ON events (program_id) WHERE program_id IS NOT NULL;
CREATE INDEX events_by_revision ON events (revision_id) WHERE revision_id IS NOT NULL;
CREATE INDEX events_by_rescue ON events (rescue_id) WHERE rescue_id IS NOT NULL;
"""

# The listing index keeps no positions (detail=none): an eighth of the text's size instead of
# more than half. The ascii tokenizer is exactly known, so no query word can split into a phrase,
# which such an index cannot answer. Names, titles, notes and tags are few and may be in any
# language: they get the full index.
WORDS_1 = """
CREATE VIRTUAL TABLE listing_words USING fts5(
  text, spaced_words, content='listings', content_rowid='id', detail=none, tokenize='ascii'
);
CREATE VIRTUAL TABLE program_words USING fts5(name, title, notes, tags, tokenize='unicode61');
"""

TABLES_OF_2 = tuple(name for name in TABLES if name != "runs")
"""The tables that schema 2 gave their checksums; later ones have them from the start."""
_CHECKSUM = """
ALTER TABLE {table} ADD COLUMN checksum INTEGER NOT NULL DEFAULT 0;
"""

TABLES_2 = """
ALTER TABLE programs ADD COLUMN latest_id INTEGER REFERENCES revisions;
ALTER TABLE programs ADD COLUMN revision_count INTEGER NOT NULL DEFAULT 0;
ALTER TABLE revisions ADD COLUMN unproven TEXT NOT NULL DEFAULT ''; -- what speaks against it
ALTER TABLE rescues ADD COLUMN unproven TEXT NOT NULL DEFAULT ''; -- what speaks against it
ALTER TABLE backup_items ADD COLUMN unproven TEXT NOT NULL DEFAULT ''; -- what speaks against it
""" + "".join(_CHECKSUM.format(table=name) for name in TABLES_OF_2)

TABLES_5 = """
CREATE TABLE runs (
  -- what a program printed each time that it was run
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  archive_id INTEGER NOT NULL REFERENCES archives, -- the archive that gave the number
  number INTEGER NOT NULL CHECK (number > 0),
  revision_id INTEGER REFERENCES revisions, -- NULL where the program was in no revision
  board_id INTEGER REFERENCES boards, -- NULL where it ran without a board
  profile TEXT NOT NULL, -- how the board talked
  started_at TEXT NOT NULL,
  duration_ms INTEGER NOT NULL,
  command TEXT NOT NULL, -- the line that started it
  typed TEXT NOT NULL, -- the answers, each ended by a line feed
  typed_cut INTEGER NOT NULL DEFAULT 0, -- bytes of typed that were not kept, at its end
  printed TEXT NOT NULL, -- rows, each ended by a line feed
  printed_cut INTEGER NOT NULL DEFAULT 0, -- bytes of printed that were not kept
  cut_after INTEGER NOT NULL DEFAULT 0, -- after how many rows of printed they are missing
  outcome TEXT NOT NULL, -- done, error, interrupted or failed
  error TEXT NOT NULL DEFAULT '', -- what ended it: of an error the words of the board
  error_line INTEGER, -- the line that the board named
  expected INTEGER NOT NULL DEFAULT 0 CHECK (expected IN (0, 1)), -- it printed what it should
  checksum INTEGER NOT NULL DEFAULT 0,
  UNIQUE (archive_id, number)
) STRICT;
CREATE INDEX runs_by_revision ON runs (revision_id) WHERE revision_id IS NOT NULL;
CREATE INDEX runs_by_board ON runs (board_id) WHERE board_id IS NOT NULL;
CREATE VIRTUAL TABLE run_words USING fts5(
  printed, content='runs', content_rowid='id', detail=none, tokenize='ascii'
);
"""

# To search by time and by kind of board. With listing_id the first two also give the listings of a
# time without reading the rows.
INDEXES_4 = """
CREATE INDEX revisions_by_time ON revisions (kept_at, listing_id);
CREATE INDEX rescues_by_time ON rescues (kept_at, listing_id);
CREATE INDEX listings_by_profile ON listings (profile);
"""
