"""What a board is doing: the state and its transitions, without a port, in seconds of no clock."""

from __future__ import annotations

import pytest

from hostlink.errors import LinkReason
from hostlink.jobs.session.activity import Activity, BoardActivity


def at_prompt() -> BoardActivity:
    board = BoardActivity()
    board.prompted()
    return board


def running(at: float = 0.0) -> BoardActivity:
    board = at_prompt()
    board.entered(at, runs=True)
    return board


def test_nothing_is_known_before_the_prompt_was_seen() -> None:
    """Neither is the board at its prompt then, nor is it said to be occupied."""
    now = BoardActivity().now
    assert (now.activity, now.at_prompt, now.is_occupied) == (Activity.UNKNOWN, False, False)
    assert at_prompt().now.at_prompt


def test_a_program_runs_from_its_line_to_the_prompt_whatever_it_prints() -> None:
    """Output and silence alike are a program's; only the prompt ends it."""
    board = running()
    board.heard(1.0)
    board.quiet(100.0, "", 3.0)
    assert (board.now.activity, board.now.runs) == (Activity.RUNNING, True)
    board.prompted()
    assert board.now.at_prompt


def test_a_row_that_stays_unfinished_is_the_question_of_the_program() -> None:
    """It asks from the time at which the row counts as a question; the answer lets it run on."""
    board = running()
    board.heard(1.0)
    board.quiet(1.5, "HOW HIGH? ", 1.6)
    assert board.now.activity is Activity.RUNNING
    board.quiet(1.6, "HOW HIGH? ", 1.6)
    assert (board.now.activity, board.now.question) == (Activity.ASKING, "HOW HIGH? ")
    board.entered(2.0, runs=False)
    assert (board.now.activity, board.now.question) == (Activity.RUNNING, "")


def test_a_direct_command_is_busy_only_after_a_second() -> None:
    """Until then nothing would be gained by showing it; no job may type into it anyway."""
    board = at_prompt()
    board.entered(0.0, runs=False)
    assert (board.now.is_occupied, board.now.runs) == (True, False)
    board.quiet(0.9, "", 9.0)
    assert board.now.activity is Activity.ANSWERING
    board.quiet(1.0, "", 9.0)
    assert (board.now.activity, board.now.runs) == (Activity.BUSY, True)


def test_output_that_nobody_asked_for_makes_a_board_busy() -> None:
    """Its own keyboard is in use, or a program was started there."""
    board = at_prompt()
    board.heard(5.0)
    board.quiet(6.0, "", 9.0)
    assert board.now.activity is Activity.BUSY
    board.quiet(9.0, "NAME?", 9.0)
    assert board.now.question == "NAME?"
    board.heard(10.0)
    assert board.now.activity is Activity.BUSY


def test_a_restart_ends_at_the_prompt_or_in_a_program_that_the_board_starts_itself() -> None:
    """A program that ran before the restart is no more; a long silence is no restart."""
    board = running()
    board.restarted(5.0)
    board.heard(5.1)
    assert board.now.activity is Activity.RESTARTING
    board.quiet(12.9, "", 99.0)
    assert board.now.activity is Activity.RESTARTING
    board.quiet(13.0, "", 99.0)
    assert board.now.activity is Activity.BUSY
    board.prompted()
    board.restarted(20.0)
    board.quiet(22.0, "MEMORY SIZE? ", 22.0)
    assert board.now.activity is Activity.ASKING


@pytest.mark.parametrize(
    ("reason", "activity"),
    [
        (LinkReason.RUNNING, Activity.RUNNING),
        (LinkReason.SILENT, Activity.SILENT),
        (LinkReason.UNREADABLE, Activity.SILENT),
        (LinkReason.FULL, Activity.FULL),
        (LinkReason.FLOODING, Activity.BUSY),
        (LinkReason.DAMAGED, Activity.UNKNOWN),
    ],
)
def test_a_failure_leaves_the_state_that_it_tells(reason: LinkReason, activity: Activity) -> None:
    """A failure that tells nothing of the board leaves it unknown."""
    board = at_prompt()
    board.failed(reason)
    assert board.now.activity is activity


def test_a_failure_at_a_question_keeps_the_question() -> None:
    """And what is answered goes to that program."""
    board = BoardActivity()
    board.failed(LinkReason.RUNNING, "NAME?")
    assert board.now.question == "NAME?"
    board.entered(1.0, runs=False)
    assert board.now.activity is Activity.RUNNING


def test_a_silent_board_that_is_heard_again_is_no_longer_silent_and_a_deaf_one_stays_deaf() -> None:
    """A board with a full memory answers each character, and still takes none."""
    for reason, activity in (
        (LinkReason.SILENT, Activity.ANSWERING),
        (LinkReason.FULL, Activity.FULL),
    ):
        board = BoardActivity()
        board.failed(reason)
        board.heard(1.0)
        assert board.now.activity is activity
