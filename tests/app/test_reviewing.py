"""The review of a long text, which is made aside so that no key waits for it."""

from __future__ import annotations

import gc
import sys
from types import SimpleNamespace

import pytest

from hostlink.app import aside
from hostlink.app.desk.reviewing import Reviewing
from hostlink.board.profile.file import find_profile

LONG = "".join(f"{number} PRINT {number}\n" for number in range(1, 1501))


@pytest.fixture
def pane() -> SimpleNamespace:
    boards = SimpleNamespace(profile=find_profile("practice"))
    app = SimpleNamespace(boards=boards)
    return SimpleNamespace(app=app, editor=SimpleNamespace(text=LONG), noted_program="")


@pytest.fixture
def begun(monkeypatch):
    """Return what was begun aside, as pairs of the work and of what takes its result."""
    found = []
    monkeypatch.setattr(aside, "aside", lambda _, *both: found.append(both))
    return found


def test_a_review_that_typing_has_overtaken_is_not_shown(pane, begun) -> None:
    """It is made again when it was asked for meanwhile; otherwise the next pause asks for it."""
    given = []
    reviewing = Reviewing(pane, given.append)
    assert reviewing.takes_long
    reviewing.begin()
    pane.editor.text = LONG + "1501 PRINT\n"
    work, done = begun[0]
    done(work())
    assert (given, len(begun)) == ([], 1)

    reviewing.begin()
    pane.editor.text = LONG + "1501 PRINT 1\n"
    reviewing.begin()
    work, done = begun[1]
    done(work())
    assert (given, len(begun)) == ([], 3)

    work, done = begun[2]
    done(work())
    assert [len(review.ledger.rows) for review in given] == [1501]
    assert reviewing.now() is given[0]


def test_collector_and_turns_of_threads_are_as_before_after_a_review(pane, begun) -> None:
    """A review in the app pauses both for its own time only."""
    before = gc.isenabled(), sys.getswitchinterval()
    reviewing = Reviewing(pane, lambda _: None)
    reviewing.begin()
    frozen = gc.get_freeze_count()
    begun[0][0]()
    assert (gc.isenabled(), sys.getswitchinterval()) == before
    assert gc.get_freeze_count() > frozen
