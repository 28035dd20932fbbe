"""Check whether the items of a backup fit a kind of board: sizes, slots and characters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hostlink.archive import BackupItem
from hostlink.board.profile.model import Profile
from hostlink.errors import ListingError
from hostlink.listing import Listing, measure, to_bytes
from hostlink.words import safe

_BLANK, _DELETE = 32, 127  # the first byte that is no control character; the last one that is


@dataclass(frozen=True, slots=True)
class Misfit:
    """An item that does not fit the board, with the reason as a clause."""

    name: str
    why: str


def misfits(
    profile: Profile, items: Sequence[BackupItem], capacity: int, eeprom: int = 0
) -> list[Misfit]:
    """Return the items that do not fit a kind of board: too large, no place, or not typeable.

    capacity, eeprom: bytes for a program and for all stored ones together, 0 if unknown. Other
    findings of a review do not matter, since the programs come from a board.
    """
    room = eeprom
    found: list[Misfit] = []
    one_is_taken = False
    for item in items:
        size = measure(Listing.from_text(item.content.text), profile.rules).total
        why = _no_place(profile, item) or _untypable(profile, item)
        if not why and item.kind == "stored" and profile.commands.has_unnamed_slot:
            why = "this board stores only one program" if one_is_taken else ""
            one_is_taken = True
        if not why and capacity and size > capacity:
            why = f"it is {size - capacity:,} bytes over the {capacity:,} here"
        if not why and eeprom and item.kind == "stored":
            size -= profile.rules.storage.empty_bytes
            if size > room:
                why = f"it takes {size:,} bytes of EEPROM, and at most {room:,} are left for it"
            else:
                room -= size
        if why:
            found.append(Misfit(item.name, why))
    return found


def _no_place(profile: Profile, item: BackupItem) -> str:
    """Say why a kind of board has no place for an item, "" if it has one."""
    commands = profile.commands
    if item.kind == "stored" and not commands.store:
        return "this kind of board cannot store programs"
    if item.kind == "stored" and commands.slots and item.slot not in commands.slots:
        return f"this board has no slot {safe(item.slot)}"
    return ""


def _untypable(profile: Profile, item: BackupItem) -> str:
    """Say why an item cannot be typed, "" if it can; the board acts on control characters."""
    charset = profile.rules.form.charset
    for number, line in Listing.from_text(item.content.text).numbered().items():
        try:
            data = to_bytes(line.typed, charset)
        except ListingError as error:
            return f"line {number}: {error.what.rstrip('.')}"
        if any(byte < _BLANK or byte == _DELETE for byte in data):
            return f"line {number} holds a control character, which cannot be typed"
    return ""
