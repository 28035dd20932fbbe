"""Boards that ask something, met by no profile."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import in_commands
from hostlink.errors import LinkError
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.practice.machine import Machine


def just_started(bench: Callable[[str], Any], kind: str) -> Any:
    """A board that waits at its first question."""
    board = bench(kind)
    board.machine = Machine(kind=board.kind)
    board.machine.run_until(board.clock.now())
    board.clock.sleep(2.0)
    board.machine.run_until(board.clock.now())
    board.machine.host_reads(board.clock.now(), 1 << 16)
    return board


def attached(board: Any, *, stop_running: bool) -> str:
    """The prompt, or the word that it is ready, that a board of no named kind is known by."""
    choice = LinkChoice(board._port, find_profile("tiny"), is_guess=True, stop_running=stop_running)
    with open_session(choice, board.events.append, archive=board.archive) as session:
        session.attach()
        talk = session.profile.talk
        return (talk.ready or talk.prompt).decode().strip()


def test_start_questions_are_told_and_gone_the_next_time(bench: Callable[[str], Any]) -> None:
    """The empty line that was sent is an answer, as is said."""
    board = just_started(bench, "asking")
    with pytest.raises(LinkError, match='"COLUMNS') as caught:
        attached(board, stop_running=False)
    assert "when it starts, try again" in in_commands(caught.value.advice)
    assert attached(board, stop_running=False) == "OK"


def test_start_questions_are_answered_with_consent(bench: Callable[[str], Any]) -> None:
    """No question is taken for the prompt."""
    board = just_started(bench, "asking")
    assert attached(board, stop_running=True) == "OK"
