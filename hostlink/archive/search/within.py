"""Restrict a search by tag, board, size, profile and time."""

from __future__ import annotations

from dataclasses import dataclass

from sqlite_utils import Database

FEW = 3000
"""Up to this many revisions are sorted, and their listings read, instead of asking an index."""
_OF_SIZE = "SELECT id FROM revisions WHERE size_bytes BETWEEN ? AND ?"
_OF_TIME = "SELECT id FROM revisions WHERE kept_at >= ? AND kept_at < ?"
_OF_PROFILE = (
    "SELECT revisions.id FROM listings CROSS JOIN revisions ON listing_id = listings.id "
    "WHERE profile = ?"
)

Few = tuple[str, list[object]]
"""SQL for the ids of few revisions, and its values."""


@dataclass(frozen=True, slots=True)
class Within:
    """Restrictions of a search.

    tag: folded. size: least and most bytes on the board. profile: the name of the listing's
    profile. kept: the first stored time that counts, and the first one that is too late.
    """

    tag: str | None = None
    board_uuid: str | None = None
    size: tuple[int, int] | None = None
    profile: str | None = None
    kept: tuple[str, str] | None = None

    def of(self, table: str, *, alone: bool = False) -> tuple[str, list[object]]:
        """Return SQL conditions on revisions or rescues, each beginning with AND, and their values.

        alone: there is no other condition. Otherwise a unary plus keeps SQLite from using the index
        of boards, which gives more rows than it removes. The indexes of sizes and times are never
        used, because the rows would then have to be sorted.
        """
        board = f"{'' if alone else '+'}{table}.board_id"
        parts, values = list[str](), list[object]()
        if self.tag is not None:
            parts.append(
                "AND EXISTS (SELECT 1 FROM tags WHERE tag_key = ? AND tags.program_id = "
                f"{table}.program_id)"
            )
            values.append(self.tag)
        if self.board_uuid is not None:
            parts.append(f"AND {board} = (SELECT id FROM boards WHERE uuid = ?)")
            values.append(self.board_uuid)
        if self.size is not None:
            parts.append(f"AND +{table}.size_bytes BETWEEN ? AND ?")
            values += self.size
        if self.kept is not None:
            parts.append(f"AND +{table}.kept_at >= ? AND +{table}.kept_at < ?")
            values += self.kept
        if self.profile is not None:
            parts.append(
                f"AND EXISTS (SELECT 1 FROM listings AS held WHERE held.id = {table}.listing_id "
                "AND +held.profile = ?)"
            )
            values.append(self.profile)
        return " ".join(parts), values

    def few(self, db: Database) -> Few | None:
        """Return the few revisions that a restriction leaves, or None if they are many."""
        profile = None if self.profile is None else (self.profile,)
        for sql, asked in (_OF_SIZE, self.size), (_OF_TIME, self.kept), (_OF_PROFILE, profile):
            values: list[object] = [*(asked or ())]
            held = f"SELECT count(*) FROM ({sql} LIMIT {FEW})"
            if values and db.execute(held, values).fetchone()[0] < FEW:
                return sql, values
        return None

    def listings(
        self, db: Database, few: Few | None
    ) -> tuple[list[int] | None, tuple[int, int] | None]:
        """Return the listings of `few`, newest first, or else the first and last in the period."""
        if few is not None:
            found = db.execute(f"SELECT listing_id FROM revisions WHERE id IN ({few[0]})", few[1])
            return sorted({row[0] for row in found}, reverse=True), None
        if self.kept is None:
            return None, None
        of_both = " UNION ALL ".join(
            f"SELECT min(listing_id) AS first, max(listing_id) AS last FROM {table} "
            "WHERE kept_at >= ? AND kept_at < ?"
            for table in ("revisions", "rescues")
        )
        ends = f"SELECT coalesce(min(first), 1), coalesce(max(last), 0) FROM ({of_both})"
        first, last = db.execute(ends, [*self.kept, *self.kept]).fetchone()
        return None, (first, last)
