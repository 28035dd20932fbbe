"""Two classes on one board, one after the other: whose it is that the board holds.

The second class's handout overwrites what a learner of the first one typed.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hostlink.archive import Archive
from hostlink.archive.records import LEARNER
from hostlink.jobs.class_register.class_table import class_table
from hostlink.jobs.class_register.evening import collecting, handing_out
from hostlink.jobs.class_register.register import Learner, Register
from hostlink.jobs.listing_source import from_archive, from_bytes
from hostlink.jobs.loading import LoadOptions, load
from hostlink.jobs.session.rescuing import READING

LAMP = "".join(f'{number} PRINT "LAMP"\n' for number in range(10, 310, 10))
TYPED = f"5 REM MINE\n{LAMP}"
ADA, BEN = "Ada Brook", "Ben Oak"

Give = Callable[[str], None]


@pytest.fixture
def board(table: Callable[..., Any]) -> Any:
    return table()


@pytest.fixture
def hand_out(board: Any, archive: Archive, tmp_path: Path) -> Give:
    """Hands LAMP out to a learner at the board."""
    (tmp_path / "lamp.bas").write_text(LAMP, encoding="utf-8")

    def give(name: str) -> None:
        program = name.upper().replace(" ", "-")
        learner = Learner(name, program, "practice://red", str(tmp_path / "lamp.bas"))
        register = Register(tmp_path / "class.toml", "Class", (learner,))
        job = handing_out(register, archive)
        with board.session() as session:
            job(archive, learner, session)

    return give


def test_a_handout_reads_what_the_board_holds_once(board: Any, hand_out: Give) -> None:
    """Work is saved and rescued by the same captures: after it only the handout is read back."""
    for text, captures in (("", 3), (TYPED, 2)):
        board.load(text)
        sent: list[bytes] = []
        board.on_write = sent.append
        hand_out(ADA)
        assert b"".join(sent).count(b"LIST") == captures + 1
        assert [event.text for event in board.said("Phase")].count(READING) == 0
    assert kept(board.archive, "ADA-BROOK") == [TYPED]


def test_what_the_first_class_typed_is_its_learner_s_next_revision(
    board: Any, archive: Archive, hand_out: Give
) -> None:
    """The archive knows to whom the board was handed out last; it is no work of the next one's."""
    for typed in (TYPED, f"{TYPED}6 REM MORE\n"):
        hand_out(ADA)
        board.load(typed)
        hand_out(BEN)
    assert kept(archive, "ADA-BROOK") == [TYPED, f"5 REM MINE\n6 REM MORE\n{LAMP}"]
    assert archive.rescues() == []
    assert [each.name for each in archive.programs(tag=LEARNER)] == ["ADA-BROOK"]
    assert archive.program("ADA-BROOK").title == ""
    hand_out(ADA)
    board.load("10 END\n")
    hand_out(ADA)
    hand_out(BEN)
    assert archive.program("ADA-BROOK").title == ADA
    assert kept(archive, "ADA-BROOK")[2:] == ["10 END\n"]


def test_a_rescue_says_whose_it_may_be(board: Any, archive: Archive, hand_out: Give) -> None:
    """Of a board that was saved for Ada, but handed out to nobody, anybody may have typed more; and
    whatever overwrites what Ben was given says so."""
    board.load(TYPED)
    with board.session() as session:
        collecting()(archive, Learner(ADA, "ADA-BROOK"), session)
    board.load(f"{TYPED}6 REM WHOSE\n")
    hand_out(BEN)
    assert kept(archive, "ADA-BROOK") == [TYPED]
    board.load("10 REM OF BEN\n")
    with board.session() as session:
        load(session, archive, from_bytes(LAMP.encode(), "l.bas", name="LAMP"), LoadOptions())
    notes = [f"may be the work of {whose}" for whose in ("BEN-OAK", "ADA-BROOK")]
    assert [each.origin.note for each in archive.rescues()] == notes
    board.load("10 REM OF NOBODY\n")
    with board.session() as session:
        load(session, archive, from_bytes(LAMP.encode(), "l.bas", name="LAMP"), LoadOptions())
    assert archive.rescues()[0].origin.note == ""


def test_a_handout_that_is_gone_is_measured_only_by_what_was_saved(
    board: Any, archive: Archive, hand_out: Give, tmp_path: Path
) -> None:
    """Else nobody knows what Ada made of hers before the board was Ben's; Ben's is there."""

    def changed(name: str) -> int | None:
        learner = Learner(name, name.upper().replace(" ", "-"), "practice://red")
        (row,) = class_table(Register(tmp_path / "class.toml", "Class", (learner,)), archive)
        assert row.handed_out == "LAMP@1"
        return row.changed

    hand_out(ADA)
    assert changed(ADA) == 0
    with board.session() as session:
        options = LoadOptions(discard_board=True, learner="BEN-OAK")
        load(session, archive, from_archive("LAMP", archive), options)
    assert (changed(ADA), changed(BEN)) == (None, 0)
    hand_out(ADA)
    board.load(TYPED)
    hand_out(BEN)
    assert (changed(ADA), changed(BEN)) == (1, 0)


def kept(archive: Archive, program: str) -> list[str]:
    """The listings of a program's revisions."""
    return [archive.content(each).text for each in archive.history(program)]
