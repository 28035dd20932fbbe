"""Restrict a search by tag, board, size, profile and time."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Within:
    """Restrictions of a search.

    tag: folded. size: least and most bytes on the board. profile: the name of the listing's
    profile. kept: the stored times from which and before which it was kept, "" for no bound.
    """

    tag: str | None = None
    board_uuid: str | None = None
    size: tuple[int, int] | None = None
    profile: str | None = None
    kept: tuple[str, str] = ("", "")

    def of(self, table: str, *, alone: bool = False) -> tuple[str, list[object]]:
        """Return SQL conditions on revisions or rescues, each beginning with AND, and their values.

        alone: there is no other condition. Otherwise a unary plus keeps SQLite from using the index
        of boards, which gives more rows than it removes. The index of sizes is never used, because
        the rows would then have to be sorted.
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
        if self.profile is not None:
            parts.append(
                f"AND EXISTS (SELECT 1 FROM listings AS held WHERE held.id = {table}.listing_id "
                "AND held.profile = ? COLLATE NOCASE)"
            )
            values.append(self.profile)
        for bound, sign in zip(self.kept, (">=", "<"), strict=True):
            if bound:
                parts.append(f"AND {table}.kept_at {sign} ?")
                values.append(bound)
        return " ".join(parts), values
