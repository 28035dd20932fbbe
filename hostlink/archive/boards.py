"""Record the boards that were seen, and our copy of the program in each."""

from __future__ import annotations

import contextlib

from sqlite_utils import Database

from hostlink.archive.archive_file import ArchiveFile, new_uuid
from hostlink.archive.database.database_errors import DamagedError, index_damaged
from hostlink.archive.database.joined import Part, Parts, Records
from hostlink.archive.database.rows import checked_row, first, insert, rows, update
from hostlink.archive.listings import check_content
from hostlink.archive.lookup import board_id, parent_id, revision_parts, revision_spec
from hostlink.archive.names import clean
from hostlink.archive.records import Board, Content, HostCopy, Listed, Revision
from hostlink.archive.times import parse_utc, parse_utc_or_none
from hostlink.errors import ArchiveError, ArchiveReason
from hostlink.words import fold, nearest, safe

LONGEST_LABEL = 40


class Boards(ArchiveFile):
    """The archive's methods for boards and their host copies."""

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
        """Record that a board was seen now and return it; add it if it is new.

        vid, pid, serial: of its USB bridge. location: its place on the USB, or the address of a
        board without USB. A bridge with a serial number is recognised by that at any place, one
        without by its location. profile, restarts_on_open: recorded if given. Raises ArchiveError.
        """
        serial, location = clean(serial or ""), clean(location or "")
        if not serial and not location:
            raise ArchiveError(
                "This board could not be recognised later: it has no serial number or location.",
                advice="Name the port it is at.",
            )
        with self.writing("The board") as db:
            at = self._time()
            board = _alike(db, vid, pid, serial, location)
            if board is None:
                usb = {"usb_vid": vid, "usb_pid": pid, "usb_serial": serial}
                seen = {"first_seen": at, "last_seen": at}
                board = insert(db, "boards", uuid=new_uuid(), location=location, **usb, **seen)
            restarts = None if restarts_on_open is None else int(restarts_on_open)
            known = (("location", location), ("profile", clean(profile)))
            news: dict[str, object] = {key: value for key, value in known if value}
            news |= {} if restarts is None else {"restarts_on_open": restarts}
            update(db, "boards", board, last_seen=at, **news)
            return _BOARDS.at(db, board)

    def board_label(self, board_uuid: str, label: str) -> Board:
        """Set the label of a board, such as a colour; "" removes it.

        Raises ArchiveError if the label is invalid or another board has it.
        """
        label = checked_label(label)
        with self.writing(f"The label {label}") as db:
            board = board_id(db, board_uuid)
            key = fold(label) or None
            other = first(db, "SELECT id FROM boards WHERE label_key = ? AND id <> ?", (key, board))
            if other is not None:
                raise ArchiveError(
                    taken_words(label),
                    kept="No label was changed.",
                    advice="Choose another, or take it off that board first.",
                )
            update(db, "boards", board, label=label, label_key=key)
            return _BOARDS.at(db, board)

    def boards(self) -> Listed[Board]:
        """Return all boards, most recently seen first."""
        with self.reading("The boards") as db:
            return _BOARDS.listed(db, "ORDER BY boards.last_seen DESC, boards.id DESC")

    def board_labels(self) -> dict[str, str]:
        """Return the labels of all boards by UUID, "" for a board without one."""
        return {board.uuid: board.label for board in self.boards()}

    def board(self, named: str) -> Board:
        """Return a board by its label or UUID. Raises ArchiveError with the nearest labels."""
        with self.reading(f"The board {named}") as db:
            return find_board(db, named)

    def host_copy(self, board_uuid: str) -> HostCopy | None:
        """Return our copy of the program on a board, or None if there is no undamaged one.

        The next load or save replaces a damaged copy.
        """
        with self.reading("The host copy") as db:
            board = board_id(db, board_uuid)
            found = _HOST_COPIES.listed(db, "WHERE host_copies.board_id = ?", (board,))
        return found[0] if found else None

    def set_host_copy(
        self,
        board_uuid: str,
        content: Content,
        *,
        proven: bool,
        revision: Revision | None = None,
        is_other: bool = False,
    ) -> None:
        """Replace our copy of the program on a board.

        proven: the program was just read back and is equal; if not, the copy may lack edits.
        is_other: the program differs from the one that was last proven, so the time of that proof
        is dropped. revision: the one that the copy equals or was made from.
        """
        check_content(content)
        with self.writing("The host copy") as db:
            board = board_id(db, board_uuid)
            at = self._time()
            copy = {
                "raw": content.raw,
                "text": content.text,
                "canonical": content.canonical,
                "profile": content.profile,
                "charset": content.charset,
                "size_bytes": content.size_bytes,
                "revision_id": parent_id(db, revision),
                "changed_at": at,
                "proven_at": at if proven else None,
                "may_lack_edits": int(not proven),
            }
            with contextlib.suppress(DamagedError):
                held = checked_row(db, "host_copies", board)
                if not is_other:
                    copy["proven_at"] = copy["proven_at"] or held["proven_at"]
            db.execute("DELETE FROM host_copies WHERE board_id = ?", (board,))
            insert(db, "host_copies", board_id=board, **copy)

    def drop_host_copy(self, board_uuid: str) -> None:
        """Delete our copy of the program on a board, because its content is unknown now."""
        with self.writing("The host copy") as db:
            db.execute("DELETE FROM host_copies WHERE board_id = ?", (board_id(db, board_uuid),))


def taken_words(label: str) -> str:
    """Return the sentence that a label belongs to another board."""
    return f"Another board is labelled {label} already."


def checked_label(label: str) -> str:
    """Return a valid board label, 1 to 40 printable characters. Raises ArchiveError."""
    label = clean(label).strip()
    if len(label) > LONGEST_LABEL or not label.isprintable():
        raise ArchiveError(
            f'"{safe(label[:LONGEST_LABEL])}" cannot be a label: at most {LONGEST_LABEL} '
            "printable characters.",
            kept="No label was changed.",
        )
    return label


def find_board(db: Database, named: str) -> Board:
    """Return a board by its label or UUID. Raises ArchiveError with the nearest labels."""
    named = clean(named).strip()
    found = _BOARDS.first(db, "WHERE boards.label_key = ? OR boards.uuid = ?", (fold(named), named))
    if found is None:
        held = rows(db, "SELECT label FROM boards WHERE label <> ''")
        near = nearest(named, [safe(str(row["label"])) for row in held])
        raise ArchiveError(
            f'There is no board "{named}" in the archive.',
            reason=ArchiveReason.NOT_THERE,
            advice=f"The nearest labels are: {', '.join(near)}."
            if near
            else lambda by: f"List them {by.ports}.",
        )
    if named != found.uuid and fold(found.label) != fold(named):
        raise index_damaged(named)
    return found


def _alike(
    db: Database, vid: int | None, pid: int | None, serial: str, location: str
) -> int | None:
    """Return the id of the board with this serial number, or at this location if it has none."""
    held = first(
        db,
        "SELECT id FROM boards WHERE coalesce(usb_vid, -1) = coalesce(?, -1) "
        "AND coalesce(usb_pid, -1) = coalesce(?, -1) AND usb_serial = ? "
        "AND CASE WHEN usb_serial = '' THEN location ELSE '' END = ?",
        (vid, pid, serial, "" if serial else location),
    )
    return None if held is None else int(held["id"])


def _board(parts: Parts, _: list[str]) -> Board:
    row = parts["boards"]
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
        first_seen=parse_utc(row["first_seen"]),
        last_seen=parse_utc(row["last_seen"]),
    )


def _host_copy(parts: Parts, lost: list[str]) -> HostCopy:
    row = parts["host_copies"]
    return HostCopy(
        content=Content(
            row["raw"],
            row["text"],
            row["canonical"],
            row["profile"],
            row["charset"],
            row["size_bytes"],
        ),
        changed_at=parse_utc(row["changed_at"]),
        proven_at=parse_utc_or_none(row["proven_at"]),
        may_lack_edits=bool(row["may_lack_edits"]),
        revision=revision_spec(parts, "revision", lost),
    )


_BOARDS = Records(
    (Part("boards", "boards"),), _board, lambda shown: f"The board {shown['boards.label']}".strip()
)
_HOST_COPIES = Records(
    (Part("host_copies", "host_copies"), *revision_parts("revision", "host_copies.revision_id")),
    _host_copy,
    lambda _: "The host copy",
)
