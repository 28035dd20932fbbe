"""Adapted programs print the same: generated ones run on the practice board of each kind.

The practice board's BASIC shares no code with the rules of rewriting.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.jobs.adapting import adapt_for, prove
from hostlink.listing import Listing

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

GENERATED = 40


@pytest.mark.parametrize("kind", ["capital", "token"])
def test_generated_programs_adapt_there_and_back(
    kind: str, make_program: Callable[..., str]
) -> None:
    """From the practice board and back again, each way proven, none prints something else."""
    practice, other = find_profile("practice"), find_profile(kind)
    for seed in range(GENERATED):
        listing = Listing.from_text(make_program(seed))
        there = adapt_for(listing, practice, other)
        back = adapt_for(there.listing, other, practice)
        proofs = [
            (there.needs, prove(listing, there, ("practice", kind), ())),
            (back.needs, prove(there.listing, back, (kind, "practice"), ())),
        ]
        for needs, proof in proofs:
            told = [need.what for need in needs]
            too_long = all("characters" in what for what in told) and bool(told)
            assert proof.result == "proven" or too_long, (seed, proof.says, told)
