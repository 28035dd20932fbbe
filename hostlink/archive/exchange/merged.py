"""What a merge brings: counts by table, and how each program compares."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(slots=True)
class ProgramMerged:
    """How one program of the import compares with this archive.

    name: in this archive. is_new: whether this archive lacked it. new, same: how many of the
    import's revisions this archive lacked, and how many it had. other: how many of the new ones
    hold a listing that the program did not have in this archive.
    """

    name: str
    is_new: bool
    new: int = 0
    same: int = 0
    other: int = 0


@dataclass(frozen=True, slots=True)
class Merged:
    """The result of a merge, or of its preview.

    added: number of new rows by table. renamed: name in the other archive to name here, of programs
    whose name was in use. healed: descriptions of damaged rows that were replaced. left_out:
    descriptions of rows that are damaged in the other archive. copies: the first 8 digits of the
    UUIDs of copies that gave a number again, as in NAME@3/12345678 (see copies.py). retired: names
    of programs that the merge retired. programs: those of the import, in natural order.
    """

    added: Mapping[str, int]
    renamed: Mapping[str, str]
    healed: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    copies: tuple[str, ...] = ()
    retired: tuple[str, ...] = ()
    programs: tuple[ProgramMerged, ...] = ()

    @property
    def anything(self) -> bool:
        """Return whether the merge added or repaired anything."""
        return any(self.added.values()) or bool(self.healed)
