"""Meeting what is no board at its prompt: how long it takes, what is told, what was seen."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from restless_board import MANNERS, RestlessBoard

from hostlink.advice import advice_text
from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.cli.ways import IN_MEET
from hostlink.errors import LinkReason
from hostlink.jobs.event_words import event_words
from hostlink.jobs.meeting.meeting import meet_board
from hostlink.jobs.meeting.rungs import climb
from hostlink.jobs.meeting.seen import Seen
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session

LONGEST_S = 20.0
QUIET_S = 5.0


def met(
    board: RestlessBoard, archive: Archive, monkeypatch: pytest.MonkeyPatch, profile: str
) -> tuple[Seen, list[tuple[float, str]]]:
    """Meet a board, a restart allowed; return what was seen, and what was told when."""
    kind = find_profile(profile)
    board.baudrate = kind.talk.baud
    monkeypatch.setattr(
        "hostlink.jobs.session.opening.open_port",
        lambda name, baud: (board, board.clock),  # noqa: ARG005
    )
    events: list[tuple[float, str]] = []

    def emit(event: Any) -> None:
        events.append((board.clock.now(), event_words(event, IN_MEET)))

    choice = LinkChoice("practice://odd", kind, is_guess=profile == "tiny")
    with open_session(choice, emit, archive=archive) as session:
        seen = meet_board(session, archive, Seen(port="practice://odd"), lambda _: True)
    return seen, events


@pytest.mark.parametrize("profile", ["tiny", "practice"])
@pytest.mark.parametrize("manner", MANNERS)
def test_it_ends_within_20_s_and_tells_what_it_waits_for(
    manner: str, profile: str, archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever comes back, also where a restart is allowed; a line at least every 5 s."""
    board = RestlessBoard(manner)
    _, events = met(board, archive, monkeypatch, profile)
    assert board.clock.now() <= LONGEST_S
    moments = [0.0, *(moment for moment, _ in events), board.clock.now()]
    assert max(b - a for a, b in itertools.pairwise(moments)) <= QUIET_S


def test_silence_that_takes_too_long_is_still_silence(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As at a network port, where each change of speed takes its time."""

    class SlowPort(RestlessBoard):
        @property
        def baudrate(self) -> int:
            return self.speed

        @baudrate.setter
        def baudrate(self, value: int) -> None:
            self.speed = value
            if hasattr(self, "clock"):
                self.clock.sleep(0.4)

    board = SlowPort("silent")
    seen, _ = met(board, archive, monkeypatch, "tiny")
    assert seen.trouble is not None and seen.trouble.reason is LinkReason.SILENT


@pytest.mark.parametrize(
    ("manner", "reason", "at", "says"),
    [
        ("prints", LinkReason.RUNNING, "basic", "A program is running;"),
        ("noise", LinkReason.FLOODING, "answer", "are not text at any usual speed"),
        ("echoes", LinkReason.LOOPED, "answer", "TX and RX are joined"),
        ("echoes at one speed", LinkReason.LOOPED, "answer", "At 9600 baud each character comes"),
    ],
)
def test_what_answers_nothing_is_not_said_to_answer(
    manner: str,
    reason: LinkReason,
    at: str,
    says: str,
    archive: Archive,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Noise and an echo alone are no answer; nothing of this is restarted."""
    for profile in ("tiny", "practice"):
        board = RestlessBoard(manner)
        seen, _ = met(board, archive, monkeypatch, profile)
        assert seen.trouble is not None and seen.trouble.reason is reason
        broken = climb(seen).broken
        assert broken is not None and broken.rung.id == at
        assert any(says in advice_text(step.finding.says, IN_MEET) for step in climb(seen).steps)
        assert board.pulses == 0
