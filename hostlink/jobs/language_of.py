"""Find out for which BASIC a listing was written, and adapt it to that of a board if needed."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache

from hostlink.advice import Ways
from hostlink.archive import Archive, Origin
from hostlink.board.dialogue.events import Warned
from hostlink.board.profile.file import find_profile, load_profile, shipped_profiles
from hostlink.board.profile.model import Profile
from hostlink.errors import HostlinkError, RefusedError
from hostlink.jobs.adapting import adapt_for
from hostlink.jobs.events import Emit
from hostlink.jobs.listing_source import (
    Adaptation,
    Material,
    find_material,
    from_archive,
    is_shipped,
    read_shipped,
)
from hostlink.jobs.proving import Proof, inputs_of, prove
from hostlink.listing import review
from hostlink.listing.adapting.adapt import Adapted
from hostlink.listing.adapting.forms import FoundForm, Guess, forms_in, guess_origin
from hostlink.listing.reading import Reader
from hostlink.listing.reviewing.line_checks import misspelt
from hostlink.listing.rules import Language
from hostlink.listing.tokens import keywords
from hostlink.practice.kind_file import kind_names
from hostlink.sentences import NOTHING_SENT
from hostlink.words import plural

SHIPPED_FOR = "practice"
"""The profile for which the shipped programs are written."""
_SHOWN = 3
_ADAPTED = "adapted from "  # begins the note of a revision that was adapted


@dataclass(frozen=True, slots=True)
class Offer:
    """An adaptation from one board's BASIC to another's. says: why, in a sentence."""

    says: str
    made: Adapted
    source: Profile
    target: Profile


Allow = Callable[[Offer], bool]


class LanguageError(RefusedError):
    """A listing holds forms that the board does not take. offer: its adaptation, None if none."""

    offer: Offer | None = None


@cache
def known_profiles() -> Mapping[str, Profile]:
    """Return the shipped profiles that state the forms of their BASIC, by name."""
    found = {name: load_profile(file) for name, file in shipped_profiles().items()}
    return {name: each for name, each in found.items() if each.rules.language.number}


def guessed_kind(material: Material, target: Profile) -> Guess:
    """Guess for which kind of board a listing was written. target: where it is to run."""
    known = {name: profile.rules for name, profile in known_profiles().items()}
    if target.rules.language.number:
        known[target.name] = target.rules
    errors = {
        name: sum(error.rule != "does-not-fit" for error in review(material.listing, rules).errors)
        for name, rules in known.items()
    }
    languages = {name: rules.language for name, rules in known.items()}
    return guess_origin(material.listing, languages, target.name, kind_names(), errors)


def in_language_of(
    profile: Profile, material: Material, emit: Emit, *, despite: bool, allow: Allow
) -> Material:
    """Return the listing in the BASIC of a board: unchanged, or adapted if that is needed.

    A shipped program is adapted and the user is told; for any other listing `allow` is asked. The
    result is run and compared with the original. A listing that came from a board may go back
    unchanged. despite: load forms that the board does not take. Raises LanguageError if the listing
    needs something that the board lacks, if `allow` declines, or if the result prints something
    else.
    """
    if material.adapted is not None:
        if material.adapted.target == profile:
            return material
        material = material.adapted.original
    found = None if material.is_from_board else offer(profile, material)
    if found is None or (despite and (found.made.needs or material.shipped is None)):
        return material
    if slip := _slip(material, profile):
        raise slip
    if found.made.needs or (material.shipped is None and not allow(found)):
        raise _refused(material, found)
    kinds = found.source.name, found.target.name
    proof = prove(material.listing, found.made, kinds, inputs_of(material))
    if proof.result == "differs":
        if despite:
            return material
        raise _refused(material, found, proof)
    if material.shipped is not None:
        changed = plural(len(found.made.changes), "line")
        emit(Warned(f"{material.label} was adapted for {profile.name}: {changed} changed."))
    return _adapted(material, found, proof)


def find_original(what: str, archive: Archive) -> Material:
    """Find a listing as `find_material` does, but return the original of an adapted one.

    So a program whose newest revision was adapted to one kind of board can be loaded into every
    kind. A program that the archive holds just as it was shipped counts as shipped, and is adapted
    without a question. NAME@NUMBER always means exactly that revision.
    """
    material = find_material(what, archive)
    while "@" not in what and (made := material.revision) is not None:
        if made.note.startswith(_ADAPTED) and made.parent:
            material = from_archive(made.parent, archive)
        elif is_shipped(material.name, material.raw):
            material = read_shipped(material.name)
        else:
            break
    return material


def offer(profile: Profile, material: Material) -> Offer | None:
    """Return how a listing would be adapted to a board.

    None if the board takes it as it is, or if it is not known which board it is for.
    """
    if not profile.rules.language.number:
        return None
    known = material.shipped is not None or material.held is not None
    strange = () if material.shipped else _strange(material, profile.rules.language)
    source = written_for(material, profile) if known or strange else None
    if source is None or source.name == profile.name:
        return None
    made = adapt_for(material.listing, source, profile)
    if not (strange or made.needs or any(change.needed for change in made.changes)):
        return None
    return Offer(_says(material, source, profile, strange, made), made, source, profile)


def _adapted(material: Material, offer: Offer, proof: Proof) -> Material:
    text = offer.made.listing.text()
    note = f"{_ADAPTED}{offer.source.name} for {offer.target.name}"
    return dataclasses.replace(
        material,
        text=text,
        raw=text.encode("utf-8", "replace"),
        charset="utf-8",
        origin=Origin("edit", material.label, note=note, unproven=proof.unproven),
        revision=None,
        held=None,
        adapted=Adaptation(material, offer.source, offer.target),
    )


def written_for(material: Material, target: Profile) -> Profile | None:
    """Return the profile of the board that a listing was written for, known or guessed; or None.

    target: the profile of the board that it is to run on.
    """
    name = SHIPPED_FOR if material.shipped else material.held.profile if material.held else ""
    if name:
        with suppress(HostlinkError):
            profile = find_profile(name)
            if profile.rules.language.number:
                return profile
    found = guessed_kind(material, target).names
    return {**known_profiles(), target.name: target}[found[0]] if found else None


def _strange(material: Material, language: Language) -> tuple[FoundForm, ...]:
    """Return the forms of a listing that a board does not take."""
    known = [*(each.rules.language for each in known_profiles().values()), language]
    return tuple(form for form in forms_in(material.listing, known) if not form.taken(language))


def _slip(material: Material, target: Profile) -> LanguageError | None:
    """Return the error for a listing whose strange forms are all in misspelt lines, or None."""
    if material.shipped is not None or material.held is not None:
        return None
    language = target.rules.language
    reader = Reader(language)
    others = {word for each in known_profiles().values() for word in keywords(each.rules.language)}
    slips = {
        number: found
        for number, line in material.listing.numbered().items()
        if (found := misspelt(line, reader, others))
    }
    lines = {number for form in _strange(material, language) for number in form.lines}
    if not lines or not lines <= set(slips):
        return None
    number = min(lines)
    wrong, near = slips[number]
    return LanguageError(
        f"{material.label}, line {number}: {wrong} is not a word of this BASIC; {near} is similar.",
        kept=NOTHING_SENT,
        advice=lambda by: (
            f"Correct it, or send it as it is {by.load_despite_review(material.word)}."
        ),
    )


def _says(
    material: Material,
    source: Profile,
    target: Profile,
    strange: tuple[FoundForm, ...],
    made: Adapted,
) -> str:
    """Return the sentence on why a listing cannot be loaded as it is."""
    found: Mapping[str, tuple[int, ...]] = (
        {need.what: need.lines for need in made.needs}
        or {form.what: form.lines for form in strange}
        or {why: (each.number,) for each in made.changes if each.needed for why in each.why}
    )
    told = [f"{what} (line {lines[0]})" for what, lines in list(found.items())[:_SHOWN]]
    more = " and more" if len(found) > _SHOWN else ""
    was, doubt = "was", ""
    if not (material.shipped or material.held):
        was, doubt = "seems to have been", doubt_words(guessed_kind(material, target))
    return (
        f"{material.label} {was} written for the BASIC of {source.name}. The BASIC of "
        f"{target.name} has other forms: {'; '.join(told)}{more}.{doubt and f' {doubt}'}"
    )


def doubt_words(found: Guess) -> str:
    """Return which forms mean something else on the other likely kinds, "" if none does."""
    if not found.disputed:
        return ""
    told = ", ".join(f"{form.what} (line {form.lines[0]})" for form in found.disputed)
    return f"The kinds {', '.join(found.names)} treat these differently: {told}."


def _refused(material: Material, offer: Offer, proof: Proof | None = None) -> LanguageError:
    """Return the error for a listing that is not loaded. proof: of its adapted form, if run."""
    needs, word = offer.made.needs, material.word
    places = plural(sum(len(need.lines) for need in needs), "place")

    def advice(by: Ways) -> str:
        see = f"See what would change {by.adapt(word, offer.source.name, offer.target.name)}"
        done = f"{see} and rewrite it" if proof else f"Rewrite {places}"
        todo = f"{done} by hand, or load it"
        if not (needs or proof):
            todo = f"{see}; load it adapted {by.load_adapted(word)}, or"
        return f"{todo} as it is {by.load_despite_review(word)}."

    ran = f"{material.label} was adapted for {offer.target.name} and run. "
    says = ran + proof.says if proof else offer.says
    error = LanguageError(says, kept=NOTHING_SENT, advice=advice)
    error.offer = None if needs or proof else offer
    return error
