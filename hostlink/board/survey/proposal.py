"""Make a valid profile from what a survey found.

Findings may contradict each other, or a value of the base profile. So values that follow from
others are set first. Then, while there is a contradiction, an unmeasured value is replaced by its
default; if there is none, a measured one is removed and reported as contradictory.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from typing import Any

from hostlink.board.profile.checks import profile_clashes
from hostlink.board.profile.model import Profile
from hostlink.board.profile.schema import EVIDENCE_KEY, EVIDENCE_VALUE
from hostlink.board.survey.findings import KINDS, Findings, SurveyFinding
from hostlink.listing.rules import Rules
from hostlink.words import safe

_DEFAULTS = Profile("")
_BEGUN_FROM = "is the value of profile "

_OVERHEAD = ("storage.number_bytes", "storage.length_bytes", "storage.end_bytes")

Values = dict[str, object]


def propose(base: Profile, findings: Findings, name: str) -> Profile:
    """Return the proposed profile: `base` with what was found.

    Findings that cannot be used are marked as not found. Never raises.
    """
    values: Values = {
        one.name: one.value
        for one in findings
        if one.is_found and one.name.partition(".")[0] in base.tables
    }
    measured = set(values)
    values |= _following(base, values)
    while True:
        profile = _with(base, values)
        clash = next(profile_clashes(profile), None)
        if clash is None:
            return _named(profile, base, findings, name)
        guessed = [key for key in clash.keys if key not in measured and _moves(profile, key)]
        if guessed:
            values[guessed[0]] = value_in(_DEFAULTS, guessed[0])
            continue
        taken = next(key for key in clash.keys if key in measured)
        measured.discard(taken)
        del values[taken]
        findings.missing(taken, f"it would contradict: {clash.says}"[:400])


def value_in(profile: Profile, name: str) -> object:
    """Return the value of a profile by its name, such as talk.baud."""
    table, _, key = name.partition(".")
    return getattr(profile.tables[table], key)


def begun_from(profile: Profile) -> str:
    """Return the name of the profile from which a surveyed one was made."""
    return profile.about.partition(_BEGUN_FROM)[2].rstrip(".") or profile.name


def _following(base: Profile, values: Values) -> Values:
    """Return values that follow from those found, unless they were found themselves."""

    def now(name: str) -> Any:
        return values.get(name, value_in(base, name))

    follows: Values = {}
    is_prompted = now("talk.prompt") or not now("talk.echo")
    if not is_prompted and now("talk.line_done") == "prompt":
        follows["talk.line_done"] = "after-prompt"
    if {**values, **follows}.get("talk.line_done", base.talk.line_done) != "after-prompt":
        follows["talk.after_prompt_ms"] = 0.0
    if "commands.full_words" not in values:
        words = now("commands.error_words")
        kept = [word for word in base.commands.full_words if word.startswith(words)]
        follows["commands.full_words"] = tuple(kept)
    # An unmeasured size is unknown; that of another board proves nothing.
    follows |= {"commands.free_memory": "", "storage.program_bytes": 0, "storage.exact": False}
    if "storage.kind" in values and "storage.tokens" not in values:
        follows["storage.tokens"] = ()
    return {key: value for key, value in follows.items() if key not in values} | _numbers(now)


def _numbers(now: Callable[[str], Any]) -> Values:
    """Return a line's overhead with enough bytes for the largest number; {} if it has them."""
    sizes = {name: now(name) for name in _OVERHEAD}
    needed = max(1, (now("listing.last_line").bit_length() + 7) // 8)
    if needed <= sizes["storage.number_bytes"] or not sizes["storage.number_bytes"]:
        return {}
    lacking = needed - sizes["storage.number_bytes"]
    sizes["storage.number_bytes"] = needed
    for name in _OVERHEAD[1:]:
        given = min(lacking, sizes[name])
        sizes[name] -= given
        lacking -= given
    return dict(sizes)


def _with(base: Profile, values: Values) -> Profile:
    """Return a profile with some values replaced."""
    tables: dict[str, Values] = {}
    for name, value in values.items():
        table, _, key = name.partition(".")
        tables.setdefault(table, {})[key] = value

    def changed(table: str) -> Any:
        now: Any = base.tables[table]
        return dataclasses.replace(now, **tables.get(table, {}))

    rules = Rules(changed("listing"), changed("storage"), changed("language"))
    return dataclasses.replace(
        base, talk=changed("talk"), commands=changed("commands"), rules=rules
    )


def _named(
    profile: Profile, base: Profile, findings: Iterable[SurveyFinding], name: str
) -> Profile:
    """Return the profile under its own name, with the evidence for each value."""
    evidence = dict(base.evidence)
    for one in findings:
        if one.name in KINDS:
            words = f"{one.confidence}: {one.evidence}"
            evidence[one.name] = safe(words)[: EVIDENCE_VALUE.longest]
    return dataclasses.replace(
        profile,
        name=name,
        title="Measured by a survey",
        about=f"What has no evidence below {_BEGUN_FROM}{begun_from(base)}.",
        source="hostlink survey",
        evidence=tuple((key[: EVIDENCE_KEY.longest], value) for key, value in evidence.items()),
    )


def _moves(profile: Profile, name: str) -> bool:
    """Return whether setting a value to its default changes anything."""
    return value_in(profile, name) != value_in(_DEFAULTS, name)
