"""Before a board is overwritten: "already kept" is said of a copy that was read back just now."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from hostlink.archive import Archive, Origin
from hostlink.board.profile.file import find_profile
from hostlink.jobs.backup import backup
from hostlink.jobs.listing_source import content_of
from hostlink.jobs.saving import SaveOptions, save
from hostlink.jobs.session.rescuing import rescue_held
from hostlink.listing import Listing

PROGRAM = '10 PRINT "EBB"\n20 GOTO 10\n'


def _damage(archive: Archive, statement: str) -> None:
    conn = sqlite3.connect(archive.path)
    conn.execute("DROP TRIGGER listings_never_change")
    conn.execute(statement)
    conn.commit()
    conn.close()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE listings SET text = replace(text, 'EBB', 'FBB')",
        "UPDATE listings SET text = CAST(x'ff' || text AS TEXT)",
        "UPDATE listings SET raw = x'00'",
        "UPDATE listings SET canonical = x'00'",
    ],
)
def test_promise_1_a_damaged_copy_is_healed_from_the_board(
    table: Callable[..., Any], archive: Archive, statement: str
) -> None:
    """One flipped bit in the archive never costs the program: the board's bytes replace the
    damaged ones, which is said, and only then is it kept already."""
    board = table()
    board.load(PROGRAM)
    with board.session() as session:
        session.attach()
        first = rescue_held(session, archive, session.board_in(archive))
    _damage(archive, statement)
    with board.session() as session:
        session.attach()
        again = rescue_held(session, archive, session.board_in(archive))
        assert (again.spec, again.new) == (first.spec, False)
        (warned,) = [each.text for each in board.said("Warned") if "damaged" in each.text]
        assert f"{first.spec} was damaged in the archive" in warned and "whole again" in warned
        assert [each.spec for each in board.said("AlreadyKept")] == [first.spec]
    assert archive.content(archive.revision(first.spec)).text == PROGRAM
    assert not [each for each in archive.prove().findings if "SHA-256" in each]


@pytest.mark.parametrize("job", [backup, save])
def test_a_save_or_backup_that_heals_a_copy_says_so(
    table: Callable[..., Any], archive: Archive, job: Callable[..., Any]
) -> None:
    """The same where the board is only read; nothing is then kept a second time."""
    board = table()
    board.load(PROGRAM)
    with board.session() as session:
        first = save(session, archive, SaveOptions("EBB")).revision
    _damage(archive, "UPDATE listings SET text = replace(text, 'EBB', 'FBB')")
    with board.session() as session:
        job(session, archive, *([SaveOptions("EBB")] if job is save else []))
        (warned,) = [each.text for each in board.said("Warned") if "damaged" in each.text]
        assert f"{first.spec} was damaged in the archive" in warned
    assert archive.content(archive.revision("EBB")).text == PROGRAM
    assert [each.spec for each in archive.history("EBB")] == [first.spec]


def test_promise_1_what_cannot_be_healed_is_kept_anew(
    table: Callable[..., Any], archive: Archive
) -> None:
    """A file with other line ends is the same program for the board, but the board cannot give
    its bytes back: where it is damaged what the board holds is no longer kept already."""
    raw = PROGRAM.replace("\n", "\r\n").encode()
    content = content_of(Listing.from_text(PROGRAM), raw, "utf-8", find_profile("practice"))
    archive.keep("EBB", content, Origin("file", "ebb.bas"))
    board = table()
    board.load(PROGRAM)
    with board.session() as session:
        session.attach()
        assert rescue_held(session, archive, session.board_in(archive)).spec == "EBB@1"
    _damage(archive, "UPDATE listings SET text = 'x'")
    with board.session() as session:
        session.attach()
        held = rescue_held(session, archive, session.board_in(archive))
        assert (held.spec, held.new) == ("rescue@1", True)
        assert not board.said("AlreadyKept")
    assert archive.content(archive.revision("rescue@1")).text == PROGRAM
