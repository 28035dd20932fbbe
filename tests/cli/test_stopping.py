"""Signals within a process: in good order at first, at once when told again."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator

import pytest

from hostlink.cli.stopping import CutOff, final_status, handle_signals, let_go, stoppable
from hostlink.jobs.session.session import Session

if os.name != "posix":
    pytest.skip("sends signals to its own process", allow_module_level=True)

NUMBERS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@pytest.fixture(autouse=True)
def handlers() -> Iterator[None]:
    """The handlers of the test run come back."""
    before = {number: signal.getsignal(number) for number in NUMBERS}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.parametrize("number", NUMBERS)
def test_the_first_signal_asks_and_the_second_ends(number: int) -> None:
    """What is done looks at the first when it can; the second does not wait for that."""
    before = signal.getsignal(number)
    with stoppable() as stopped:
        assert not stopped()
        signal.raise_signal(number)
        assert stopped()
        with pytest.raises(CutOff):
            signal.raise_signal(number)
    assert signal.getsignal(number) is before
    assert (final_status(1), final_status(130), final_status(0)) == (128 + number, 128 + number, 0)


def test_a_job_that_is_told_twice_says_that_it_was_cut_off(
    hostlink: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Status 130, in a sentence; no claim is made of what the board holds."""

    def attach(_: Session) -> None:
        signal.raise_signal(signal.SIGINT)
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(Session, "attach", attach)
    told = hostlink("run")
    assert told.status == 130
    assert "Stopped at once, as you asked twice." in told.err
    assert "in the middle of the job" in told.err


@pytest.mark.parametrize("number", NUMBERS)
def test_without_a_job_a_signal_ends_what_is_done(number: int) -> None:
    """As Ctrl+C does, until hostlink is done."""
    handle_signals()
    with pytest.raises(KeyboardInterrupt):
        signal.raise_signal(number)
    let_go()
    assert signal.getsignal(number) is signal.SIG_DFL


def test_an_ignored_signal_stays_ignored() -> None:
    """Whoever started hostlink said so."""
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    handle_signals()
    with stoppable() as stopped:
        signal.raise_signal(signal.SIGHUP)
        assert not stopped()
    let_go()
    assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN


def test_in_another_thread_signals_are_left_alone() -> None:
    """Only the main thread can handle them; the work is done anyway."""
    answers: list[bool] = []

    def work() -> None:
        with stoppable() as stopped:
            answers.append(stopped())

    thread = threading.Thread(target=work)
    thread.start()
    thread.join(60.0)
    assert answers == [False]
