"""Views that show the content of the archive to any SQLite tool, in plain words."""

from __future__ import annotations

VIEWS = """
CREATE VIEW program_list AS
  SELECT
    programs.name, programs.title,
    (SELECT group_concat(tag, ', ') FROM
      (SELECT tag FROM tags WHERE program_id = programs.id ORDER BY tag_key)) AS tags,
    (SELECT text FROM notes WHERE program_id = programs.id AND revision_id IS NULL
      ORDER BY id DESC LIMIT 1) AS note,
    programs.revision_count AS revisions,
    latest.number AS latest, latest.size_bytes, listings.line_count, latest.kept_at,
    programs.retired_at, programs.uuid
  FROM programs
  LEFT JOIN revisions AS latest ON latest.id = programs.latest_id
  LEFT JOIN listings ON listings.id = latest.listing_id
  ORDER BY programs.name_key;

CREATE VIEW revision_list AS
  SELECT
    programs.name AS program, revisions.number, revisions.kept_at, revisions.size_bytes,
    listings.line_count, revisions.origin, revisions.origin_where,
    boards.label AS board, revisions.captures, revisions.after_restart, revisions.unproven,
    coalesce((SELECT notes.text FROM notes WHERE notes.revision_id = revisions.id
      ORDER BY notes.id DESC LIMIT 1), revisions.note) AS note,
    (SELECT parent_program.name || '@' || parent.number FROM revisions AS parent
      JOIN programs AS parent_program ON parent_program.id = parent.program_id
      WHERE parent.id = revisions.parent_id) AS parent,
    listings.profile, listings.charset, lower(hex(listings.sha256)) AS sha256,
    revisions.uuid, listings.text AS listing
  FROM revisions
  JOIN programs ON programs.id = revisions.program_id
  JOIN listings ON listings.id = revisions.listing_id
  LEFT JOIN boards ON boards.id = revisions.board_id
  ORDER BY programs.name_key, revisions.number, revisions.kept_at, revisions.uuid;

CREATE VIEW rescue_list AS
  SELECT
    rescues.number, rescues.kept_at, boards.label AS board, programs.name AS program,
    rescues.size_bytes, listings.line_count, rescues.origin_where, rescues.captures,
    rescues.after_restart, rescues.unproven, rescues.note, listings.profile, listings.charset,
    lower(hex(listings.sha256)) AS sha256, rescues.uuid, listings.text AS listing
  FROM rescues
  JOIN listings ON listings.id = rescues.listing_id
  LEFT JOIN boards ON boards.id = rescues.board_id
  LEFT JOIN programs ON programs.id = rescues.program_id
  ORDER BY rescues.id;

CREATE VIEW board_list AS
  SELECT
    boards.label, boards.profile, boards.usb_vid, boards.usb_pid, boards.usb_serial,
    boards.location, boards.role, boards.restarts_on_open, boards.first_seen, boards.last_seen,
    host_copies.proven_at AS host_copy_proven_at, host_copies.may_lack_edits,
    host_copies.text AS host_copy, boards.uuid
  FROM boards LEFT JOIN host_copies ON host_copies.board_id = boards.id
  ORDER BY boards.id;

CREATE VIEW backup_list AS
  SELECT
    backups.number, backups.made_at, boards.label AS board, backups.profile, backups.banner,
    backups.free_bytes, backups.after_restart, backup_items.kind, backup_items.slot,
    backup_items.size_bytes, backup_items.captures, backup_items.unproven, backups.note,
    backups.uuid, listings.text AS listing
  FROM backups
  JOIN boards ON boards.id = backups.board_id
  LEFT JOIN backup_items ON backup_items.backup_id = backups.id
  LEFT JOIN listings ON listings.id = backup_items.listing_id
  ORDER BY backups.id, backup_items.id;

CREATE VIEW run_list AS
  SELECT
    runs.number, runs.started_at, runs.duration_ms, programs.name AS program,
    revisions.number AS revision, boards.label AS board, runs.profile, runs.outcome, runs.error,
    runs.error_line, runs.expected, runs.command, runs.typed, runs.printed, runs.printed_cut,
    runs.uuid
  FROM runs
  LEFT JOIN revisions ON revisions.id = runs.revision_id
  LEFT JOIN programs ON programs.id = revisions.program_id
  LEFT JOIN boards ON boards.id = runs.board_id
  ORDER BY runs.id;

CREATE VIEW firmware_list AS
  SELECT
    firmware_writes.began_at, firmware_writes.ended_at, firmware_writes.outcome,
    boards.label AS board, firmware_writes.role, firmware_writes.part,
    image.name AS image, lower(hex(image.sha256)) AS sha256,
    lower(hex(previous.sha256)) AS previous_sha256, firmware_writes.banner,
    firmware_writes.uuid
  FROM firmware_writes
  JOIN boards ON boards.id = firmware_writes.board_id
  JOIN firmware_images AS image ON image.id = firmware_writes.firmware_image_id
  LEFT JOIN firmware_images AS previous ON previous.id = firmware_writes.previous_image_id
  ORDER BY firmware_writes.id;

CREATE VIEW event_list AS
  SELECT
    events.started_at, events.ended_at, events.job, events.outcome,
    boards.label AS board, coalesce(programs.name, owner.name) AS program,
    revisions.number AS revision, rescues.number AS rescue, events.detail, events.uuid
  FROM events
  LEFT JOIN boards ON boards.id = events.board_id
  LEFT JOIN programs ON programs.id = events.program_id
  LEFT JOIN revisions ON revisions.id = events.revision_id
  LEFT JOIN programs AS owner ON owner.id = revisions.program_id
  LEFT JOIN rescues ON rescues.id = events.rescue_id
  ORDER BY events.id;
"""
