"""Random kinds of board: what a survey keeps of them loads and saves, or says what is not known.

Two hundred are tried by `scripts/soak.py --kinds 200`.
"""

from __future__ import annotations

import pytest
from soak_kind_space import draw_kind
from soak_random import PROGRAMS, try_kind

KINDS = 24
PARTS = 4
MOST_APART = 1  # of each part


@pytest.mark.slow
@pytest.mark.parametrize("part", range(PARTS))
def test_what_is_kept_of_a_random_kind_loads_and_saves_proven(part: int) -> None:
    """Nothing on the board is altered unsaid, and only few kinds are said not to be known."""
    tried = [try_kind(number) for number in range(part, KINDS, PARTS)]
    assert {each.number: each.unsaid for each in tried if each.unsaid} == {}
    apart = [each for each in tried if each.apart]
    assert len(apart) <= MOST_APART, apart
    assert all(each.programs == PROGRAMS for each in tried if each not in apart)


def test_a_number_always_draws_the_same_kind() -> None:
    """And another one another kind."""
    assert draw_kind(7) == draw_kind(7)
    assert draw_kind(7) != draw_kind(8)
