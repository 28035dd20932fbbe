"""Checking whether a listing can be loaded into a kind of board, with advice if it cannot."""

from __future__ import annotations

from contextlib import suppress

from hostlink.advice import Advice, join_advice
from hostlink.board.profile.file import find_profile
from hostlink.board.profile.model import Profile
from hostlink.errors import HostlinkError, RefusedError
from hostlink.jobs.listing_source import Material
from hostlink.listing import Listing, Review, mend, review
from hostlink.listing.shrinking.shrink import shrink
from hostlink.sentences import NOTHING_SENT, no_numbered_line
from hostlink.words import plural


def check_loadable(material: Material, profile: Profile, *, despite_review: bool) -> None:
    """Raise RefusedError if a listing cannot be loaded; this needs no board.

    It comes first because opening a port may restart a board. A listing that came from a board may
    go back whatever the review finds.
    """
    checked = review(material.listing, profile.rules)
    if not material.listing.numbered():
        raise _nothing_to_load(material, profile)
    if checked.errors and not (despite_review or material.is_from_board):
        raise _refusal(material, profile, checked)


def smaller_advice(material: Material, profile: Profile, room: int) -> Advice:
    """Return advice for a listing that is too large: how to make it fit, if it can.

    room: bytes that the board has for a program.
    """
    rules = profile.rules.with_room(room)
    smallest = shrink(material.listing, rules, to_fit=True, size_words=profile.size_words)
    if not smallest.fits:
        over = plural(smallest.after - smallest.limit, "byte")
        return f"As small as hostlink can make it, it is still {over} over."
    name = _nameable(profile)
    return lambda by: f"Make it fit {by.shrink_to_fit(material.word, room, name)}."


def _nothing_to_load(material: Material, profile: Profile) -> RefusedError:
    return RefusedError(
        no_numbered_line("load", material.label),
        kept=NOTHING_SENT,
        advice=_mend_advice(material, profile),
    )


def _refusal(material: Material, profile: Profile, checked: Review) -> RefusedError:
    first = checked.errors[0]
    is_said = first.number is None or first.names_its_place
    where = "" if is_said else f"line {first.number}: "
    others = len(checked.errors) - 1
    more = ""
    if others:
        more = f" There {'is 1 more error' if others == 1 else f'are {others:,} more errors'}."
    name = _nameable(profile)
    advice: list[Advice] = [
        first.advice,
        lambda by: f"See everything {by.review(material.word, name)}.",
        _mend_advice(material, profile),
    ]
    if first.rule == "does-not-fit":
        advice.append(smaller_advice(material, profile, profile.rules.storage.program_bytes))
    return RefusedError(
        f"{material.label} would not load as it is: {where}{first.message}{more}",
        kept=NOTHING_SENT,
        advice=join_advice(*advice),
    )


def _mend_advice(material: Material, profile: Profile) -> Advice:
    """Return advice to mend the listing if that would leave fewer errors, else ""."""
    mended = mend(material.text, profile.rules)
    before = review(material.listing, profile.rules).errors
    after = review(Listing.from_text(mended.text), profile.rules).errors
    if len(after) >= len(before):
        return ""
    left = f"all but {len(after):,} of them" if after else "this"
    name = _nameable(profile)
    return lambda by: f"Repair {left} {by.mend(material.word, name)}."


def _nameable(profile: Profile) -> str:
    """Return the name by which a profile can be found, "" if there is none."""
    with suppress(HostlinkError):
        # An address may set another memory size, which is passed separately.
        if find_profile(profile.name).rules.with_room(0) == profile.rules.with_room(0):
            return profile.name
    return ""
