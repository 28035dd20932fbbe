"""The results of a survey: in words, as kept with a board, and compared with a profile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from hostlink.archive import Archive
from hostlink.board.profile.model import Profile
from hostlink.board.survey.findings import SurveyFinding
from hostlink.board.survey.proposal import value_in

_NAMED = 8  # items named of a list


@dataclass(frozen=True, slots=True)
class PastSurvey:
    """The result of an earlier survey. rows: as made by finding_rows. told: a paragraph on it."""

    at: datetime
    rows: tuple[tuple[str, str, str, str], ...]
    told: str = ""


def finding_rows(findings: Sequence[SurveyFinding]) -> tuple[tuple[str, str, str, str], ...]:
    """Return each finding in words: the name of the value, the value, confidence, evidence."""
    return tuple(
        (one.name, value_words(one.value), one.confidence, one.evidence) for one in findings
    )


def value_words(value: object) -> str:
    """Return a value of a profile in words: bytes as in Python, "-" for none."""
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        each = [" ".join(map(str, one)) if isinstance(one, tuple) else str(one) for one in value]
        more = f" and {len(each) - _NAMED} more" if len(each) > _NAMED else ""
        return ", ".join(each[:_NAMED]) + more
    return repr(value)[1:] if isinstance(value, bytes) else str(value)


def last_survey(archive: Archive, board_uuid: str) -> PastSurvey | None:
    """Return the result of the last survey of a board, or None."""
    for event in archive.events(board_uuid=board_uuid, job="survey"):
        found = event.detail.get("found")
        if isinstance(found, list):
            rows = [tuple(map(str, row)) for row in found if isinstance(row, list)]
            words = str(event.detail.get("told", ""))
            return PastSurvey(event.started_at, tuple(row for row in rows if len(row) == 4), words)
    return None


@dataclass(frozen=True, slots=True)
class Difference:
    """A value in which a board differs from a profile."""

    name: str
    board: object
    profile: object
    evidence: str


def differences_from(findings: Sequence[SurveyFinding], profile: Profile) -> list[Difference]:
    """Compare findings with a profile; times within a fifth count as equal."""
    differences = []
    for finding in findings:
        if not finding.is_found:
            continue
        expected = value_in(profile, finding.name)
        if not _alike(finding.name, finding.value, expected):
            differences.append(Difference(finding.name, finding.value, expected, finding.evidence))
    return differences


def _alike(key: str, found: object, expected: object) -> bool:
    if key.endswith("_ms") and isinstance(found, float) and isinstance(expected, int | float):
        return abs(found - expected) <= 0.2 * max(found, expected) + 0.2
    return found == expected
