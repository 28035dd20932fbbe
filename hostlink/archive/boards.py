"""Boards that have been seen, and our copy of what each of them holds."""

from __future__ import annotations

from sqlite_utils import Database

from hostlink.archive.listings import check_content
from hostlink.archive.lookup import board_id, parent_id
from hostlink.archive.names import clean, fold, nearest
from hostlink.archive.records import Board, Content, HostCopy, Revision
from hostlink.archive.session import Row, Session, first, insert, new_uuid, rows
from hostlink.archive.times import read, read_or_none
from hostlink.archive.trouble import from_row
from hostlink.errors import ArchiveError

LONGEST_LABEL = 40


class Boards(Session):
    """Knowing boards again, and their host copies."""

    def board_seen(
        self,
        *,
        vid: int | None = None,
        pid: int | None = None,
        serial: str = "",
        location: str = "",
        profile: str = "",
        restarts_on_open: bool | None = None,
    ) -> Board:
        """Note that a board was seen now, and return it, made where it is new.

        vid, pid, serial: those of its USB bridge. location: the USB place it is plugged in at,
        or for a board without USB the address it was opened by. Bridges with a serial number are
        known by it wherever they are plugged in; others by their location. profile and
        restarts_on_open are taken over where they are given. Raises ArchiveError.
        """
        serial, location = clean(serial or ""), clean(location or "")
        if not serial and not location:
            raise ArchiveError(
                "This board cannot be known again: it has neither a serial number nor a place.",
                advice="Name the port it is at.",
            )
        with self.writing("The board") as db:
            at = self._time()
            held = _alike(db, vid, pid, serial, location)
            board = (
                insert(
                    db,
                    "boards",
                    uuid=new_uuid(),
                    usb_vid=vid,
                    usb_pid=pid,
                    usb_serial=serial,
                    first_seen=at,
                    last_seen=at,
                )
                if held is None
                else int(held["id"])
            )
            db.execute(
                "UPDATE boards SET last_seen = ?, location = coalesce(nullif(?, ''), location), "
                "profile = coalesce(nullif(?, ''), profile), "
                "restarts_on_open = coalesce(?, restarts_on_open) WHERE id = ?",
                (at, location, clean(profile), restarts_on_open, board),
            )
            return _board_at(db, board)

    def board_label(self, board_uuid: str, label: str) -> Board:
        """Give a board the label a person calls it by, such as a colour; "" takes it away.

        Raises ArchiveError where another board has that label, or it is no label.
        """
        label = clean(label).strip()
        if len(label) > LONGEST_LABEL or not label.isprintable():
            raise ArchiveError(
                f'"{label[:LONGEST_LABEL]}" cannot be a label: at most {LONGEST_LABEL} printable '
                "characters.",
                kept="No label was changed.",
            )
        with self.writing(f"The label {label}") as db:
            board = board_id(db, board_uuid)
            key = fold(label) or None
            other = first(db, "SELECT id FROM boards WHERE label_key = ? AND id <> ?", (key, board))
            if other is not None:
                raise ArchiveError(
                    f"Another board is labelled {label} already.",
                    kept="No label was changed.",
                    advice="Choose another, or take it off that board first.",
                )
            db.execute(
                "UPDATE boards SET label = ?, label_key = ? WHERE id = ?", (label, key, board)
            )
            return _board_at(db, board)

    def boards(self) -> list[Board]:
        """Every board ever seen, the last seen first."""
        with self.reading("The boards") as db:
            return [
                _board(row)
                for row in rows(db, "SELECT * FROM boards ORDER BY last_seen DESC, id DESC")
            ]

    def board(self, named: str) -> Board:
        """A board by its label or UUID. Raises ArchiveError with the nearest labels."""
        with self.reading(f"The board {named}") as db:
            return find_board(db, named)

    def host_copy(self, board_uuid: str) -> HostCopy | None:
        """Our copy of what the board holds, or None where there is none yet."""
        with self.reading("The host copy") as db:
            row = first(
                db,
                "SELECT host_copies.*, coalesce(programs.name || '@' || revisions.number, '') "
                "AS revision FROM host_copies "
                "LEFT JOIN revisions ON revisions.id = host_copies.revision_id "
                "LEFT JOIN programs ON programs.id = revisions.program_id "
                "WHERE host_copies.board_id = ?",
                (board_id(db, board_uuid),),
            )
        return None if row is None else _host_copy(row)

    def set_host_copy(
        self,
        board_uuid: str,
        content: Content,
        *,
        proven: bool,
        may_lack_edits: bool = False,
        revision: Revision | None = None,
    ) -> None:
        """Renew our copy of what the board holds.

        proven: it was read back from the board just now and is equal; else the time of the last
        proof stays as it was. revision: the one it is, or was made from.
        """
        check_content(content)
        with self.writing("The host copy") as db:
            board = board_id(db, board_uuid)
            at = self._time()
            db.execute(
                "INSERT INTO host_copies VALUES (:board_id, :raw, :text, :canonical, :profile, "
                ":charset, :size_bytes, :revision_id, :changed_at, :proven_at, :may_lack_edits) "
                "ON CONFLICT (board_id) DO UPDATE SET raw = :raw, text = :text, "
                "canonical = :canonical, profile = :profile, charset = :charset, "
                "size_bytes = :size_bytes, revision_id = :revision_id, changed_at = :changed_at, "
                "proven_at = coalesce(:proven_at, proven_at), may_lack_edits = :may_lack_edits",
                {
                    "board_id": board,
                    "raw": content.raw,
                    "text": content.text,
                    "canonical": content.canonical,
                    "profile": content.profile,
                    "charset": content.charset,
                    "size_bytes": content.size_bytes,
                    "revision_id": parent_id(db, revision),
                    "changed_at": at,
                    "proven_at": at if proven else None,
                    "may_lack_edits": int(may_lack_edits),
                },
            )


def find_board(db: Database, named: str) -> Board:
    """A board by its label or UUID. Raises ArchiveError with the nearest labels."""
    named = clean(named).strip()
    row = first(db, "SELECT * FROM boards WHERE label_key = ? OR uuid = ?", (fold(named), named))
    if row is None:
        labels = [row["label"] for row in rows(db, "SELECT label FROM boards WHERE label <> ''")]
        near = nearest(named, labels)
        raise ArchiveError(
            f'There is no board "{named}" in the archive.',
            advice=f"The nearest labels are: {', '.join(near)}."
            if near
            else "`hostlink boards` lists them.",
        )
    return _board(row)


def _alike(
    db: Database, vid: int | None, pid: int | None, serial: str, location: str
) -> Row | None:
    """The board with this identity: its serial number, or without one its place."""
    return first(
        db,
        "SELECT id FROM boards WHERE coalesce(usb_vid, -1) = coalesce(?, -1) "
        "AND coalesce(usb_pid, -1) = coalesce(?, -1) AND usb_serial = ? "
        "AND CASE WHEN usb_serial = '' THEN location ELSE '' END = ?",
        (vid, pid, serial, "" if serial else location),
    )


def _board_at(db: Database, board: int) -> Board:
    (row,) = rows(db, "SELECT * FROM boards WHERE id = ?", (board,))
    return _board(row)


@from_row("A board")
def _board(row: Row) -> Board:
    restarts = row["restarts_on_open"]
    return Board(
        uuid=row["uuid"],
        label=row["label"],
        vid=row["usb_vid"],
        pid=row["usb_pid"],
        serial=row["usb_serial"],
        location=row["location"],
        profile=row["profile"],
        restarts_on_open=None if restarts is None else bool(restarts),
        first_seen=read(row["first_seen"]),
        last_seen=read(row["last_seen"]),
    )


@from_row("The host copy")
def _host_copy(row: Row) -> HostCopy:
    return HostCopy(
        content=Content(
            row["raw"],
            row["text"],
            row["canonical"],
            row["profile"],
            row["charset"],
            row["size_bytes"],
        ),
        changed_at=read(row["changed_at"]),
        proven_at=read_or_none(row["proven_at"]),
        may_lack_edits=bool(row["may_lack_edits"]),
        revision=row["revision"],
    )
