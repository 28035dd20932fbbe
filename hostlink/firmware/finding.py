"""What a review of a firmware image finds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Weight = Literal["error", "doubt", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. rule: its plain name. line: of the file, None where it is none's.

    weight: an "error" is never written to a board, a "doubt" only on the user's word.
    """

    rule: str
    weight: Weight
    message: str
    line: int | None = None
