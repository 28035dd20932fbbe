"""Adapted programs print the same: generated ones run on the practice board of each kind.

The practice board's BASIC shares no code with the rules of rewriting.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.jobs.adapting import adapt_for
from hostlink.jobs.proving import prove
from hostlink.listing import Listing

# Many seeds go the same way: other tests pass these lines, so tracing here only costs time.
pytestmark = pytest.mark.no_cover

GENERATED = 40


@pytest.mark.slow
def test_generated_programs_adapt_to_floating_point(make_program: Callable[..., str]) -> None:
    """Whole division is written out where the board keeps fractions; each is proven."""
    practice, ready = find_profile("practice"), find_profile("ready")
    for seed in range(GENERATED):
        listing = Listing.from_text(make_program(seed))
        made = adapt_for(listing, practice, ready)
        proof = prove(listing, made, ("practice", "ready"), ())
        assert proof.result == "proven", (seed, proof.says, made.needs)


@pytest.mark.slow
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
            assert proof.result == "proven", (seed, proof.says, needs)
