"""What boards are known to hold and have lost: state alone, without an app."""

from __future__ import annotations

from hostlink.app.board_states import BoardStates
from hostlink.app.board_words import KnownContents
from hostlink.jobs.events import MemoryLost

PROGRAM = KnownContents(True, "TIDE@1", 3, 40, 999)
LOST = MemoryLost("It was restarted.", "TIDE@1")


def always(_: str) -> bool:
    return True


def test_a_board_is_unknown_until_it_was_read_and_again_once_nobody_can_say() -> None:
    """Each port has a state of its own."""
    states = BoardStates()
    assert not states.held("a").known
    states.note("a", PROGRAM)
    assert (states.held("a"), states.held("b").known) == (PROGRAM, False)
    states.forget("a")
    states.forget("b")
    assert not states.held("a").known


def test_a_loss_is_offered_once() -> None:
    """The same program is not offered a second time; another is."""
    states = BoardStates()
    states.lose("a", LOST)
    assert states.take_loss(["a"], always) == ("a", LOST)
    states.lose("a", LOST)
    assert states.take_loss(["a"], always) is None
    other = MemoryLost("It was restarted.", "PIER@2")
    states.lose("a", other)
    assert states.take_loss(["a"], always) == ("a", other)


def test_a_board_that_holds_a_program_again_has_lost_none() -> None:
    """What was to be offered is let go of, and may be offered when it is lost anew."""
    states = BoardStates()
    states.lose("a", LOST)
    states.note("a", PROGRAM)
    assert states.take_loss(["a"], always) is None
    states.lose("a", LOST)
    states.note("a", KnownContents(True))  # an empty board has not got it back
    assert states.take_loss(["a"], always) == ("a", LOST)
    states.note("a", PROGRAM)
    states.lose("a", LOST)
    assert states.take_loss(["a"], always) == ("a", LOST)


def test_a_busy_board_is_asked_about_later_and_a_detached_one_never() -> None:
    """What is lost of a board that is at work waits; others come before it."""
    states = BoardStates()
    states.lose("a", LOST)
    states.lose("b", LOST)
    states.lose("gone", LOST)
    assert states.take_loss(["a", "b"], lambda port: port == "b") == ("b", LOST)
    assert states.take_loss(["a", "b"], lambda _: False) is None
    assert states.take_loss(["a", "b"], always) == ("a", LOST)
    assert states.take_loss(["a", "b", "gone"], always) is None


def test_what_is_kept_nowhere_is_not_offered() -> None:
    """There is nothing to load again."""
    states = BoardStates()
    states.lose("a", MemoryLost("It was restarted.", ""))
    assert states.take_loss(["a"], always) is None
