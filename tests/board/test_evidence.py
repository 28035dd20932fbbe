"""What speaks against a wire, and how many readings that calls for."""

from __future__ import annotations

import pytest

from hostlink.board.dialogue.evidence import DamageSign, Evidence
from hostlink.link.wire import Health


@pytest.mark.parametrize(
    ("notes", "bytes_in", "need"),
    [(0, 0, 3), (0, 999, 3), (0, 1000, 2), (1, 10_000, 3), (2, 1000, 3), (3, 1000, 5), (9, 20, 5)],
)
def test_notes_call_for_more_readings(notes: int, bytes_in: int, need: int) -> None:
    """Two where 1,000 bytes came without a note, three after any, five above 0.2 % of damage."""
    evidence = Evidence(Health(bytes_in=bytes_in))
    evidence.note(DamageSign.RETYPED, notes)
    assert evidence.readings_needed() == need


def test_the_boards_own_doubt_costs_a_third_reading() -> None:
    """However clean the wire was."""
    assert Evidence(Health(bytes_in=10_000)).readings_needed(doubted=True) == 3


def test_one_reading_shows_a_program_that_was_sent_over_a_clean_wire_with_echo() -> None:
    """Without echo, or after any note, it takes two."""
    evidence = Evidence(Health())
    assert evidence.agreeing_needed(echo=True) == 1
    assert evidence.agreeing_needed(echo=False) == 2
    evidence.note(DamageSign.NOT_AS_SENT)
    assert evidence.agreeing_needed(echo=True) == 2


def test_the_damage_rate_counts_both_directions() -> None:
    """One note in 17 bytes that passed."""
    evidence = Evidence(Health(bytes_out=7, bytes_in=10))
    evidence.note(DamageSign.LINE_DAMAGED)
    assert evidence.damage_rate == pytest.approx(1 / 17)


def test_what_may_have_been_counted_before_is_not_counted_twice() -> None:
    """Three differences where two notes stand add one; none is taken away."""
    evidence = Evidence(Health())
    evidence.note(DamageSign.RETYPED, 2)
    evidence.note_at_least(DamageSign.NOT_AS_SENT, 3)
    assert evidence.total == 3
    evidence.note_at_least(DamageSign.NOT_AS_SENT, 1)
    evidence.note(DamageSign.NO_LINE, 0)
    assert evidence.total == 3
    assert evidence.notes == {DamageSign.RETYPED: 2, DamageSign.NOT_AS_SENT: 1}
