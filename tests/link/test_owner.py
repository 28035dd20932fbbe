"""The owner: one thread for a port's whole life, work in order, no error lost, always an end."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterator

import pytest

from hostlink.errors import Interrupted, LinkError, LinkReason
from hostlink.link.owner import Owner

LONGEST_S = 300.0  # a bound for a test that goes wrong, not a wait


class Thing:
    """Something owned; notes which thread does what with it."""

    def __init__(self) -> None:
        self.threads: list[int] = []
        self.done: list[str] = []

    def note(self, what: str) -> str:
        self.threads.append(threading.get_ident())
        self.done.append(what)
        return what


@pytest.fixture
def thing() -> Thing:
    return Thing()


def owning(thing: Thing, **choices: object) -> Owner[Thing]:
    @contextlib.contextmanager
    def open_it() -> Iterator[Thing]:
        thing.note("opened")
        try:
            yield thing
        finally:
            thing.note("closed")

    return Owner("test", open_it, **choices)  # type: ignore[arg-type]


def test_one_thread_opens_works_and_closes(thing: Thing) -> None:
    """All that touches what is owned happens in one thread, and not in the one that asks."""
    with owning(thing) as owner:
        assert owner.submit(lambda held: held.note("worked")).result(LONGEST_S) == "worked"
    assert thing.done == ["opened", "worked", "closed"]
    assert len(set(thing.threads)) == 1
    assert threading.get_ident() not in thing.threads


def test_work_is_done_in_the_order_given(thing: Thing) -> None:
    """Whoever asks, and however fast: first come, first served."""
    with owning(thing) as owner:
        answers = [owner.submit(lambda held, n=n: held.note(str(n))) for n in range(50)]
        assert [answer.result(LONGEST_S) for answer in answers] == [str(n) for n in range(50)]
    assert thing.done[1:-1] == [str(n) for n in range(50)]


def test_an_error_is_the_answer_of_its_own_piece_only(thing: Thing) -> None:
    """The next piece is done as if nothing had happened."""

    def fail(_: Thing) -> None:
        raise LinkError("The wire broke.", reason=LinkReason.DAMAGED)

    with owning(thing) as owner:
        failed = owner.submit(fail)
        after = owner.submit(lambda held: held.note("after"))
        with pytest.raises(LinkError, match="broke"):
            failed.result(LONGEST_S)
        assert after.result(LONGEST_S) == "after"


def test_a_failed_opening_answers_all_that_was_asked() -> None:
    """Nobody waits for ever: each piece, early or late, is answered with the opening's error."""

    @contextlib.contextmanager
    def refuse() -> Iterator[Thing]:
        raise LinkError("There is no port.", reason=LinkReason.NOT_FOUND)
        yield Thing()

    with Owner("test", refuse) as owner:
        for _ in range(3):
            with pytest.raises(LinkError, match="no port"):
                owner.submit(lambda held: held).result(LONGEST_S)
    assert isinstance(owner.trouble, LinkError)


def test_what_waits_when_it_is_cancelled_is_not_begun(thing: Thing) -> None:
    """The piece under way sees that it is cancelled and ends; the next is answered unbegun; after
    going on, work is taken again."""
    begun, free = threading.Event(), threading.Event()

    with owning(thing) as owner:

        def work(_: Thing) -> bool:
            begun.set()
            assert free.wait(LONGEST_S)
            return owner.cancelled

        first = owner.submit(work)
        second = owner.submit(lambda held: held.note("never"))
        assert begun.wait(LONGEST_S)
        owner.cancel()
        free.set()
        assert first.result(LONGEST_S) is True
        with pytest.raises(Interrupted):
            second.result(LONGEST_S)
        owner.go_on()
        assert owner.submit(lambda held: held.note("again")).result(LONGEST_S) == "again"
    assert "never" not in thing.done


def test_nothing_is_taken_after_closing(thing: Thing) -> None:
    """What was queued before is done, what comes after is refused; closing twice is allowed."""
    owner = owning(thing)
    queued = owner.submit(lambda held: held.note("queued"))
    assert owner.close(LONGEST_S)
    assert owner.close(LONGEST_S)
    assert queued.result(LONGEST_S) == "queued"
    with pytest.raises(Interrupted):
        owner.submit(lambda held: held.note("late")).result(LONGEST_S)
    assert thing.done[-1] == "closed"


def test_idle_time_is_used_until_something_goes_wrong(thing: Thing) -> None:
    """Between pieces the owner listens; an error there is kept, and work goes on without it."""
    often = threading.Event()

    def listen(held: Thing, _: Callable[[], bool]) -> None:
        held.note("listened")
        if thing.done.count("listened") >= 3:
            often.set()
            raise LinkError("The port vanished.", reason=LinkReason.GONE)

    with owning(thing, idle=listen, idle_s=0.001) as owner:
        assert often.wait(LONGEST_S)
        assert owner.submit(lambda held: held.note("still")).result(LONGEST_S) == "still"
        assert isinstance(owner.trouble, LinkError)
    assert thing.done.count("listened") == 3
    assert len(set(thing.threads)) == 1


def test_whoever_listens_is_told_that_work_waits(thing: Thing) -> None:
    """So a long wait for the board ends as soon as there is something to do."""
    listening = threading.Event()

    def listen(held: Thing, ends: Callable[[], bool]) -> None:
        listening.set()
        end = time.monotonic() + LONGEST_S
        while not ends() and time.monotonic() < end:
            pass
        held.note("ended" if ends() else "never told")

    with owning(thing, idle=listen, idle_s=0.001) as owner:
        assert listening.wait(LONGEST_S)
        owner.submit(lambda held: held.note("worked")).result(LONGEST_S)
    assert thing.done[1:3] == ["ended", "worked"]


def test_an_error_of_the_closing_is_kept() -> None:
    """What a port could not keep when it was closed is not lost: it stands in `trouble`."""

    @contextlib.contextmanager
    def spoilt() -> Iterator[Thing]:
        yield Thing()
        raise LinkError("The folder is full.")

    owner = Owner("test", spoilt)
    assert owner.close(LONGEST_S)
    assert isinstance(owner.trouble, LinkError)
