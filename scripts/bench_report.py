"""What a section of the benchmark gives: rows of figures, and targets that hold or do not."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

Figure = int | float | str | bool | None
Row = Mapping[str, Figure]


@dataclass(frozen=True, slots=True)
class Target:
    """One measured value against its limit."""

    name: str
    value: float
    limit: float
    holds: bool

    @classmethod
    def at_most(cls, name: str, value: float, limit: float) -> Target:
        return cls(name, value, limit, value <= limit)

    @classmethod
    def at_least(cls, name: str, value: float, limit: float) -> Target:
        return cls(name, value, limit, value >= limit)


@dataclass(frozen=True, slots=True)
class Section:
    """One section. notes: what a reader has to know of how the rows were measured.

    shown: columns of the rows that the page of figures shows as a table, and their headings there.
    about: what else its JSON says, such as the version that was measured.
    """

    name: str
    rows: Sequence[Row]
    targets: Sequence[Target]
    notes: Sequence[str] = ()
    shown: Mapping[str, str] = field(default_factory=dict)
    about: Row = field(default_factory=dict)

    @property
    def holds(self) -> bool:
        """Whether every target holds; a section without targets proves nothing."""
        return bool(self.targets) and all(target.holds for target in self.targets)

    def as_json(self) -> str:
        """The section as one JSON object on one line."""
        targets = [
            {"name": t.name, "value": _finite(t.value), "limit": t.limit, "holds": t.holds}
            for t in self.targets
        ]
        rows = [dict(row) for row in self.rows]
        held = {"section": self.name, **self.about, "rows": rows, "targets": targets}
        return json.dumps(held, allow_nan=False)

    def as_text(self) -> str:
        """The section as one table and a line for each target."""
        lines = [self.name, "", *_table(self.rows), ""]
        lines += self.notes
        width = max((len(target.name) for target in self.targets), default=0)
        lines += [
            f"{'holds' if t.holds else 'FAILS'}  {t.name:<{width}}  {t.value:g}  limit {t.limit:g}"
            for t in self.targets
        ]
        return "\n".join(lines) + "\n"


def _finite(value: float) -> float | None:
    """A value that JSON can hold; None for something that never ended."""
    return value if math.isfinite(value) else None


def _table(rows: Sequence[Row]) -> list[str]:
    """Rows under their headings, figures to the right."""
    if not rows:
        return ["no rows"]
    heads = list(rows[0])
    cells = [heads, *([_cell(row[head]) for head in heads] for row in rows)]
    widths = [max(len(line[column]) for line in cells) for column in range(len(heads))]
    return [
        "  ".join(text.rjust(w) for text, w in zip(line, widths, strict=True)) for line in cells
    ]


def _cell(value: Figure) -> str:
    if value is None:
        return "-"
    return f"{value:.3f}" if isinstance(value, float) else str(value)
