"""The boards attached to the app: which is current, and how all of them are closed."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from hostlink.app.attached_board import AttachedBoard
from hostlink.app.attached_boards import AttachedBoards
from hostlink.archive import Archive
from hostlink.board.profile.file import find_profile
from hostlink.jobs.console import Console
from hostlink.jobs.session.link_choice import LinkChoice


class FakeBoard:
    """An attached board that notes what it is asked to do. closes: whether it closes in time."""

    def __init__(self, port: str, *, closes: bool = True) -> None:
        self.port, self.closes = port, closes
        self.closed = 0
        self.drained = 0
        self.jobs: list[Any] = []

    def close(self) -> bool:
        self.closed += 1
        return self.closes

    def drain(self) -> None:
        self.drained += 1


def boards_of(*attached: FakeBoard) -> tuple[Any, list[str]]:
    """Return the app's boards, the last one current, and a list of what the desk was asked."""
    asked: list[str] = []
    app: Any = SimpleNamespace(tell=asked.append, first_profile="")
    readings = SimpleNamespace(show=lambda: asked.append("show"))
    app.desk = SimpleNamespace(readings=readings)
    boards = AttachedBoards(app)
    for each in attached:
        boards.by_port[each.port] = each
        boards.make_current(each.port)
    asked.clear()
    return boards, asked


def test_after_the_current_board_is_detached_the_last_attached_is_current() -> None:
    """Its port is closed, and the desk shows the board that is now current, or none."""
    first, second = FakeBoard("a"), FakeBoard("b")
    boards, asked = boards_of(first, second)
    boards.detach("b")
    assert (second.closed, first.closed) == (1, 0)
    assert boards.current is first
    assert asked
    boards.detach("a")
    assert boards.current is None
    assert not boards.by_port


def test_detaching_another_board_leaves_the_current_one() -> None:
    """Only the named board is closed; a port that is not attached is left alone."""
    first, second = FakeBoard("a"), FakeBoard("b")
    boards, _ = boards_of(first, second)
    boards.detach("a")
    boards.detach("elsewhere")
    assert boards.current is second
    assert (first.closed, second.closed) == (1, 0)


def test_detaching_a_port_that_does_not_close_in_time_says_so() -> None:
    """Nobody is left to wonder why the port cannot be opened again."""
    boards, asked = boards_of(FakeBoard("a", closes=False))
    boards.detach("a")
    assert "a has not closed yet" in asked[0]
    assert not boards.by_port


def test_a_profile_that_was_kept_anew_is_read_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a board the listing is measured by the named profile as its file is now."""
    monkeypatch.setenv("HOSTLINK_PROFILES", str(tmp_path))
    boards, _ = boards_of()
    boards.app.first_profile = "red"
    for size in (500, 600):
        text = f'[board]\nname = "red"\n[storage]\nprogram_bytes = {size}\n'
        (tmp_path / "red.toml").write_text(text, encoding="ascii")
        boards.forget_profiles()
        assert boards.profile.rules.storage.program_bytes == size


def test_an_idle_board_gives_the_app_nothing_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The app is woken for news alone, so that an idle desk costs no drawing."""
    monkeypatch.setenv("HOSTLINK_PRACTICE", str(tmp_path))
    news: list[int] = []
    listened = threading.Event()
    with Archive.open(tmp_path / "archive.sqlite3") as archive:
        choice = LinkChoice("practice://idle?time=virtual", find_profile("practice"))
        board = AttachedBoard(choice, archive, lambda: news.append(1))
        board.talk("Nothing", lambda _: None).future.result(60.0)  # type: ignore[union-attr]
        board.talk("Nothing", lambda console: console.settle(5.0, 5.0)).future.result(60.0)  # type: ignore[union-attr]
        news.clear()
        monkeypatch.setattr(board, "_mirror", _counting(board._mirror, 20, listened))
        assert listened.wait(60.0)
        assert news == []
        assert board.close(60.0)


def _counting(
    work: Callable[[Console], None], times: int, done: threading.Event
) -> Callable[[Console], None]:
    """Count the calls of a function, and note when there were so many."""
    calls = iter(range(times))

    def counted(console: Console) -> None:
        work(console)
        if next(calls, None) is None:
            done.set()

    return counted


def test_closing_names_the_ports_that_did_not_close_in_time() -> None:
    """Every board is closed, also after one that did not close."""
    stuck, sound = FakeBoard("a", closes=False), FakeBoard("b")
    boards, _ = boards_of(stuck, sound)
    assert boards.close() == ["a"]
    assert sound.closed == 1


def test_draining_reaches_every_board() -> None:
    """The reports of all owner threads are processed, not only the current board's."""
    first, second = FakeBoard("a"), FakeBoard("b")
    boards, _ = boards_of(first, second)
    boards.drain()
    assert (first.drained, second.drained) == (1, 1)
