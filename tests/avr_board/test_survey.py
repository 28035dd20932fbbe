"""The survey on a real microcontroller program finds what the firmware was built with."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.dialogue.loading import Loader
from hostlink.board.profile.file import find_profile
from hostlink.board.survey.steps import Consent
from hostlink.jobs.session import opening
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.surveying import SurveyOptions, survey
from hostlink.listing import Listing

# The same ways as elsewhere, over a chip that takes its time.
pytestmark = pytest.mark.no_cover

LINE_MS = 40
RING = 24
PROGRAM = Listing.from_text("".join(f'{n} PRINT "KEPT {n}"\n' for n in range(10, 60, 10)))


@pytest.mark.slow
@pytest.mark.parametrize("baud", [9600, 57600, 115200])
def test_a_survey_finds_how_the_chip_talks_and_gives_its_program_back(
    baud: int,
    avr_board: Callable[..., Any],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Speed, prompt, echo, line time within 20 % and ring within 1, over a
    pseudo-terminal; the chip's program is put back and proven.

    The three speeds are tried in the order of the survey, so wrong ones come first.
    """
    board = avr_board(baud=baud, line_ms=LINE_MS, receive_buffer=RING)
    with board.attached() as dialogue:
        Loader(dialogue, PROGRAM.numbered()).load()
    with board.opened() as port:
        monkeypatch.setattr(opening, "open_port", lambda *_: (port, board.clock))
        choice = LinkChoice(board.port, find_profile("tiny"))
        with (
            Archive.open(tmp_path / "a.sqlite3") as archive,
            open_session(choice, print) as session,
        ):
            options = SurveyOptions(consent=Consent(storing=True), speeds=(115200, 9600, 57600))
            result = survey(session, archive, options)
    talk, storage = result.profile.talk, result.profile.rules.storage
    print(baud, talk.line_ms, talk.receive_buffer)
    assert (talk.baud, talk.echo, talk.prompt) == (baud, True, b"+ ")
    assert talk.line_ms == pytest.approx(LINE_MS, rel=0.2)
    assert abs(talk.receive_buffer - RING) <= 1
    assert (storage.program_bytes, storage.number_bytes + storage.end_bytes) == (999, 3)
    with board.attached() as dialogue:
        held = {number: line.text for number, line in dialogue.capture().lines.items()}
    assert held == {number: line.text for number, line in PROGRAM.numbered().items()}
