"""Signals end the app between two of its steps, whatever it does at that moment."""

from __future__ import annotations

import asyncio
import signal
import sys
import threading
from collections.abc import Iterator
from typing import Any

import pytest

from hostlink.app.signals import leaving_on_signals


class Ended(KeyboardInterrupt):
    """Stands for what hostlink's own handler raises."""


@pytest.fixture
def raising() -> Iterator[None]:
    """SIGTERM raises, as in hostlink's own process."""

    def end(_: int, __: object) -> None:
        raise Ended

    before = signal.signal(signal.SIGTERM, end)
    yield
    signal.signal(signal.SIGTERM, before)


@pytest.mark.usefixtures("raising")
def test_a_signal_interrupts_no_step_of_the_app(stage: Any) -> None:
    """The step goes on, the app ends by itself, and then the signal's exception is raised."""
    done = []

    async def story(_: Any, app: Any) -> None:
        with pytest.raises(Ended), leaving_on_signals(app):
            signal.raise_signal(signal.SIGTERM)
            done.append("step")
            await asyncio.sleep(0)
            await asyncio.sleep(0)
            assert app._exit
            done.append("end")

    stage.play(story, port="")
    assert done == ["step", "end"]


@pytest.mark.usefixtures("raising")
def test_a_second_signal_does_not_wait(stage: Any) -> None:
    """It raises at once; afterwards the handlers are those from before."""
    found = signal.getsignal(signal.SIGTERM)

    async def story(_: Any, app: Any) -> None:
        with pytest.raises(Ended), leaving_on_signals(app):
            signal.raise_signal(signal.SIGTERM)
            with pytest.raises(Ended):
                signal.raise_signal(signal.SIGTERM)

    stage.play(story, port="")
    assert signal.getsignal(signal.SIGTERM) is found


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGHUP")
def test_a_hangup_that_is_told_twice_interrupts_nothing(stage: Any) -> None:
    """Seen: the second one left a thread that read a closed terminal at half a core for good."""

    def end(_: int, __: object) -> None:
        raise Ended

    found, told = signal.signal(signal.SIGHUP, end), []

    async def story(_: Any, app: Any) -> None:
        with pytest.raises(Ended), leaving_on_signals(app):
            for time in range(3):
                signal.raise_signal(signal.SIGHUP)
                told.append(time)

    stage.play(story, port="")
    signal.signal(signal.SIGHUP, found)
    assert told == [0, 1, 2]


@pytest.mark.usefixtures("raising")
def test_no_thread_reads_the_terminal_after_the_app(
    stage: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However it was left: textual's thread ends by this event, and the process waits for it."""
    event = threading.Event()

    async def story(_: Any, app: Any) -> None:
        monkeypatch.setattr(app._driver, "exit_event", event, raising=False)
        with pytest.raises(Ended), leaving_on_signals(app):
            signal.raise_signal(signal.SIGTERM)
            signal.raise_signal(signal.SIGTERM)

    stage.play(story, port="")
    assert event.is_set()
