"""Record what a survey found: values with their evidence and certainty."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from hostlink.board.profile.kinds import Wrong
from hostlink.board.profile.schema import TABLES
from hostlink.board.profile.written import written

# Evidence that several steps of the survey give.
AROUND_LISTING = "rows printed around a listing, also around an empty one"
NO_MEMORY_QUESTION = "no question for the free memory is known"
LISTED_SO = "test lines are listed in this form"
ECHO_OF_END = "echo of the line end"
NO_PRINT = "PRINT is not understood, so nothing shows it"
NEEDS_CONSENT = "needs consent to store test lines"
"""The evidence of a value that was not looked for."""

Confidence = Literal["measured", "likely", "not found"]

KINDS = {f"{table}.{key.name}": key.kind for table, keys in TABLES.items() for key in keys}
"""The kind of value that a profile may hold, by its name."""


@dataclass(frozen=True, slots=True)
class SurveyFinding:
    """One value that a survey looked for.

    name: in a profile (`talk.baud`). evidence: how it was found, or why it was not. confidence: how
    certain it is.
    """

    name: str
    value: object
    evidence: str
    confidence: Confidence

    @property
    def is_found(self) -> bool:
        """Return whether a value was found."""
        return self.confidence != "not found"


class Findings:
    """The findings of a survey in order; a later finding replaces one of the same name."""

    def __init__(self) -> None:
        self._by_name: dict[str, SurveyFinding] = {}

    def add(
        self, name: str, value: object, evidence: str, confidence: Confidence = "measured"
    ) -> None:
        """Record a value. A value that no profile can hold counts as not found."""
        if can_be_written(name, value):
            self._by_name[name] = SurveyFinding(name, value, evidence, confidence)
        else:
            self.missing(name, f"{evidence}, which a profile cannot express")

    def missing(self, name: str, evidence: str) -> None:
        """Record why a value was not found."""
        self._by_name[name] = SurveyFinding(name, None, evidence, "not found")

    def unstored(self, why: str) -> None:
        """Record why no test line was stored although there was consent."""
        for one in list(self):
            if one.evidence == NEEDS_CONSENT:
                self.missing(one.name, why)

    def forget(self, *names: str) -> None:
        """Remove some findings, because they are about to be measured."""
        for name in names:
            self._by_name.pop(name, None)

    def __iter__(self) -> Iterator[SurveyFinding]:
        return iter(self._by_name.values())

    def __contains__(self, name: str) -> bool:
        finding = self._by_name.get(name)
        return finding is not None and finding.is_found

    def is_measured(self, name: str) -> bool:
        """Return whether a value was found with certainty."""
        finding = self._by_name.get(name)
        return finding is not None and finding.confidence == "measured"

    def value(self, name: str) -> object:
        """Return a value, or None if it was not found."""
        finding = self._by_name.get(name)
        return finding.value if finding is not None else None


def can_be_written(name: str, value: object) -> bool:
    """Return whether a profile can hold a value under a name and read it back unchanged."""
    kind = KINDS.get(name)
    if kind is None or value is None:
        return False
    try:
        return bool(kind.read(tomllib.loads(f"value = {written(value)}")["value"]) == value)
    except (Wrong, TypeError, ValueError):
        return False
