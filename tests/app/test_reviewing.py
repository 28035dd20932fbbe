"""The review of a long text, which is made in a process of its own so that no key waits for it."""

from __future__ import annotations

import gc
import sys
from contextlib import closing
from types import SimpleNamespace

import pytest

from hostlink.app import review_process
from hostlink.app.desk import reviewing as desk_reviewing
from hostlink.app.desk.reviewing import Reviewing
from hostlink.app.review_process import Asked, ReviewProcess
from hostlink.app.start import app_class
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
    monkeypatch.setattr(desk_reviewing, "aside", lambda _, *both: found.append(both))
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
    reviewing.close()


def test_collector_is_as_before_after_a_review(pane, begun) -> None:
    """A review in the app pauses it for its own time only."""
    before = gc.isenabled()
    reviewing = Reviewing(pane, lambda _: None)
    reviewing.begin()
    frozen = gc.get_freeze_count()
    begun[0][0]()
    reviewing.close()
    assert gc.isenabled() == before
    assert gc.get_freeze_count() > frozen


def test_review_is_the_same_in_a_process_and_where_that_ended_or_cannot_be(monkeypatch) -> None:
    asked = Asked(f"{LONG}2000 GOTO 3000\n", find_profile("practice").rules, frozenset())
    expected = asked.review()
    assert [found.rule for found in expected.errors] == ["does-not-fit", "missing-jump-target"]
    started = []
    start = review_process._started
    monkeypatch.setattr(review_process, "_started", lambda: started.append(start()) or started[-1])
    with closing(ReviewProcess()) as process:
        assert [process.review(asked), process.review(asked)] == [expected] * 2
        assert [each.poll() for each in started] == [None]
        started[0].kill()
        started[0].wait()
        assert process.review(asked) == expected
        assert process.review(asked) == expected  # in a new process
        assert len(started) == 2
    assert started[1].poll() is not None

    monkeypatch.setattr(sys, "executable", "/there/is/no/python")
    monkeypatch.setattr(review_process, "_started", start)
    with closing(ReviewProcess()) as process:
        assert process.review(asked) == expected


def test_process_ends_when_the_app_is_killed() -> None:
    """Its stdin ends then, however the app ended."""
    with review_process._started() as process:
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(timeout=30) == 0


def test_collector_runs_again_once_the_desk_is_drawn(stage) -> None:
    """It never looks at what was there by then: that took 0.1 s between two keys."""
    frozen = gc.get_freeze_count()

    async def story(_, app) -> None:
        assert app.begun
        assert gc.isenabled()
        assert gc.get_freeze_count() > frozen

    app_class()
    assert not gc.isenabled()
    try:
        stage.play(story, port="")
    finally:
        gc.enable()
        gc.unfreeze()
