"""The findings of the review of a firmware image."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Weight = Literal["error", "doubt", "note"]


@dataclass(frozen=True, slots=True)
class ImageFinding:
    """One finding. rule: its plain name. line: in the file, None if it concerns no single line.

    weight: an image with an "error" is never written, one with a "doubt" only with consent.
    """

    rule: str
    weight: Weight
    message: str
    line: int | None = None
