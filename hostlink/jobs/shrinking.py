"""Offer to remove the lines that a program never reaches, and prove the result by running it."""

from __future__ import annotations

from collections.abc import Sequence

from hostlink.board.profile.model import Profile
from hostlink.jobs.proving import DEPENDS_ON_FREE, Proof, prove_by_running
from hostlink.jobs.trying import kind_for
from hostlink.listing import Listing
from hostlink.listing.measure import line_cost
from hostlink.listing.parse import Line
from hostlink.listing.reading import Reader
from hostlink.listing.rules import Rules
from hostlink.listing.shrinking.unreached import unknown_word
from hostlink.words import lines_named, plural


def unreached_words(listing: Listing, lines: Sequence[Line], rules: Rules) -> str:
    """Return the sentence on lines that are never reached: their cost, and what would miss them.

    If there are none, it says why none is removed.
    """
    if not lines:
        unknown = unknown_word(listing, rules)
        if unknown is None:
            return "Every line may be reached, so none is removed."
        return (
            f"No line is removed as never reached: a word of line {unknown.number} might be a "
            f"jump. {unknown.message}"
        )
    size = plural(sum(line_cost(line, rules) for line in lines), "byte")
    named = lines_named(line.number for line in lines if line.number is not None)
    them = "it" if len(lines) == 1 else "them"
    return (
        f"Never reached: {named} ({size}). RUN {lines[0].number} typed by hand would miss {them}."
    )


def proof_words(proof: Proof) -> str:
    """Return the proof of a listing without its unreached lines as a sentence.

    If the proof fails, the lines stay.
    """
    if proof.result == "differs":
        return f"Not removed, because otherwise {proof.why}."
    return proof.says


def prove_shrunk(
    original: Listing, made: Listing, profile: Profile, inputs: Sequence[str] | None
) -> Proof:
    """Run a listing and the result on a practice board of a profile, and compare.

    inputs: the lines for INPUT, None if there are none.
    """
    reader = Reader(profile.rules.language)
    words = {span.word for line in original for span in reader.spans(line.text)}
    if words & {word.upper() for word in profile.size_words}:
        return Proof("open", DEPENDS_ON_FREE)
    if "LIST" in words:
        return Proof("open", "it may print its own listing")
    board = kind_for(profile)
    return prove_by_running((original, made), (board, board), inputs)
