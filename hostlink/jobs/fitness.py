"""Whether a listing is fit to be loaded into a kind of board, and what makes it so."""

from __future__ import annotations

import shlex
from contextlib import suppress

from hostlink.board.profile import Profile
from hostlink.board.profile_file import find_profile
from hostlink.errors import HostlinkError, RefusedError
from hostlink.jobs.material import Material
from hostlink.listing import Listing, Review, mend, review
from hostlink.listing.shrink import shrink
from hostlink.words import plural


def check_loadable(material: Material, profile: Profile, *, despite_review: bool) -> None:
    """Raise RefusedError where a listing is not fit to be loaded; needs no board.

    Opening a port may restart a board, so this comes first. What came from a board goes back to one
    as it was, whatever a review says of it.
    """
    checked = review(material.listing, profile.rules)
    if not material.listing.numbered():
        raise _nothing_to_load(material, profile)
    came_from_a_board = material.held is not None and material.origin.kind in ("board", "rescue")
    if checked.errors and not (despite_review or came_from_a_board):
        raise _refusal(material, profile, checked)


def smaller_advice(material: Material, profile: Profile, room: int) -> str:
    """What helps where a listing takes more than `room` bytes: the command that makes it fit, or
    how much is over at its smallest."""
    rules = profile.rules.with_room(room)
    smallest = shrink(material.listing, rules, to_fit=True, size_words=profile.size_words)
    if not smallest.fits:
        over = plural(smallest.after - room, "byte")
        return f"Made as small as hostlink can, it is still {over} over."
    command = f"shrink {material.word} --to-fit --room {room}{_for(profile)} -o NEW-FILE"
    return f"`hostlink {command}` makes it fit."


def _nothing_to_load(material: Material, profile: Profile) -> RefusedError:
    return RefusedError(
        f"{material.label} has no numbered line, so there is nothing to load.",
        kept="Nothing was sent to the board.",
        advice=_mend_advice(material, profile),
    )


def _refusal(material: Material, profile: Profile, checked: Review) -> RefusedError:
    first = checked.errors[0]
    where = f"line {first.number}: " if first.number is not None else ""
    others = len(checked.errors) - 1
    more = ""
    if others:
        more = f" There {'is 1 more error' if others == 1 else f'are {others:,} more errors'}."
    shows = f"`hostlink review {material.word}{_for(profile)}` shows everything."
    advice = [first.advice, shows, _mend_advice(material, profile)]
    if first.rule == "does-not-fit":
        advice.append(smaller_advice(material, profile, profile.rules.storage.program_bytes))
    return RefusedError(
        f"{material.label} would not load as it is: {where}{first.message}{more}",
        kept="Nothing was sent to the board.",
        advice=" ".join(part for part in advice if part),
    )


def _mend_advice(material: Material, profile: Profile) -> str:
    """Advice to mend, where mending would leave fewer errors; else ""."""
    mended = mend(material.text, profile.rules)
    before = review(material.listing, profile.rules).errors
    after = review(Listing.from_text(mended.text), profile.rules).errors
    if len(after) >= len(before):
        return ""
    left = f"all but {len(after):,} of them" if after else "this"
    return f"`hostlink mend {material.word}{_for(profile)} -o NEW-FILE` repairs {left}."


def _for(profile: Profile) -> str:
    """The option that names a profile, where it can be named."""
    with suppress(HostlinkError):
        # An address may tell another size of memory; that is named by itself.
        if find_profile(profile.name).rules.with_room(0) == profile.rules.with_room(0):
            return f" --profile {shlex.quote(profile.name)}"
    return ""
