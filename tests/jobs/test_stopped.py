"""Jobs that are stopped: whenever that is, the error says how the board is left, and it is so."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.board.survey.steps import Consent
from hostlink.errors import Interrupted
from hostlink.jobs.backup import backup
from hostlink.jobs.listing_source import find_material
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.putback import putback
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.restarting import restart
from hostlink.jobs.session.session import Session
from hostlink.jobs.store_recall import recall, store
from hostlink.jobs.surveying import SurveyOptions, survey

STEPS = 9  # stops tried in each job, spread over the turns of the wire that the whole job takes
Job = Callable[[Session, Archive], Any]
JOBS: dict[str, Job] = {
    "load": lambda session, archive: load(
        session, archive, find_material("shipped:TIDE", archive), LoadOptions()
    ),
    "save": lambda session, archive: save(session, archive, SaveOptions("COPY", "", True)),
    "backup": lambda session, archive: backup(session, archive),
    "putback": lambda session, archive: putback(session, archive, archive.backup("backup@1"), ()),
    "recall": lambda session, archive: recall(session, archive, "ONE"),
    "store": lambda session, archive: store(session, archive, "TWO"),
    "restart": lambda session, archive: restart(session, archive, consent=lambda _: True),
    "survey": lambda session, archive: survey(
        session, archive, SurveyOptions("surveyed", Consent(False, 0, False, False))
    ),
}
UNCHANGED = ("Nothing on the board was changed", "was not touched", "Memory holds what it held")


class Table:
    """A practice board with two programs in its EEPROM and another one in memory."""

    def __init__(self, archive: Archive, folder: Path) -> None:
        self.archive = archive
        (folder / "pier.bas").write_text("10 PRINT 5\n20 END\n")
        self.turns = 0
        for what, slot in ((folder / "pier.bas", "ONE"), ("shipped:DICE", "TWO")):
            self.do(self._loaded(str(what)))
            self.do(lambda session, opened, slot=slot: store(session, opened, slot))
        self.do(JOBS["backup"])
        self.do(self._loaded("shipped:DICE"))

    @staticmethod
    def _loaded(what: str) -> Job:
        return lambda session, archive: load(
            session, archive, find_material(what, archive), LoadOptions()
        )

    def do(self, job: Job, *, stop_at: int | None = None) -> Any:
        """Do a job, stopped in a turn of the wire."""
        self.turns = 0

        def cancelled() -> bool:
            self.turns += 1
            return stop_at is not None and self.turns > stop_at

        choice = LinkChoice("practice://red?time=virtual", find_profile("practice"))
        with open_session(choice, lambda _: None, cancelled, archive=self.archive) as session:
            return job(session, self.archive)

    def held(self) -> dict[int, str]:
        """What the board's memory holds."""

        def read(session: Session, _: Archive) -> dict[int, str]:
            session.attach()
            lines = session.dialogue.capture().lines
            return {number: line.typed for number, line in lines.items()}

        return self.do(read)  # type: ignore[no-any-return]


@pytest.mark.one_in(8)
@pytest.mark.parametrize("name", JOBS)
def test_a_stopped_job_says_how_the_board_is_left(
    name: str, archive: Archive, tmp_path: Path
) -> None:
    """That nothing was changed, or how many lines were typed, or where the program is kept."""
    table = Table(archive, tmp_path)
    before = table.held()
    table.do(JOBS[name])
    turns = table.turns
    table.do(Table._loaded("shipped:DICE"))
    told: set[str] = set()
    for step in range(STEPS):
        with pytest.raises(Interrupted) as stopped:
            table.do(JOBS[name], stop_at=turns * step // STEPS)
        said = str(stopped.value)
        told.add(said)
        now = table.held()
        assert stopped.value.kept, said
        assert "Stopped by the user" not in said
        if any(words in said for words in UNCHANGED):
            assert now == before, said
        elif typed := re.search(r"at least (\d+) of 32 lines are stored", said):
            assert int(typed[1]) <= len(now) <= 32, said
        elif now != before:
            assert "is kept as DICE@1" in said
        table.do(Table._loaded("shipped:DICE"))
    assert len(told) > 1, told


def test_a_board_that_was_never_understood_is_not_waited_for(archive: Archive) -> None:
    """It was given whole lines only, so nothing is to be put in order when a person stops it."""
    silent = "practice://mute?time=virtual&stall_every_bytes=1&stall_s=100000"
    began: list[float] = []

    def stops() -> bool:
        began.append(session.wire.now())
        return len(began) > 20

    choice = LinkChoice(silent, find_profile("tiny"), is_guess=True)
    with open_session(choice, lambda _: None) as session:
        session.wire.cancelled = stops
        with pytest.raises(Interrupted):
            load(session, archive, find_material("shipped:TIDE", archive), LoadOptions())
        assert session.wire.now() - began[20] < 0.5
