"""Kinds of values of a profile file that hold several values."""

from __future__ import annotations

from dataclasses import dataclass

from hostlink.board.profile.kinds import Keyword, Kind, Text, Whole, Wrong
from hostlink.board.profile.written import short_value
from hostlink.pins import pin_form_fault

LONGEST_WORDS = 60  # characters of a form with its fields


@dataclass(frozen=True, slots=True)
class Each:
    """A list of different items of one kind."""

    item: Kind
    most: int = 200

    def read(self, value: object) -> tuple[str, ...]:
        """Return the items as the profile holds them."""
        if not isinstance(value, list):
            raise Wrong("it must be a list in [ ]")
        if len(value) > self.most:
            raise Wrong(f"it has {len(value)} items; at most {self.most} are allowed")
        held: dict[str, None] = {}
        for item in value:
            try:
                read = self.item.read(item)
            except Wrong as wrong:
                raise Wrong(f"its item {short_value(item)} is wrong: {wrong}") from None
            if read in held:
                raise Wrong(f"its item {short_value(item)} is in it twice")
            held[read] = None
        return tuple(held)


@dataclass(frozen=True, slots=True)
class Ranges:
    """Inclusive ranges of byte values or pins, ascending and apart: [[32, 126]]."""

    may_be_empty: bool = False

    def read(self, value: object) -> tuple[tuple[int, int], ...]:
        """Return pairs of a lowest and a highest number."""
        if not isinstance(value, list) or not (value or self.may_be_empty):
            raise Wrong("it must be a list of inclusive ranges, such as [[32, 126]]")
        ranges: list[tuple[int, int]] = []
        above = -1
        for pair in value:
            if not isinstance(pair, list) or len(pair) != 2:
                raise Wrong("each range must be two whole numbers, such as [32, 126]")
            low, high = (Whole(0, 255).read(end) for end in pair)
            if not above < low <= high:
                raise Wrong(f"the range [{low}, {high}] must ascend and follow the one before")
            ranges.append((low, high))
            above = high
        return tuple(ranges)


@dataclass(frozen=True, slots=True)
class Costs:
    """A table of keyword to bytes: { PRINT = 1, LPRINT = 2 }."""

    def read(self, value: object) -> tuple[tuple[str, int], ...]:
        """Return keywords with their sizes in bytes."""
        if not isinstance(value, dict):
            raise Wrong("it must be a table of keyword to bytes, such as { PRINT = 1 }")
        if len(value) > 500:
            raise Wrong(f"it has {len(value)} keywords; at most 500 are allowed")
        costs = []
        for word, cost in value.items():
            try:
                costs.append((Keyword().read(word), Whole(0, 255).read(cost)))
            except Wrong as wrong:
                raise Wrong(f"its entry {short_value(word)} is wrong: {wrong}") from None
        return tuple(costs)


@dataclass(frozen=True, slots=True)
class PinWords:
    """How something with a pin is typed, such as "OUT {pin},{value}". name: one of PIN_FIELDS."""

    name: str

    def read(self, value: object) -> str:
        """Return a template with the fields that this needs."""
        text = Text(LONGEST_WORDS, ascii=True).read(value)
        if fault := pin_form_fault(self.name, text):
            raise Wrong(fault)
        return text
