"""The first job on a board that was never seen: it goes by how the board turns out to talk."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.profile.file import shipped_profiles
from hostlink.jobs.run.answers import Given
from hostlink.jobs.run.running import run
from hostlink.jobs.store_recall import recall, store
from hostlink.jobs.stored_programs import StoredSlot, stored_slots
from hostlink.practice.kind_file import find_kind, kind_names

OTHER = '10 REM ANOTHER ONE\n20 PRINT "BUOY"\n'
PROGRAM = "10 PRINT 7\n"
STORING = [
    name
    for name in kind_names()
    if name in shipped_profiles() and find_kind(name).shelf.slots != "none"
]

Make = Callable[[str], Any]


@pytest.mark.parametrize("kind", kind_names())
def test_a_program_is_run_on_a_board_that_was_never_seen(bench: Make, kind: str) -> None:
    """It asks, is answered, and ends at the prompt that was just found."""
    board = bench(kind)
    board.put("10 INPUT A\n20 PRINT A+1\n")
    with board.session(unknown=True) as session:
        ran = run(session, Given(["41"]))
    assert "42" in ran.output.split()


@pytest.mark.parametrize("kind", STORING)
def test_a_program_is_stored_and_recalled_on_a_board_that_was_never_seen(
    bench: Make, kind: str
) -> None:
    """Whether it can is asked of the kind that it turns out to be."""
    board = bench(kind)
    board.put(OTHER)
    with board.session(unknown=True) as session:
        store(session, board.archive, "LAMP", discard_board=not board.lists_stored)
    assert board.stored == [board.held_after(OTHER)]
    board.put(PROGRAM)
    with board.session(unknown=True) as session:
        recall(session, board.archive, "LAMP")
    assert board.memory == board.held_after(OTHER)


def test_what_the_one_place_holds_is_listed(bench: Make) -> None:
    """A board that names nothing shows what it has stored; an empty place is nothing stored."""
    board = bench("capital")
    with board.session(unknown=True) as session:
        assert stored_slots(session) == []
    board.put(OTHER)
    with board.session() as session:
        store(session, board.archive, "LAMP")
        assert stored_slots(session) == [StoredSlot("EEPROM", "2 lines")]
    assert board.memory == board.held_after(OTHER)
