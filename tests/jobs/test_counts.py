"""A board that shows a count beside its listing, and takes no line numbers with LIST."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from scripted_board import PROMPT, ScriptedBoard

from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.board.survey.steps import Consent
from hostlink.errors import ExitStatus, NotKnownError, RefusedError
from hostlink.jobs.listing_source import from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.link_choice import LinkChoice
from hostlink.jobs.session.opening import open_session
from hostlink.jobs.session.session import Session
from hostlink.jobs.surveying import SurveyOptions, survey
from hostlink.link.clock import VirtualClock

PROGRAM = "10 REM LOCK\n20 LET A=3\n30 PRINT A\n"
COUNTS: dict[str, Callable[[dict[int, str]], str]] = {
    "lines": lambda held: f"{len(held)} LINES",
    "bytes": lambda held: f"{sum(map(len, held.values()))} BYTES USED 207 FREE",
}


class Counting:
    """Such a board. held: its program. clear: the word that clears it."""

    def __init__(self, count: Callable[[dict[int, str]], str], monkeypatch: pytest.MonkeyPatch):
        self.held: dict[int, str] = {}
        self.clear = "NEW"
        self._count = count
        self.clock = VirtualClock()
        self.events: list[object] = []
        self.port = ScriptedBoard(self.clock, self._answer)
        monkeypatch.setattr(
            "hostlink.jobs.session.opening.open_port", lambda *_: (self.port, self.clock)
        )

    def _answer(self, line: str) -> bytes:
        number, _, text = line.partition(" ")
        rows = []
        if number.isdigit():
            self.held.pop(int(number), None)
            if text:
                self.held[int(number)] = text
        elif line == self.clear:
            self.held.clear()
        elif line == "LIST":
            rows = [f"{each} {self.held[each]}" for each in sorted(self.held)]
            rows.append(self._count(self.held))
        elif number != "REM":
            rows = ["WHAT?"]
        return "".join(f"{row}\r\n" for row in rows).encode() + PROMPT

    @contextmanager
    def session(self, archive: Archive) -> Iterator[Session]:
        choice = LinkChoice("red", find_profile("tiny"), is_guess=True)
        with open_session(choice, self.events.append, archive=archive) as opened:
            yield opened


@pytest.fixture(params=COUNTS)
def board(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Counting:
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path / "profiles"))
    return Counting(COUNTS[request.param], monkeypatch)


def test_a_count_is_never_saved_as_a_proven_line(board: Counting, archive: Archive) -> None:
    """It is refused as no line, or what is kept is marked as not proven."""
    board.held = {1: "REM " + "A" * 20, 2: "END"}
    with board.session(archive) as session:
        try:
            saved = save(session, archive, SaveOptions(name="ONE"))
        except NotKnownError as error:
            assert "2 LINES" in error.what
        else:
            assert saved.status is ExitStatus.READ_BACK_DIFFERS
            assert "BYTES USED 207 FREE" in saved.proof
    assert board.held == {1: "REM " + "A" * 20, 2: "END"}


def test_a_board_that_counts_is_loaded_and_saved(board: Counting, archive: Archive) -> None:
    """A load learns what stays beside the lines, so that the next save is proven."""
    material = from_bytes(PROGRAM.encode(), "lock.bas", name="LOCK")
    with board.session(archive) as session:
        load(session, archive, material, LoadOptions(discard_board=True))
        assert board.held == {10: "REM LOCK", 20: "LET A=3", 30: "PRINT A"}
        assert "{number}" in str(session.profile.commands.answer_rows)
        saved = save(session, archive, SaveOptions(name="LOCK"))
        assert saved.status is ExitStatus.DONE
        assert archive.content(saved.revision).text == PROGRAM


@pytest.mark.parametrize("held", [{}, {10: "REM LAMP", 20: "END"}])
def test_a_survey_finds_the_count(board: Counting, archive: Archive, held: dict[int, str]) -> None:
    """The memory is cleared, the count is told from lines, and the program is put back."""
    board.held = dict(held)
    options = SurveyOptions(consent=Consent(storing=True), discard_board=True)
    with board.session(archive) as session:
        found = survey(session, archive, options).profile
        own = found.commands.answer_rows
        assert own in (("{number} LINES",), ("{number} BYTES USED {number} FREE",))
        assert board.held == held
        session.use(LinkChoice("red", found))
        material = from_bytes(PROGRAM.encode(), "lock.bas", name="LOCK")
        load(session, archive, material, LoadOptions())
        saved = save(session, archive, SaveOptions(name="LOCK"))
        assert (saved.status, archive.content(saved.revision).text) == (ExitStatus.DONE, PROGRAM)


def test_a_survey_that_may_not_store_says_why(
    monkeypatch: pytest.MonkeyPatch, archive: Archive
) -> None:
    """Consent was given, so it is not asked for; and what is not known is not called empty."""
    board = Counting(lambda _: "END OF PROGRAM", monkeypatch)
    options = SurveyOptions(consent=Consent(storing=True))
    with board.session(archive) as session:
        found = survey(session, archive, options)
    assert "END OF PROGRAM" in found.told
    assert "consent" not in found.told
    assert (found.lines, found.held) == (
        None,
        "The board's memory is as it was before the survey; it could not be read.",
    )


@pytest.mark.parametrize("word", ["SCR", "WIPE"])
def test_the_other_usual_word_clears_a_board_of_no_known_kind(
    monkeypatch: pytest.MonkeyPatch, archive: Archive, word: str
) -> None:
    """Where both are refused that is said, and the program stays."""
    board = Counting(lambda _: "OK", monkeypatch)
    board.clear = word
    board.held = {10: "REM LAMP"}
    material = from_bytes(PROGRAM.encode(), "lock.bas", name="LOCK")
    options = LoadOptions(discard_board=True)
    with board.session(archive) as session:
        if word == "SCR":
            load(session, archive, material, options)
            assert session.profile.commands.clear == "SCR"
            assert sorted(board.held) == [10, 20, 30]
        else:
            with pytest.raises(RefusedError, match="on NEW or SCR: it answers"):
                load(session, archive, material, options)
            assert board.held == {10: "REM LAMP"}
