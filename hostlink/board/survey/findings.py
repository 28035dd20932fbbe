"""What a survey found: one value at a time, with its evidence and how sure it is."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from hostlink.board.profile.kinds import Wrong
from hostlink.board.profile.schema import TABLES
from hostlink.board.profile.written import written

NEEDS_CONSENT = "needs consent to store test lines"
"""The evidence of a value that was not looked for."""

Confidence = Literal["measured", "likely", "not found"]

KINDS = {f"{table}.{key.name}": key.kind for table, keys in TABLES.items() for key in keys}
"""The kind of value that a profile may hold, by its name."""


@dataclass(frozen=True, slots=True)
class SurveyFinding:
    """One value: its name in a profile (`talk.baud`), how it was found, how sure that is."""

    name: str
    value: object
    evidence: str
    confidence: Confidence

    @property
    def is_found(self) -> bool:
        """Whether there is a value."""
        return self.confidence != "not found"


class Findings:
    """What a survey found, in order; a later finding of the same name replaces an earlier one."""

    def __init__(self) -> None:
        self._by_name: dict[str, SurveyFinding] = {}

    def add(
        self, name: str, value: object, evidence: str, confidence: Confidence = "measured"
    ) -> None:
        """Note a value. One that no profile can hold counts as not found."""
        if fits(name, value):
            self._by_name[name] = SurveyFinding(name, value, evidence, confidence)
        else:
            self.missing(name, f"{evidence}, which a profile cannot say")

    def missing(self, name: str, evidence: str) -> None:
        """Say why a value could not be found."""
        self._by_name[name] = SurveyFinding(name, None, evidence, "not found")

    def unstored(self, why: str) -> None:
        """Say why no test line was stored, with consent, in place of that consent is needed."""
        for one in list(self):
            if one.evidence == NEEDS_CONSENT:
                self.missing(one.name, why)

    def forget(self, *names: str) -> None:
        """Forget what was noted under some names, since they are about to be measured."""
        for name in names:
            self._by_name.pop(name, None)

    def __iter__(self) -> Iterator[SurveyFinding]:
        return iter(self._by_name.values())

    def __contains__(self, name: str) -> bool:
        finding = self._by_name.get(name)
        return finding is not None and finding.is_found

    def is_measured(self, name: str) -> bool:
        """Whether a value was found for certain."""
        finding = self._by_name.get(name)
        return finding is not None and finding.confidence == "measured"

    def value(self, name: str) -> object:
        """A value found, None where it was not."""
        finding = self._by_name.get(name)
        return finding.value if finding is not None else None


def fits(name: str, value: object) -> bool:
    """Whether a profile can hold a value under a name, so that it reads back equal."""
    kind = KINDS.get(name)
    if kind is None or value is None:
        return False
    try:
        return bool(kind.read(tomllib.loads(f"value = {written(value)}")["value"]) == value)
    except (Wrong, TypeError, ValueError):
        return False
