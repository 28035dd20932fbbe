"""Damage by seed: how often, of which kinds, and always the same."""

from __future__ import annotations

import math

import pytest

from hostlink.practice.faults import Damage

BYTES = 200_000


@pytest.mark.parametrize("rate", [0.001, 0.01, 0.1, 0.5])
def test_damage_comes_at_about_its_rate(rate: float) -> None:
    """Within four standard deviations of a binomial distribution, for this fixed seed."""
    damage = Damage(rate, 7)
    for _ in range(BYTES):
        damage.of(65)
    sigma = math.sqrt(BYTES * rate * (1 - rate))
    assert abs(damage.count - BYTES * rate) < 4 * sigma


def test_the_three_kinds_come_equally_often() -> None:
    """Dropped, doubled and changed are each a third, within four standard deviations."""
    damage = Damage(1.0, 5)
    kinds = {"dropped": 0, "doubled": 0, "changed": 0}
    rounds = 30_000
    for _ in range(rounds):
        got = tuple(damage.of(65))
        if not got:
            kinds["dropped"] += 1
        elif got == (65, 65):
            kinds["doubled"] += 1
        else:
            assert len(got) == 1
            assert got[0] != 65
            kinds["changed"] += 1
    sigma = math.sqrt(rounds * (1 / 3) * (2 / 3))
    assert all(abs(count - rounds / 3) < 4 * sigma for count in kinds.values())


def test_every_other_byte_passes_unchanged() -> None:
    """What is not counted as damaged arrives as it was sent."""
    damage = Damage(0.05, 9)
    wrong = sum(tuple(damage.of(byte % 256)) != (byte % 256,) for byte in range(20_000))
    assert wrong == damage.count > 0


def test_the_same_seed_damages_the_same_bytes() -> None:
    """Two streams with one seed are equal, another seed gives another."""

    def stream(seed: int) -> list[tuple[int, ...]]:
        damage = Damage(0.05, seed)
        return [tuple(damage.of(byte % 256)) for byte in range(5000)]

    assert stream(1) == stream(1)
    assert stream(1) != stream(2)


def test_no_damage_at_rate_zero() -> None:
    """Rate 0 never touches a byte."""
    damage = Damage(0.0, 1)
    assert all(tuple(damage.of(byte % 256)) == (byte % 256,) for byte in range(1000))


@pytest.mark.parametrize("rate", [1e-11, 1e-17, 1e-300, 5e-324])
def test_a_rate_near_zero_is_no_division_by_zero(rate: float) -> None:
    """Rates too small for the logarithm count as none, instead of failing."""
    damage = Damage(rate, 1)
    assert tuple(damage.of(65)) == (65,)


@pytest.mark.parametrize("rate", [1.0, 2.0])
def test_a_rate_of_one_or_more_damages_every_byte(rate: float) -> None:
    """No byte passes."""
    damage = Damage(rate, 1)
    assert all(tuple(damage.of(65)) != (65,) for _ in range(500))
