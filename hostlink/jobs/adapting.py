"""Adapt a listing for another kind of board, and prove it by running both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from hostlink.board.profile.model import Profile
from hostlink.errors import RefusedError, UsageError
from hostlink.jobs.listing_source import Material, shipped_programs
from hostlink.listing import Listing
from hostlink.listing.adapting.adapt import Adapted, Change, adapt
from hostlink.listing.adapting.needs import Need
from hostlink.listing.shrinking.shrink import shrink
from hostlink.words import plural

SEEDS = (1, 2, 3)
"""The random numbers that a program with RND is run with."""

Alike = Literal["same", "spread", "blanks", ""]
Result = Literal["proven", "open", "differs"]


@dataclass(frozen=True, slots=True)
class Proof:
    """How the original and the result compare when both run. says: a sentence."""

    result: Result
    says: str


def adapt_for(listing: Listing, source: Profile, target: Profile) -> Adapted:
    """Rewrite a listing of the source's board for that of the target.

    Raises UsageError if a profile does not state the forms of its BASIC.
    """
    for profile in (source, target):
        if not profile.rules.language.number:
            raise UsageError(
                f"The profile {profile.name} does not say what its BASIC takes and shows.",
                kept="The listing was not changed.",
                advice='Add "number" and the other forms to its [language], or name another one.',
            )
    return adapt(listing, source.rules.language, target.rules)


def fitted(made: Adapted, target: Profile) -> Adapted:
    """Return an adapted listing made smaller as far as it has to be, by the costs of its board."""
    if made.fits or made.needs:
        return made
    small = shrink(made.listing, target.rules, to_fit=True, size_words=target.size_words)
    steps = f"Made smaller to fit: {made.after:,} bytes became {small.after:,}."
    return replace(
        made, listing=small.listing, after=small.after, notes=(*made.notes, steps, *small.notes)
    )


def change_rows(change: Change) -> list[str]:
    """Return a change as people read it: the line, what it becomes, why, and what that costs."""
    before = [change.before] if change.before else ["A new line"]
    after = [f"  becomes {line}" if change.before else f"  {line}" for line in change.after]
    return [*before, *after, f"  because {'; '.join(change.why)} ({cost_words(change.cost)})"]


def cost_words(cost: int) -> str:
    """Return what a change costs. cost: bytes more, negative where there are fewer."""
    if not cost:
        return "same size"
    return f"{plural(abs(cost), 'byte')} {'more' if cost > 0 else 'less'}"


def need_words(need: Need) -> str:
    """Return what has no equal on a board, and where."""
    which = "line" if len(need.lines) == 1 else "lines"
    return f"Left as it is: {need.what}; {which} {', '.join(map(str, need.lines))}."


def inputs_of(material: Material) -> Sequence[str] | None:
    """Return the answers to a shipped program's questions; None for any other listing."""
    origin = material.origin
    shipped = shipped_programs().get(origin.where.upper()) if origin.kind == "library" else None
    return None if shipped is None else shipped.inputs


def prove(
    original: Listing, made: Adapted, kinds: tuple[str, str], inputs: Sequence[str] | None
) -> Proof:
    """Run the original and the result, each on a practice board of its kind, and compare.

    kinds: the names of both profiles. inputs: the lines for INPUT, None if there are none.
    """
    from hostlink.practice.kind_file import kind_names

    if made.needs:
        return Proof("open", "Not proven: it needs what the board does not have.")
    missing = [kind for kind in kinds if kind not in kind_names()]
    if missing:
        return Proof("open", f"Not proven: there is no practice board of the kind {missing[0]}.")
    texts = (original.text(), made.listing.text())
    if inputs is None and "INPUT" in texts[0].upper():
        return Proof("open", "Not proven: the program asks for input, and no answers are known.")
    if made.asks_free:
        return Proof("open", "Not proven: what it prints depends on the board's free memory.")
    seeds = SEEDS if "RND" in texts[0].upper() else SEEDS[:1]
    try:
        found = [_runs_alike(texts, kinds, inputs or (), seed) for seed in seeds]
    except RefusedError as error:
        return Proof("open", f"Not proven: {error.what}")
    if "" in found:
        return Proof(
            "differs", "The result prints something else than the original. Do not use it."
        )
    how = "blanks" if "blanks" in found else "spread" if "spread" in found else "same"
    return Proof("proven", f"Proven: both were run and printed the same{_APART[how]}.")


_APART: dict[str, str] = {
    "same": "",
    "spread": ", apart from how many blanks stand between words",
    "blanks": ", apart from blanks round numbers",
}


def _runs_alike(
    texts: tuple[str, str], kinds: tuple[str, str], inputs: Sequence[str], seed: int
) -> Alike:
    from hostlink.practice.bare import outcome
    from hostlink.practice.kind_file import find_kind

    boards = [find_kind(kind) for kind in kinds]
    lists = [board.language.input_list for board in boards]
    first, second = (
        outcome(
            text,
            inputs if taken == "row" else answers_apart(inputs),
            kind=board,
            seed=seed,
            with_answers=lists[0] == lists[1],
        )
        for text, board, taken in zip(texts, boards, lists, strict=True)
    )
    return alike(first.printed, second.printed) if first.used_up == second.used_up else ""


def answers_apart(inputs: Sequence[str]) -> list[str]:
    """Return the answers for a board that takes one number in a row."""
    return [number for line in inputs for number in line.split(",")]


def alike(first: str, second: str) -> Alike:
    """Return how far two outputs are the same: "same", "spread", "blanks", or "" if they differ.

    "spread": each row has the same words; "blanks": each row has the same characters but blanks.
    """
    one, other = first.rstrip("\n"), second.rstrip("\n")
    if one == other:
        return "same"
    rows = [row.split() for row in one.split("\n")]
    others = [row.split() for row in other.split("\n")]
    if rows == others:
        return "spread"
    return "blanks" if ["".join(r) for r in rows] == ["".join(r) for r in others] else ""
